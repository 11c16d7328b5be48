"""Where the house stands, and where the daemon finds its broker, journal and mail server."""

from __future__ import annotations

from enum import Enum

from controller.core.plan.part import REQUIRED, Part, key


class Site(Part):
    """The place: everything the sun and the clock on the wall depend on."""

    name: str = key(REQUIRED, "Name of the house, as staff say it.", max_length=60)
    id: str = key(
        REQUIRED, "Short name for topics: lower-case letters, digits, hyphens.", restart=True, max_length=30
    )
    latitude_deg: float = key(REQUIRED, "Latitude, north positive.", unit="deg", ge=-90, le=90)
    longitude_deg: float = key(REQUIRED, "Longitude, east positive.", unit="deg", ge=-180, le=180)
    elevation_m: float = key(0.0, "Height above sea level.", unit="m", ge=-430, le=6000)
    time_zone: str = key(REQUIRED, "Time zone by its IANA name, for texts and schedules.", restart=True)
    language_file: str = key(
        "", "Catalogue (TOML) with the fixed phrases of messages in another language.", max_length=300
    )


class Security(Enum):
    """How a mail connection is protected."""

    TLS = "tls"
    STARTTLS = "starttls"
    NONE = "none"


class Broker(Part):
    """The MQTT broker that carries the readings."""

    host: str = key("127.0.0.1", "Name or address of the MQTT broker.", restart=True)
    port: int = key(1883, "Port of the broker.", restart=True, ge=1, le=65535)
    client_id: str = key("duskbell", "Client identifier; one per daemon.", restart=True, max_length=60)
    username: str = key("", "Account on the broker; empty for none.", restart=True)
    password_file: str = key("", "File that holds the password and nothing else.", restart=True)
    mqtt_3_only: bool = key(
        False, "Whether the broker knows MQTT 3.1.1 alone; else version 5 is tried first.", restart=True
    )
    tls: bool = key(False, "Whether the connection is encrypted.", restart=True)
    tls_ca_file: str = key("", "Certificate of the authority; empty for the system's.", restart=True)
    keep_alive_s: int = key(
        20, "Silence after which the connection is probed.", unit="s", restart=True, ge=5, le=600
    )


class Journal(Part):
    """Where the daemon remembers."""

    directory: str = key("/var/lib/duskbell", "Folder of alarms.db and history.db.", restart=True)
    keep_history_days: int = key(400, "Age at which readings are dropped.", unit="days", ge=1, le=3660)
    commit_readings_s: float = key(
        10.0, "Longest wait before readings are written.", unit="s", restart=True, ge=1, le=60
    )


class Mail(Part):
    """The mail server that takes the messages."""

    host: str = key(REQUIRED, "Name or address of the mail server (SMTP).")
    port: int = key(465, "Port of the mail server.", ge=1, le=65535)
    security: Security = key(Security.TLS, "How the connection is protected: tls, starttls or none.")
    tls_ca_file: str = key("", "Certificate of the authority; empty for the system's.")
    username: str = key("", "Account on the mail server; empty for none.")
    password_file: str = key("", "File that holds the password and nothing else.")
    sender: str = key(REQUIRED, "Address the messages come from.")
    timeout_s: float = key(20.0, "Longest wait for the server in one step.", unit="s", ge=1, le=120)

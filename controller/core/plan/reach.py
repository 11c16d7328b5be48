"""What carries messages besides the mail server: the modem, the webhook's secret, the siren."""

from __future__ import annotations

from controller.core.plan.part import REQUIRED, Part, key


class Modem(Part):
    """The modem that sends text messages and hears the answers."""

    device: str = key(
        REQUIRED, "Path of the modem's command port, best by its serial number.", restart=True, max_length=200
    )
    baud: int = key(115_200, "Speed of the port.", unit="Bd", restart=True, ge=1_200, le=921_600)
    pin_file: str = key("", "File that holds the card's PIN and nothing else.", restart=True)
    centre: str = key(
        "", "Number of the message centre; empty for the card's own.", restart=True, max_length=40
    )
    number: str = key("", "Number of its card, to which people send answers; mails name it.", max_length=40)
    check_s: float = key(
        20.0, "How often network, signal and inbox are looked at.", unit="s", restart=True, ge=5, le=45
    )
    delivery_reports: bool = key(True, "Whether the network says that a message was delivered.", restart=True)
    delivery_wait_min: float = key(
        5.0, "Without such a word for so long the next person is told.", unit="min", restart=True, ge=1, le=60
    )
    valid_min: int = key(
        60, "How long the network keeps a message for a phone that is off.", unit="min", restart=True, ge=5,
        le=1440,
    )  # fmt: skip


class Webhook(Part):
    """How messages to the people's webhooks are signed and bounded."""

    secret_file: str = key(REQUIRED, "File that holds the shared secret and nothing else.")
    timeout_s: float = key(10.0, "Longest wait for the receiver.", unit="s", ge=1, le=30)
    allowed_hosts: tuple[str, ...] = key((), "Hosts they may go to; empty for those of the people.")
    tls_ca_file: str = key("", "Certificate of the authority; empty for the system's.")


class Siren(Part):
    """The siren at the house. Its board ends each sounding by itself."""

    command_topic: str = key(REQUIRED, "Topic that takes its commands.")
    report_topic: str = key(REQUIRED, "Topic on which it says whether it sounds.")
    longest_on_s: float = key(180.0, "It sounds so long at most.", unit="s", ge=5, le=600)
    pause_s: float = key(120.0, "Silence before it sounds again.", unit="s", ge=10, le=3600)
    confirm_s: float = key(10.0, "It must report so soon that it sounds.", unit="s", ge=1, le=60)

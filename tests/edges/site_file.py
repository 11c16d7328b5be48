"""A small site for tests of the whole daemon: one light sensor, one oxygen probe, one keeper, short delays."""

from __future__ import annotations

from pathlib import Path

SETTINGS = """
[site]
name = "Trial house"
id = "trial"
latitude_deg = 54.0
longitude_deg = -1.0
elevation_m = 15
time_zone = "Europe/London"

[broker]
host = "127.0.0.1"
port = {broker_port}

[journal]
directory = "{directory}"

[mail]
host = "127.0.0.1"
port = {mail_port}
security = "none"
sender = "duskbell@trial.example"

[[sensor]]
name = "outdoor light"
quantity = "light"
unit = "W/m2"
topic = "trial/light"
mounted = "outside"
interval_s = 60

[[sensor]]
name = "tank oxygen"
quantity = "oxygen"
unit = "mg/L"
topic = "trial/oxygen"
place = "tank"
interval_s = 600

[[curtain]]
name = "main"
light_sensor = "outdoor light"
command_topic = "trial/curtain/command"
report_topic = "trial/curtain/report"

[curtain.light_ceiling]

[[alarm]]
name = "oxygen low"
kind = "low"
sensor = "tank oxygen"
limit = 4.0
deadband = 0.2
on_delay_s = {on_delay_s}
off_delay_s = 1
response = "emergency"
cause = "Air pump stopped."
consequence = "Fish die."
action = "Start the spare air pump"
time_to_respond_min = 30

[[alarm]]
name = "oxygen missing"
kind = "missing"
sensor = "tank oxygen"
response = "today"
cause = "Probe dead."
consequence = "Nobody sees low oxygen."
action = "Look at fish and probe"
time_to_respond_min = 60

[[alarm]]
name = "oxygen doubtful"
kind = "doubtful"
sensor = "tank oxygen"
response = "today"
cause = "Probe dirty."
consequence = "Nobody sees low oxygen."
action = "Look at fish and probe"
time_to_respond_min = 60

[[person]]
name = "keeper"
email = "keeper@trial.example"

[[call]]
response = "emergency"
after_min = 0
people = ["keeper"]

[[call]]
response = "today"
after_min = 0
people = ["keeper"]

[call_rules]
repeat_min = 1
"""


def write_site(folder: Path, *, broker_port: int, mail_port: int, on_delay_s: float = 2.0) -> Path:
    """Write the settings into a folder and return the file."""
    directory = folder / "journal"
    path = folder / "duskbell.toml"
    path.write_text(
        SETTINGS.format(
            broker_port=broker_port, mail_port=mail_port, directory=directory, on_delay_s=on_delay_s
        ),
        encoding="utf-8",
    )
    return path

"""The small page on which people see what is wrong and answer."""

from __future__ import annotations

from controller.core.plan.part import Part, key


class Page(Part):
    """Where the page listens and who may read it. Answering always takes the alarm's code."""

    listen: str = key("127.0.0.1", "Address on which it listens.", restart=True, max_length=45)
    port: int = key(8480, "Port on which it listens.", restart=True, ge=1024, le=65535)
    names: tuple[str, ...] = key((), "Names by which browsers may call it, besides addresses.", restart=True)
    address: str = key(
        "", "Its address as the staff reach it, with http or https; mails name it.", max_length=200
    )
    open_reading: bool = key(True, "Whether the open alarms can be read without signing in.", restart=True)
    secure: bool = key(
        False, "Whether browsers reach it by https, through a proxy in front of it.", restart=True
    )

"""Have the sun's table made for the coming days, keep it, and hand it to the core."""

from __future__ import annotations

from typing import Final

import structlog

from controller.core.plan.alarm import Watched
from controller.core.plan.site import Site
from controller.core.sky.almanac import pack
from controller.core.units import DAY_MS, UtcMs
from controller.core.vocabulary import AlmanacArrived, TroubleSeen
from controller.edges.almanac import AlmanacFailed, make_almanac
from controller.edges.inbox import Inbox
from controller.edges.journal import Journal
from controller.engine import NotRecorded

log = structlog.get_logger("duskbell.sun")

TABLE_DAYS: Final = 10
"""Days reckoned at once: yesterday, today, and a week that needs no renewal. [days]"""


def keep_almanac(site: Site, now_utc_ms: UtcMs, inbox: Inbox, journal: Journal | None) -> None:
    """Make the table that begins yesterday, store it, and put it into the inbox; tell if it cannot be made."""
    start = now_utc_ms - now_utc_ms % DAY_MS - DAY_MS
    try:
        almanac = make_almanac(
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            start_utc_ms=start,
            days=TABLE_DAYS,
        )
    except (AlmanacFailed, ValueError) as error:
        log.exception("the sun could not be reckoned")
        inbox.put(TroubleSeen(Watched.SKY, f"the table of the sun could not be made: {error}"))
        return
    inbox.put(AlmanacArrived(almanac))
    log.info("the sun is reckoned", days=TABLE_DAYS)
    if journal is not None:
        try:
            journal.store_almanac(pack(almanac))
        except NotRecorded as error:
            log.warning("the table of the sun could not be stored", error=str(error))

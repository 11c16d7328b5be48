"""Entries for Duskbell's own faults, in force unless the settings have their own.

They are not for the manager to forget: a daemon that cannot hear, remember or send is itself the emergency.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from controller.core.alarms.unknowns import list_unknowns
from controller.core.plan.alarm import AlarmEntry, Kind, Response, Watched
from controller.core.plan.sensor import Sensor


def _fault(
    of: Watched,
    name: str,
    response: Response,
    on_delay_s: float,
    *,
    cause: str,
    consequence: str,
    action: str,
    minutes: float,
) -> AlarmEntry:
    """Make an entry of kind fault."""
    return AlarmEntry(
        name=name, kind=Kind.FAULT, of=of, response=response, on_delay_s=on_delay_s, off_delay_s=10.0,
        cause=cause, consequence=consequence, action=action, time_to_respond_min=minutes,
    )  # fmt: skip


OWN_FAULTS: Final[tuple[AlarmEntry, ...]] = (
    _fault(
        Watched.BROKER, "no connection to the broker", Response.EMERGENCY, 120.0,
        cause="Broker stopped, cable out, wrong account.",
        consequence="Nothing is heard from any sensor and no curtain can be moved.",
        action="Check tanks, broker and network", minutes=60.0,
    ),
    _fault(
        Watched.JOURNAL, "alarm record cannot be written", Response.EMERGENCY, 0.0,
        cause="Card full, worn out or read-only.",
        consequence="Alarms and answers are forgotten at the next restart.",
        action="Free or replace the card", minutes=240.0,
    ),
    _fault(
        Watched.HISTORY, "history cannot be written", Response.TODAY, 60.0,
        cause="Card full or damaged.", consequence="Readings are not kept.",
        action="Free or replace the card", minutes=1440.0,
    ),
    _fault(
        Watched.MESSAGES, "messages cannot be sent", Response.TODAY, 0.0,
        cause="Mail server refuses or cannot be reached.",
        consequence="Nobody would hear of an emergency by this way.",
        action="Check network and mail account", minutes=240.0,
    ),
    _fault(
        Watched.MODEM, "modem cannot be used", Response.TODAY, 0.0,
        cause="Unplugged, no network, card or credit, store full.",
        consequence="Nobody would hear of an emergency by text message.",
        action="Check modem, aerial and card", minutes=240.0,
    ),
    _fault(
        Watched.SIREN, "siren does not obey", Response.TODAY, 0.0,
        cause="Board without power or network, siren or its read-back broken.",
        consequence="Nobody at the house would hear of an emergency.",
        action="Check the siren and its board", minutes=240.0,
    ),
    _fault(
        Watched.REPLIES, "somebody guesses codes", Response.TODAY, 0.0,
        cause="Wrong codes again and again from one number.",
        consequence="Answers from this number are refused for an hour.",
        action="Ask who it was; answer another way", minutes=1440.0,
    ),
    _fault(
        Watched.CURTAIN, "curtain stopped on a fault", Response.TODAY, 0.0,
        cause="Jam, ice, end switch, selector, relay, dead board.",
        consequence="The crop may scorch or the house cool down.",
        action="Isolator off, then look at the motor", minutes=240.0,
    ),
    _fault(
        Watched.LEARNT, "not as set by its own data", Response.NOTE, 0.0,
        cause="Dirt on a light sensor, friction, a stretched cable, another cloth or cover than set.",
        consequence="The curtain is drawn and opened by a wrong light or time, and costs more than it need.",
        action="Wipe the sensor, or put the setting right", minutes=10080.0,
    ),
    _fault(
        Watched.SKY, "no table of the sun", Response.NOTE, 3600.0,
        cause="The table could not be made.", consequence="The rules go by light and temperature alone.",
        action="See the log", minutes=10080.0,
    ),
    _fault(
        Watched.CLOCK, "clock not set", Response.NOTE, 1800.0,
        cause="No time server reached since power came back.",
        consequence="The rules go by light and temperature alone; times in messages may be wrong.",
        action="Check the network", minutes=1440.0,
    ),
    _fault(
        Watched.SETTINGS, "new settings refused", Response.TODAY, 0.0,
        cause="A mistake in the settings file.", consequence="The old settings stay in force.",
        action="Run duskbell check", minutes=1440.0,
    ),
    _fault(
        Watched.PEOPLE, "not reached by test", Response.TODAY, 0.0,
        cause="Phone off, lost or silent; number or address wrong; person away.",
        consequence="In an emergency this person would not answer.",
        action="Ask them; put phone or address right", minutes=1440.0,
    ),
    _fault(
        Watched.PATHS, "path not proven", Response.TODAY, 0.0,
        cause="No test call answered and no delivery reported for days.",
        consequence="Nobody knows whether a message by this path arrives.",
        action="Have them answer a test call", minutes=1440.0,
    ),
)  # fmt: skip


def with_own_faults(entries: Iterable[AlarmEntry], sensors: Iterable[Sensor]) -> tuple[AlarmEntry, ...]:
    """Return `entries`, and after them what they leave out.

    These are faults of Duskbell itself, and that a sensor of `sensors` on which an emergency hangs is unknown.
    """
    entries = tuple(entries)
    watched = {entry.of for entry in entries}
    names = {entry.name for entry in entries}
    faults = tuple(fault for fault in OWN_FAULTS if fault.of not in watched and fault.name not in names)
    return (*entries, *faults, *list_unknowns((*entries, *faults), sensors))

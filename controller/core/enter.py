"""Take in what people enter by hand: a test kit's value, its basis, and the correction of a slip."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isfinite
from typing import Final

from controller.core.alarms.life import answer
from controller.core.alarms.lifecycle import SOUNDING
from controller.core.draft import Draft, with_item, without_item
from controller.core.plan.alarm import Kind, Watched
from controller.core.plan.sensor import Sensor
from controller.core.ranges import OutOfRange
from controller.core.signals.sense import NEVER, UNHEARD, Sense, Spec
from controller.core.state import Entry
from controller.core.units import DAY_MS, KEPT_UNIT, MINUTE_MS, HouseMs
from controller.core.vocabulary import Ledger, Stamp, Trust, ValueEntered
from controller.core.water.kit import BasisRefused, name_unit, restate_mg_l

ENTERED: Final = "entered"
CORRECTED: Final = "corrected"
ENTRY_RULES: Final = frozenset({ENTERED, CORRECTED})
"""Rules of the notes that say that a value has been taken; their value is the one that is kept."""

NAME_MOST: Final = 40
"""Letters of a person's name that are kept."""

OLDER_FROM_MS: Final = MINUTE_MS
"""By so much an entry must be older by UTC than by house time to be put back: clocks drift a little. [ms]"""


class EntryRefused(ValueError):  # noqa: N818 - it is read aloud to the person who entered the value
    """A value that cannot be taken; the text says why and what is allowed."""


@dataclass(frozen=True, slots=True)
class Checked:
    """A value that can be taken [kept unit, as nitrogen where it has a basis]."""

    sensor: Sensor
    kept: float


def check_entry(
    sensors: Mapping[str, Sensor],
    specs: Mapping[str, Spec],
    entered: Mapping[str, Entry],
    event: ValueEntered,
) -> Checked:
    """Check a value that a person enters.

    Raises
    ------
    EntryRefused
        For a sensor that is none or is not entered by hand, a value outside what is possible, a basis that is
        missing or does not fit, and a correction with nothing to correct.
    """
    sensor = sensors.get(event.sensor)
    by_hand = [name for name, each in sensors.items() if each.entered]
    if sensor is None or not sensor.entered:
        known = ", ".join(by_hand) or "none"
        raise EntryRefused(f"{event.sensor[:NAME_MOST]!r} is not entered by hand; these are: {known}")
    if not isfinite(event.value):
        raise EntryRefused(f"{event.value} is no number")
    try:
        kept = restate_mg_l(sensor.quantity, value=event.value, basis=event.basis)
    except (BasisRefused, OutOfRange) as refusal:
        raise EntryRefused(str(refusal)) from None
    spec = specs[sensor.name]
    if not spec.low <= kept <= spec.high:
        unit = KEPT_UNIT[sensor.quantity]
        raise EntryRefused(
            f"{kept:.4g} {unit} of {sensor.quantity.value} is outside what is possible "
            f"({spec.low:g} to {spec.high:g} {unit}); is it a slip, or another unit?"
        )
    if event.corrects and sensor.name not in entered:
        raise EntryRefused(f"there is no value of {sensor.name} yet that could be corrected")
    return Checked(sensor, kept)


def take_entry(draft: Draft, event: ValueEntered) -> None:
    """Take a value that a person enters, or refuse it with a note."""
    try:
        checked = check_entry(draft.roll.sensors, draft.roll.specs, draft.entered, event)
    except EntryRefused as refusal:
        text = f"{event.person[:NAME_MOST]} entered a value that was refused: {refusal}"
        draft.note(Ledger.HOUSE, event.sensor[:NAME_MOST], "entry refused", text)
        return
    name = checked.sensor.name
    unit = KEPT_UNIT[checked.sensor.quantity]
    given = f"{event.value:g} {unit}" + (f" as {event.basis.value}" if event.basis.value else "")
    shown = (
        given
        if checked.kept == event.value
        else f"{given}, which is {checked.kept:.4g} {name_unit(checked.sensor.quantity)}"
    )
    person = event.person.strip()[:NAME_MOST]
    old = draft.entered.get(name)
    if event.corrects and old is not None:
        # The water was tested when the first value was entered; only the number was a slip.
        entry = Entry(
            checked.kept, event.value, event.basis, person, old.house_ms, old.utc_ms, old.utc_trusted
        )
        text = f"{person} corrects {old.given:g} {unit} {_as_words(old)}(entered by {old.person}) to {shown}"
        draft.note(Ledger.HOUSE, name, CORRECTED, text, checked.kept)
    else:
        stamp = draft.stamp
        entry = Entry(
            checked.kept, event.value, event.basis, person, draft.now, stamp.utc_ms, stamp.utc_trusted
        )
        draft.note(Ledger.HOUSE, name, ENTERED, f"{person} enters {shown}", checked.kept)
    draft.entered = with_item(draft.entered, name, entry)
    draft.senses = with_item(draft.senses, name, recall(draft.roll.specs[name], entry, draft.now))
    _answer_reminders(draft, name, person)
    _tell_dependents(draft, name)


def expect_entries(draft: Draft) -> None:
    """After a start or new settings go on from what people entered last, if it is not too old."""
    senses = dict(draft.senses)
    for name, entry in draft.entered.items():
        sensor = draft.roll.sensors.get(name)
        if sensor is not None and sensor.entered:
            senses[name] = recall(draft.roll.specs[name], entry, draft.now)
    for name, sensor in draft.roll.sensors.items():
        if sensor.entered and name not in draft.entered:
            senses[name] = UNHEARD._replace(why="nobody has entered a value yet", stale_ms=NEVER)
    draft.senses = senses


def recall(spec: Spec, entry: Entry, now: HouseMs) -> Sense:
    """Return what is known of an entered sensor from its last entry."""
    stale_ms = entry.house_ms + spec.stale_after_ms
    sense = Sense(
        entry.value, Trust.GOOD, "", entry.house_ms, entry.house_ms, stale_ms, 0.0, 0, None, entry.value, 0
    )
    if stale_ms > now:
        return sense
    days = (now - entry.house_ms) / DAY_MS
    return sense._replace(trust=Trust.STALE, why=f"tested {days:.0f} days ago", stale_ms=NEVER)


def find_age_ms(entry: Entry, stamp: Stamp) -> int:
    """Return how old an entry is [ms]: by house time or by UTC, whichever is more.

    House time lacks the time away when the board began before its clock had been set. UTC counts only if it is
    trusted and was when the value was entered.
    """
    house_ms = stamp.house_ms - entry.house_ms
    if not (stamp.utc_trusted and entry.utc_trusted):
        return house_ms
    return max(house_ms, stamp.utc_ms - entry.utc_ms)


def age_entries(draft: Draft) -> None:
    """Put back the entries that are older by UTC than by house time, once that can be told.

    It is looked at as soon as the clock has been set, and at every deadline. An entry never becomes younger
    again: of a clock that goes back nobody knows which of its times was right.
    """
    if not (draft.entered and draft.stamp.utc_trusted):
        return
    if not (draft.deadline_has_come or Watched.CLOCK in draft.troubles):
        return
    for name, entry in draft.entered.items():
        house_ms = draft.now - find_age_ms(entry, draft.stamp)
        if entry.house_ms - house_ms >= OLDER_FROM_MS:
            _put_back(draft, name, replace(entry, house_ms=house_ms))


def _put_back(draft: Draft, name: str, entry: Entry) -> None:
    """Take an entry for as old as it has turned out to be; the course of its readings begins anew."""
    draft.entered = with_item(draft.entered, name, entry)
    spec, sensor = draft.roll.specs.get(name), draft.roll.sensors.get(name)
    if spec is None or sensor is None or not sensor.entered:
        return
    before, after = draft.senses[name], recall(spec, entry, draft.now)
    draft.senses = with_item(draft.senses, name, after)
    draft.tended = replace(draft.tended, traces=without_item(draft.tended.traces, name))
    if after.trust is not before.trust:
        draft.note_trust(name, before=before.trust, after=after.trust, why=after.why)
    _tell_dependents(draft, name)


def _answer_reminders(draft: Draft, name: str, person: str) -> None:
    """Whoever enters the value has answered the reminder of it."""
    for alarm_name in draft.roll.alarms_of_sensor.get(name, ()):
        entry, alarm = draft.roll.entries[alarm_name], draft.alarms.get(alarm_name)
        if entry.kind is Kind.DUE and alarm is not None and alarm.phase in SOUNDING:
            draft.set_alarm(alarm_name, answer(entry, alarm, draft.stamp, person))


def _as_words(entry: Entry) -> str:
    return f"as {entry.basis.value} " if entry.basis.value else ""


def _tell_dependents(draft: Draft, name: str) -> None:
    """Mark the alarms and waters that hang on an entered value."""
    draft.due_alarms.update(draft.roll.alarms_of_sensor.get(name, ()))
    draft.stirred[name] = None

"""The day in a headline and five lines: what is read over breakfast, and missed when it does not come."""

from __future__ import annotations

from collections.abc import Iterable

from controller.core.alarms.lifecycle import ACTIVE, SILENCED, SOUNDING
from controller.core.alarms.wording import local_time
from controller.core.curtain.drive import Drive
from controller.core.draft import Draft
from controller.core.plan.alarm import Response
from controller.core.plan.phrases import Phrases
from controller.core.units import DAY_MS
from controller.core.vocabulary import Trust

LISTED_MOST = 3
"""Names in one line of the digest; the status has them all."""


def describe_day(draft: Draft) -> tuple[str, ...]:
    """Write the day in a headline and five lines: alarms, what is open, people, sensors, curtains.

    The headline speaks of what asks somebody to act: notes and test kits that are due are in the lines below.
    """
    tally, roll, phrases = draft.chain.tally, draft.roll, draft.plan.phrases
    calling, noted = _list_open(draft)
    silenced = [
        f"{name} {alarm.phase.value}" for name, alarm in draft.alarms.items() if alarm.phase in SILENCED
    ]
    bad = [name for name in roll.specs if not draft.senses or draft.senses[name].trust is not Trust.GOOD]
    blind = [name for name in bad if not roll.sensors[name].entered]
    well = not (calling or silenced or blind or draft.troubles)
    return (
        phrases.digest_head.format(
            state=phrases.digest_well if well else phrases.digest_not_well,
            site=draft.plan.site.name,
            time=_write_date(draft),
        ),
        phrases.digest_alarms.format(
            emergencies=_count(tally.emergencies, phrases.count_emergencies),
            today=tally.today,
            notes=_count(tally.notes, phrases.count_notes),
        ),
        phrases.digest_open.format(
            names=_list([*calling, *noted], phrases), silenced=_list(silenced, phrases)
        ),
        phrases.digest_people.format(
            answers=_count(tally.answers, phrases.count_answers),
            messages=_count(len(draft.outstanding), phrases.count_messages),
            proof=_write_proof(draft),
        ),
        phrases.digest_sensors.format(
            good=len(roll.specs) - len(bad), all=len(roll.specs), names=_list(bad, phrases)
        ),
        phrases.digest_curtains.format(
            curtains="; ".join(_describe_curtain(draft, name) for name in roll.curtains) or phrases.none_open
        ),
    )


def _list_open(draft: Draft) -> tuple[list[str], list[str]]:
    """List what somebody must act on, and what is only written down and is still so."""
    calling, noted = [], []
    for name, alarm in draft.alarms.items():
        entry = draft.roll.entries.get(name)
        if entry is None:
            continue
        if entry.response is Response.NOTE:
            noted += [name] if alarm.phase in ACTIVE else []
        elif alarm.phase in SOUNDING or alarm.phase in ACTIVE:
            calling.append(name)
    return calling, noted


def _write_date(draft: Draft) -> str:
    """Write day and time."""
    at, phrases = local_time(draft.stamp.utc_ms, draft.stamp.utc_offset_min), draft.plan.phrases
    weekday, month = phrases.weekdays.split()[at.weekday()], phrases.months.split()[at.month - 1]
    return f"{weekday} {at:%d} {month} {at:%H:%M}"


def _write_proof(draft: Draft) -> str:
    """Say since when every path has been proven; on a new house, since it was first expected."""
    phrases = draft.plan.phrases
    earliest = min(draft.chain.proven_ms.values(), default=None)
    if earliest is None:
        return phrases.digest_no_path
    days = (draft.now - earliest) // DAY_MS + 1
    return phrases.digest_proof.format(days=_count(days, phrases.count_days))


def _count(number: int, forms: str) -> str:
    """Write a number of things: a phrase has the form for one and that for many, with a bar between."""
    one, _, many = forms.partition("|")
    return (one if number == 1 or not many else many).format(count=number)


def _describe_curtain(draft: Draft, name: str) -> str:
    """Say where a curtain is and how often it has moved today."""
    drive, phrases = draft.drives.get(name, Drive()), draft.plan.phrases
    place = phrases.place_unknown
    if drive.drawn_percent is not None:
        place = phrases.place_drawn.format(percent=f"{drive.drawn_percent:.0f}")
    return phrases.digest_curtain.format(
        name=name, place=place, moves=_count(drive.moves_today, phrases.count_moves)
    )


def _list(names: Iterable[str], phrases: Phrases) -> str:
    """Write some names, and how many there are besides."""
    listed = list(names)
    if not listed:
        return phrases.none_open
    shown = ", ".join(listed[:LISTED_MOST])
    left = len(listed) - LISTED_MOST
    return phrases.and_others.format(names=shown, count=left) if left > 0 else shown

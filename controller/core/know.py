"""Let curtains learn of themselves, and tell what differs from their settings. Nothing is set by itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from controller.core.curtain.drive import Drive, local_day
from controller.core.curtain.light_shift import end_day, find_shift, find_usual, tell_shift
from controller.core.curtain.self_knowledge import (
    PAIR_LEAST_MIN,
    PAIR_LEAST_W_M2,
    UNLEARNT,
    Learnt,
    Watch,
    add_pair,
    find_clear_day,
    judge_light,
    judge_transmission,
    judge_travel,
    keep_day,
    learn_transmissions,
    learn_travel,
    watch_light,
)
from controller.core.curtain.view import trusted
from controller.core.draft import Draft, with_item
from controller.core.plan.alarm import Watched
from controller.core.plan.curtain import Curtain
from controller.core.plan.sensor import Mounted
from controller.core.units import MINUTE_MS, SECOND_MS
from controller.core.vocabulary import Ledger, Run

LIGHT_MATTERS: Final = frozenset({"light", "shift"})
"""What is told of the light sensor, and not of the curtain itself."""

LONGEST_PAIR_MIN: Final = 5.0
"""A pause of readings counts as no more than this. [min]"""


def know_travel(draft: Draft, curtain: Curtain, before: Drive) -> None:
    """Learn from a run that has just arrived, if it went from one end to the other."""
    if before.from_percent is None or {before.from_percent, before.target_percent} != {0.0, 100.0}:
        return
    if not curtain.has_limit_report:
        return  # there the time is not measured but given
    ran_s = (draft.now - before.started_ms) / SECOND_MS
    learnt = learn_travel(draft.learnt.get(curtain.name, UNLEARNT), before.run, ran_s)
    matter = "draw" if before.run is Run.DRAW else "open"
    learnt = _tell(
        draft,
        learnt,
        matter,
        judge_travel(learnt, curtain, before.run),
        ledger=Ledger.HOUSE,
        subject=curtain.name,
    )
    draft.learnt = with_item(draft.learnt, curtain.name, learnt)


def know_light(
    draft: Draft, curtain: Curtain, drive: Drive, watch: Watch, *, passed_ms: int, clear_w_m2: float | None
) -> Watch:
    """Watch the light sensor against the clear sky, and the second one against the first."""
    sensor = draft.roll.sensors.get(curtain.light_sensor)
    if sensor is None or sensor.mounted is not Mounted.OUTSIDE:
        return watch
    day = local_day(draft.stamp)
    if watch.local_day is not None and watch.local_day != day:
        _judge_day(draft, curtain, watch)
        watch = Watch()
    light = trusted(draft.senses.get(curtain.light_sensor))
    if light is None or clear_w_m2 is None:
        return watch
    minute = draft.stamp.utc_ms // MINUTE_MS
    windows = len(watch.quotients)
    watch = watch_light(watch, light_w_m2=light, clear_w_m2=clear_w_m2, minute=minute, local_day=day)
    if len(watch.quotients) > windows:
        _judge_window(draft, curtain, watch)
    if curtain.second_light_sensor and light >= PAIR_LEAST_W_M2:
        before = watch
        watch = _pair(draft, curtain, drive, watch, light, min(passed_ms / MINUTE_MS, LONGEST_PAIR_MIN))
        if before.open_pair[0] < PAIR_LEAST_MIN <= watch.open_pair[0]:
            _judge_pair(draft, curtain, Watch(open_pair=watch.open_pair))
        if before.drawn_pair[0] < PAIR_LEAST_MIN <= watch.drawn_pair[0]:
            _judge_pair(draft, curtain, Watch(drawn_pair=watch.drawn_pair))
    return watch


def tell_learnt(draft: Draft) -> None:
    """Say what curtains have learnt of themselves that is not as set, for the alarm entry that stands for it."""
    texts = [
        f"curtain {name}: {f'its light sensor {text}' if matter in LIGHT_MATTERS else text}"
        for name, learnt in draft.learnt.items()
        if name in draft.roll.curtains
        for matter, text in learnt.told
    ]
    draft.set_trouble(Watched.LEARNT, "; ".join(texts) or None)


def allow_for_shift(draft: Draft, curtain: Curtain) -> float:
    """Return by what the light sensor's reading is multiplied, as it shows less or more than it used to [1]."""
    learnt = draft.learnt.get(curtain.name)
    return 1.0 if learnt is None or learnt.shift is None else learnt.shift.factor


def _pair(
    draft: Draft, curtain: Curtain, drive: Drive, watch: Watch, light_w_m2: float, minutes: float
) -> Watch:
    """Compare the second light sensor with the first, while the curtain stands at an end."""
    second = trusted(draft.senses.get(curtain.second_light_sensor))
    if second is None or drive.drawn_percent is None:
        return watch
    below = _is_below(draft, curtain)
    if not below or drive.drawn_percent <= 1.0:
        pair = add_pair(watch.open_pair, minutes=minutes, outside_w_m2=light_w_m2, second_w_m2=second)
        return watch._replace(open_pair=pair)
    if drive.drawn_percent >= 99.0:
        pair = add_pair(watch.drawn_pair, minutes=minutes, outside_w_m2=light_w_m2, second_w_m2=second)
        return watch._replace(drawn_pair=pair)
    return watch


def _is_below(draft: Draft, curtain: Curtain) -> bool:
    """Whether the second light sensor hangs under the curtain."""
    sensor = draft.roll.sensors.get(curtain.second_light_sensor)
    return sensor is not None and sensor.mounted is Mounted.BELOW_CURTAIN


def _judge_window(draft: Draft, curtain: Curtain, watch: Watch) -> None:
    """Hold the clear spells of today against the clear days before, and tell a shift in the hour in which it shows."""
    learnt = draft.learnt.get(curtain.name, UNLEARNT)
    usual = find_usual(learnt.clear_days)
    shift = find_shift(learnt.shift, watch.quotients, learnt.clear_days)
    if shift == learnt.shift or usual is None:
        return
    text = "" if shift is None else tell_shift(shift, usual, len(watch.quotients))
    learnt = replace(learnt, shift=shift)
    learnt = _tell(draft, learnt, "shift", text, ledger=Ledger.SENSOR, subject=curtain.light_sensor)
    draft.learnt = with_item(draft.learnt, curtain.name, learnt)


def _judge_pair(draft: Draft, curtain: Curtain, watch: Watch) -> None:
    """Learn from an hour of pairs what cover or curtain let through, once a day, and tell what is not as set."""
    before = learnt = draft.learnt.get(curtain.name, UNLEARNT)
    learnt = learn_transmissions(learnt, watch, second_is_below=_is_below(draft, curtain))
    if learnt.cover_days != before.cover_days:
        news = judge_transmission("cover", learnt.cover, learnt.cover_days, curtain.cover_transmission)
        learnt = _tell(draft, learnt, "cover", news, ledger=Ledger.HOUSE, subject=curtain.name)
    if learnt.curtain_days != before.curtain_days:
        news = judge_transmission("drawn curtain", learnt.curtain, learnt.curtain_days, curtain.transmission)
        learnt = _tell(draft, learnt, "curtain", news, ledger=Ledger.HOUSE, subject=curtain.name)
    if learnt is not before:
        draft.learnt = with_item(draft.learnt, curtain.name, learnt)


def _judge_day(draft: Draft, curtain: Curtain, watch: Watch) -> None:
    """Take a day in that is over, and tell what it shows."""
    before = learnt = draft.learnt.get(curtain.name, UNLEARNT)
    value = find_clear_day([quotient for _, quotient in watch.quotients])
    counts = False
    if value is not None:
        shift, counts = end_day(learnt.shift, value, learnt.clear_days)
        if learnt.shift is not None and shift is None:
            # It has been so for so long that it is the usual now; what was before is no measure any more.
            text = (
                f"has shown {value * 100:.0f} % of a clear sky for so long that this is taken for its usual"
            )
            draft.note(Ledger.SENSOR, curtain.light_sensor, "self-knowledge", text)
            told = tuple((matter, text) for matter, text in learnt.told if matter != "shift")
            learnt = replace(learnt, clear_days=(), told=told)
        learnt = replace(learnt, shift=shift)
    if counts and value is not None and watch.local_day is not None:
        learnt = replace(learnt, clear_days=keep_day(learnt.clear_days, watch.local_day, value))
        learnt = _tell(
            draft,
            learnt,
            "light",
            judge_light(learnt.clear_days),
            ledger=Ledger.SENSOR,
            subject=curtain.light_sensor,
        )
    if learnt is not before:
        draft.learnt = with_item(draft.learnt, curtain.name, learnt)


def _tell(
    draft: Draft, learnt: Learnt, matter: str, text: str | None, *, ledger: Ledger, subject: str
) -> Learnt:
    """Tell a matter once when it begins and once when it is over; while it lasts its text is kept up to date."""
    told = dict(learnt.told)
    if text is None:
        return learnt
    if not text:
        if matter not in told:
            return learnt
        text = f"no longer shows: {told.pop(matter)}"
        draft.note(ledger, subject, "self-knowledge", text)
    else:
        if matter not in told:
            draft.note(ledger, subject, "self-knowledge", text)
        told[matter] = text
    return replace(learnt, told=tuple(told.items()))

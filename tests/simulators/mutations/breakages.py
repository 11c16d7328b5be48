"""Ways to break the controller on purpose, each with the scenario in whose course a promise must notice.

A breakage replaces one function or attribute, as a slip of a programmer's hand would. The scenario is one of the
project's own, or a short one made here; without the breakage it keeps every promise.
"""

# What stands in the place of a function takes whatever the function took.
# ruff: noqa: ANN401, ARG005

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final, NamedTuple

import pytest

from controller import engine as engine_module
from controller.core import call, listen, outcomes, silence, sound, steer, step
from controller.core.alarms import life
from controller.core.alarms.alarm import Truth
from controller.core.curtain import choice, drive, motor
from controller.core.draft import Draft
from controller.core.signals.sense import NEVER
from controller.core.state import Durable
from controller.core.vocabulary import AnswerGiven, MoveCurtain, Run, Trust
from simulators.scenario import FaultTable, Scenario, read_scenario
from simulators.site import START

Patch = pytest.MonkeyPatch


class Breakage(NamedTuple):
    """One way to break it: a name, how, and where it must be noticed."""

    name: str
    apply: Callable[[Patch], None]
    scenario: Scenario
    changes: dict[str, Any] = {}  # noqa: RUF012 - read only


def _story(name: str, days: float, *faults: FaultTable, start: Any = START) -> Scenario:
    """Make a short scenario without expectations: the promises alone must notice."""
    return Scenario(name, name, start, days, faults, ())


def _curtain_as(**changes: Any) -> Callable[[Patch], None]:
    """Let the waits of the motor be reckoned from other settings than those that hold."""

    def apply(patch: Patch) -> None:
        right = drive.waits_until_ms

        def wrong(curtain: Any, *rest: Any) -> Any:
            return right(curtain.model_copy(update=changes), *rest)

        patch.setattr(drive, "waits_until_ms", wrong)

    return apply


def _entry_as(**changes: Any) -> Callable[[Patch], None]:
    """Let alarms live by other delays than those that hold."""

    def apply(patch: Patch) -> None:
        right = life.live

        def wrong(entry: Any, *rest: Any) -> Any:
            return right(entry.model_copy(update=changes), *rest)

        patch.setattr(sound, "live", wrong)

    return apply


def _no_deadband(patch: Patch) -> None:
    """Let the limit alone decide."""
    right = sound.judge_condition

    def wrong(entry: Any, *rest: Any) -> Any:
        truth = right(entry, *rest)
        return Truth.FALSE if truth is Truth.BETWEEN else truth

    patch.setattr(sound, "judge_condition", wrong)


def _unknown_is_normal(patch: Patch) -> None:
    """Let what nobody knows count as well."""
    right = sound.judge_condition

    def wrong(*rest: Any) -> Any:
        truth = right(*rest)
        return Truth.FALSE if truth is Truth.UNKNOWN else truth

    patch.setattr(sound, "judge_condition", wrong)


def _stale_is_good(patch: Patch) -> None:
    """Let an old value stand for ever."""
    patch.setattr(listen, "turn_stale", lambda spec, sense: sense._replace(trust=Trust.GOOD, stale_ms=NEVER))


def _kept_is_fresh(patch: Patch) -> None:
    """Let the broker's kept value count as just measured."""
    right = listen.judge
    patch.setattr(
        listen,
        "judge",
        lambda spec, sense, sample, *rest: right(spec, sense, sample._replace(fresh=True), *rest),
    )


def _send_before_commit(patch: Patch) -> None:
    """Act first and remember afterwards."""

    def wrong(self: Any, stamp: Any, event: Any) -> Any:
        old = self.state
        new, effects = engine_module.step(old, stamp, event)
        for effect in effects:
            self._act(effect, stamp)
        self._commit(self._record, stamp, event, effects, old, new)
        self.state = new
        return effects

    patch.setattr(engine_module.Engine, "turn", wrong)


def _any_code_answers(patch: Patch) -> None:
    """Let any code answer whatever is open, so that an old answer answers the next occurrence."""
    right = step.sound.take_answer

    def wrong(draft: Draft, event: AnswerGiven) -> None:
        codes = [alarm.code for alarm in draft.alarms.values() if alarm.phase in sound.SOUNDING]
        right(draft, AnswerGiven(codes[0], event.person, event.way) if codes else event)

    patch.setattr(sound, "take_answer", wrong)


def _nobody_answers(patch: Patch) -> None:
    """Let an answer count that nobody has signed."""
    patch.setattr(step, "_BY_A_PERSON", ())


def _answer_for_good(patch: Patch) -> None:
    """Let an answer silence an alarm for good."""
    right = sound.answer
    patch.setattr(sound, "answer", lambda *rest: replace(right(*rest), again_ms=NEVER))


def _answer_is_lost(patch: Patch) -> None:
    """Take an answer, say so, and go on calling."""
    right = sound.answer

    def wrong(entry: Any, alarm: Any, stamp: Any, person: str) -> Any:
        answered = right(entry, alarm, stamp, person)
        return replace(answered, phase=alarm.phase, next_call_ms=stamp.house_ms + 60_000)

    patch.setattr(sound, "answer", wrong)


def _call_once(patch: Patch) -> None:
    """Call once and leave it at that."""
    right = call.call_next

    def wrong(*rest: Any) -> Any:
        alarm, told = right(*rest)
        return replace(alarm, next_call_ms=NEVER), told

    patch.setattr(call, "call_next", wrong)


def _shelf_for_ever(patch: Patch) -> None:
    """Let a shelf never end."""
    right = silence.shelve
    patch.setattr(silence, "shelve", lambda alarm, until_ms: right(alarm, NEVER))


def _send_nothing_again(patch: Patch) -> None:
    """Forget at a start what was under way."""
    patch.setattr(outcomes, "send_again", lambda draft: None)


def _forget_alarms(patch: Patch) -> None:
    """Leave the alarms out of what is remembered."""
    right = engine_module.pack

    def wrong(durable: Durable) -> bytes:
        return right(replace(durable, alarms={}))

    patch.setattr(engine_module, "pack", wrong)


def _command_again(patch: Patch) -> None:
    """Give the command that was under way again at a start."""
    right = steer.forget_positions

    def wrong(draft: Draft) -> None:
        before = dict(draft.drives)
        right(draft)
        for name, held in before.items():
            if held.command_id:
                draft.effects.append(
                    MoveCurtain(
                        held.command_id, name, Run.DRAW, held.target_percent, 60_000, draft.stamp.utc_ms + 9_000,
                        draft.now + 9_000, "what was begun must be ended",
                    )
                )  # fmt: skip

    patch.setattr(steer, "forget_positions", wrong)


def _run_for_ever(patch: Patch) -> None:
    """Let the motor run for three times as long as it may."""
    right = drive.plan_run

    def wrong(*rest: Any) -> Any:
        command = right(*rest)
        return None if command is None else replace(command, run_at_most_ms=3 * command.run_at_most_ms)

    patch.setattr(drive, "plan_run", wrong)


def _pull_at_the_jam(patch: Patch) -> None:
    """Take a jam for an arrival and try again."""
    patch.setattr(motor, "_fault", lambda held, now, text: (motor._arrive(held, now, None), text))


def _same_name(patch: Patch) -> None:
    """Give every effect the same name."""
    patch.setattr(Draft, "effect_id", lambda self: "e1")


def _same_code(patch: Patch) -> None:
    """Give every occurrence the same code."""
    patch.setattr(Draft, "make_code", lambda self: "4711")


def _no_reason(patch: Patch) -> None:
    """Move without a word."""
    patch.setattr(steer, "explain", lambda wish: "")


def _durations_by_utc(patch: Patch) -> None:
    """Measure durations by the clock on the wall."""
    right = engine_module.step
    began: list[int] = []

    def wrong(state: Any, stamp: Any, event: Any) -> Any:
        began.append(stamp.utc_ms - stamp.house_ms)
        return right(state, stamp._replace(house_ms=stamp.utc_ms - began[0]), event)

    patch.setattr(engine_module, "step", wrong)


def _wake_at_night(patch: Patch) -> None:
    """Call at night for what can wait."""
    patch.setattr(call, "quiet_left", lambda draft: 0)


def _drive_while_locked(patch: Patch) -> None:
    """Take no notice of the selector at the motor."""
    right = motor.hear

    def wrong(curtain: Any, held: Any, report: Any, now: int) -> Any:
        return right(curtain, held, replace(report, selector=drive.Selector.REMOTE), now)

    patch.setattr(motor, "hear", wrong)


def _wish_nothing(*rules: str) -> Callable[[Patch], None]:
    """Let rules of the curtain never wish for anything."""

    def apply(patch: Patch) -> None:
        for rule in rules:
            patch.setattr(choice, rule, lambda *rest: None)

    return apply


def _heat_by_light(patch: Patch) -> None:
    """Meet heat with the light's limits alone: open where there is shade to be had."""
    right = choice.wish_cool

    def wrong(rule: Any, view: Any) -> Any:
        wish = right(rule, view)
        return None if wish is None else wish._replace(drawn_percent=100.0 - wish.drawn_percent)

    patch.setattr(choice, "wish_cool", wrong)


def _hold_before_snow(patch: Patch) -> None:
    """Let a hold go before the weather."""
    right = choice.wish_weather

    def wrong(curtain: Any, marks: Any, standing: Any, now: int) -> Any:
        wish = right(curtain, marks, standing, now)
        return None if wish is not None and _HELD else wish

    def find(curtain: Any, view: Any, held: Any, hold: Any, *rest: Any) -> Any:
        _HELD[:] = [hold] if hold is not None else []
        return right_find(curtain, view, held, hold, *rest)

    right_find = choice.find_wish
    patch.setattr(choice, "wish_weather", wrong)
    patch.setattr(choice, "find_wish", find)


_HELD: Final[list[Any]] = []


def _open_at_once(patch: Patch) -> None:
    """Open into cold air in one go."""
    patch.setattr(choice, "open_in_steps", lambda rule, view, held, wish, now: wish)


def _gap_for_ever(patch: Patch) -> None:
    """Never close a gap."""
    right = choice.wish_gap

    def wrong(rule: Any, *rest: Any) -> Any:
        return right(None if rule is None else rule.model_copy(update={"open_min": 1e6}), *rest)

    patch.setattr(choice, "wish_gap", wrong)


AIR, NIGHT = "air pump stops", read_scenario("curtain-jams").start

_COLD: Final = replace(
    _story("cold dawn", 1.0, start=NIGHT),
    all_rules=True,
    curtain={"hold_heat": False, "too_cold": {"below_c": 18}},
)
_BRIGHT: Final = replace(
    _story("a bright day", 0.9),
    all_rules=True,
    curtain={"light_ceiling": False, "light_sum": {"low_mol_m2": 3, "high_mol_m2": 6}},
)

BREAKAGES: Final = (
    Breakage("heat ignored", _wish_nothing("wish_cool"), read_scenario("too-hot-under-the-curtain")),
    Breakage("heat met the wrong way", _heat_by_light, read_scenario("too-hot-under-the-curtain")),
    Breakage("cold ignored", _wish_nothing("wish_warm"), _COLD),
    Breakage("weather ignored", _wish_nothing("wish_weather"), read_scenario("storm-by-the-wind-sensor")),
    Breakage("a hold before snow", _hold_before_snow, read_scenario("snow-goes-before-a-hold")),
    Breakage("day's light ignored", _wish_nothing("wish_band"), _BRIGHT),
    Breakage("light ceiling ignored", _wish_nothing("wish_shade"), _story("two days", 2.0)),
    Breakage("heat not held", _wish_nothing("wish_night", "wish_dark"), _story("a night", 0.6, start=NIGHT)),
    Breakage("moisture ignored", _wish_nothing("wish_gap"), read_scenario("moist-nights-of-autumn")),
    Breakage("a gap for ever", _gap_for_ever, read_scenario("moist-nights-of-autumn")),
    Breakage("opens into cold air at once", _open_at_once, read_scenario("opening-into-cold-air")),
    Breakage("no dwell", _curtain_as(dwell_min=0.0), _story("two days", 2.0)),
    Breakage(
        "no rest before turning round",
        _curtain_as(rest_before_reversal_s=0.0),
        _story(
            "held twice",
            0.5,
            FaultTable("curtain held", "100", 400, 20),
            FaultTable("curtain held", "0", 402, 20),
            FaultTable("curtain held", "100", 404, 20),
            FaultTable("curtain held", "0", 405, 20),
        ),
    ),
    Breakage(
        "no budget of moves", _curtain_as(moves_per_day=10**6), _story("two days", 2.0), {"moves_per_day": 4}
    ),
    Breakage("no deadband", _no_deadband, read_scenario("reading-chatters")),
    Breakage("no on-delay", _entry_as(on_delay_s=0.0), read_scenario("reading-chatters")),
    Breakage("no off-delay", _entry_as(off_delay_s=0.0), read_scenario("air-pump-stops-at-night")),
    Breakage("send before commit", _send_before_commit, read_scenario("nobody-answers")),
    Breakage("stale treated as normal", _stale_is_good, read_scenario("oxygen-probe-silent")),
    Breakage(
        "unknown treated as normal",
        _unknown_is_normal,
        _story(
            "switch silent",
            0.3,
            FaultTable(AIR, "", 60, 200),
            FaultTable("sensor silent", "air pump", 90, 100),
        ),
    ),
    Breakage("kept counted fresh", _kept_is_fresh, read_scenario("only-a-kept-value")),
    Breakage("an answer answers the next", _any_code_answers, read_scenario("strange-answers")),
    Breakage("an answer nobody signed", _nobody_answers, read_scenario("strange-answers")),
    Breakage(
        "an answer for good", _answer_for_good, _story("three hours", 0.3, FaultTable(AIR, "", 60, 300))
    ),
    Breakage("an answer is lost", _answer_is_lost, read_scenario("air-pump-stops-at-night")),
    Breakage("called once", _call_once, read_scenario("nobody-answers")),
    Breakage("a shelf for ever", _shelf_for_ever, read_scenario("alarm-shelved-and-forgotten")),
    Breakage(
        "messages not sent again", _send_nothing_again, read_scenario("power-lost-before-a-call-is-sent")
    ),
    Breakage("alarms not remembered", _forget_alarms, read_scenario("crash-loop")),
    Breakage("command given again", _command_again, read_scenario("power-lost-while-the-motor-runs")),
    Breakage("motor not bounded", _run_for_ever, _story("two days", 2.0)),
    Breakage(
        "pulls at a jam",
        _pull_at_the_jam,
        _story("jam", 0.7, FaultTable("curtain jams", "50", 1, 900), start=NIGHT),
    ),
    Breakage("effects share a name", _same_name, read_scenario("nobody-answers")),
    Breakage("occurrences share a code", _same_code, read_scenario("mains-lost")),
    Breakage("no reason given", _no_reason, _story("two days", 2.0)),
    Breakage("durations by the wall clock", _durations_by_utc, read_scenario("clock-an-hour-behind")),
    Breakage(
        "wakes for what can wait",
        _wake_at_night,
        _story("saved at night", 0.3, FaultTable("settings refused", "", 120, 60)),
    ),
    Breakage(
        "selector ignored",
        _drive_while_locked,
        _story("by hand", 0.7, FaultTable("selector turned", "off", 1, 900), start=NIGHT),
    ),
)
"""More than twenty ways."""

"""The motor told as stories: a board reports, time passes, and after each line the whole state is looked at."""

from __future__ import annotations

import math

import pytest
from makers import START_MS, House, make_curtain, make_plan

from controller.core.alarms.lifecycle import Phase as AlarmPhase
from controller.core.curtain.drive import MUTE_RETRY_MS, Phase
from controller.core.curtain.motor import REFUSED_RETRY_MS
from controller.core.curtain.wording import describe_position
from controller.core.plan.curtain import Actuator, HoldHeat, LightCeiling
from controller.core.units import SECOND_MS
from controller.core.vocabulary import (
    CurtainReported,
    EffectFailed,
    FaultCleared,
    HoldAsked,
    Limit,
    Run,
    Selector,
)

FAULT = "curtain stopped on a fault"


def ask(house: House, drawn_percent: float, minutes: float = 600.0) -> House:
    """Let the keeper want a position."""
    return house.tell(HoldAsked("roof", drawn_percent, minutes, "keeper"))


def running(drawn_percent: float = 100.0, **changes: object) -> House:
    """Walk to a motor that runs from open, begun this instant."""
    house = House(make_plan(curtain=(make_curtain(light_ceiling=None, hold_heat=None, **changes),)))
    house.report(0.0).wait(1)
    return ask(house, drawn_percent)


def begun(**changes: object) -> House:
    """Walk to a motor that runs and whose board has said so."""
    return running(**changes).report(0.0, moving=True)  # type: ignore[arg-type]  # keys of the curtain


def joint(house: House) -> tuple[Phase, float | None, bool]:
    """Return phase, position, and whether the fault is told."""
    return (
        house.drive.phase,
        house.drive.drawn_percent,
        FAULT in house.state.durable.alarms and "curtain" in str(house.state.troubles),
    )


def test_a_good_run() -> None:
    """Commanded once, followed by its reports, ended by the end switch."""
    house = running()
    assert [(move.run, move.drawn_percent, move.run_at_most_ms) for move in house.moves] == [
        (Run.DRAW, 100.0, 120_000)
    ]
    assert joint(house) == (Phase.RUNNING, 0.0, False)
    house.report(0.0, moving=True).wait(seconds=50).report(50.0, moving=True)
    assert joint(house) == (Phase.RUNNING, 50.0, False)
    house.wait(seconds=50).report(100.0)
    assert joint(house) == (Phase.IDLE, 100.0, False)
    assert (house.moves, house.stops) == ([], [])
    assert (house.drive.moves_total, house.drive.motor_total_ms) == (1, 100_000)


def test_a_command_dies_after_ten_seconds() -> None:
    """A command lies nowhere for long: it names the instants after which it is dead, by both clocks."""
    house = running()
    move = house.moves[0]

    assert (house.now + 10_000, house.utc_ms + 10_000) == (move.not_after_house_ms, move.not_after_utc_ms)


def test_a_jam_is_stopped_by_what_the_board_shows() -> None:
    """Moving, it says, and does not move: stop, tell, and never try again by itself."""
    house = running().report(0.0, moving=True).wait(seconds=19).report(0.2, moving=True)
    assert joint(house) == (Phase.RUNNING, 0.0, False)
    house.wait(seconds=2).report(0.2, moving=True)
    assert (house.drive.phase, None, joint(house)[2]) == (Phase.FAULTED, None, True)
    assert len(house.stops) == 1
    assert "has not moved" in house.drive.trouble
    house.report(0.2).wait(600)
    assert (house.drive.phase, house.moves) == (Phase.FAULTED, [])


def test_a_silent_jam_is_stopped_at_the_ceiling() -> None:
    """A board that confirmed and fell silent is stopped after 1.2 travel times and no later."""
    house = running().report(None, moving=True).wait(seconds=119)
    assert Phase.RUNNING is house.drive.phase
    house.wait(seconds=1)
    assert (house.drive.phase, len(house.stops)) == (Phase.FAULTED, 1)
    assert "without reaching 100 %" in house.drive.trouble


def test_a_board_that_never_answers_is_mute() -> None:
    """No word in fifteen seconds: stop, tell, ask again in ten minutes, and the trouble lasts through the tries."""
    house = running().wait(seconds=14)
    assert Phase.RUNNING is house.drive.phase
    house.wait(seconds=1)
    assert joint(house) == (Phase.MUTE, None, True)
    assert len(house.stops) == 1
    house.wait(seconds=MUTE_RETRY_MS / 1000 - 1)
    assert house.moves == []
    house.wait(seconds=61)
    assert house.drive.moves_total == 2
    assert "roof" in str(house.state.troubles)
    assert house.state.durable.alarms[FAULT].occurrence == 1
    house.wait(60)
    assert house.state.durable.alarms[FAULT].phase is AlarmPhase.UNACKNOWLEDGED
    assert not any("OVER" in message.subject for message in house.messages)


def test_a_mute_board_that_speaks_is_heard() -> None:
    """One word ends the trouble, and the position is what it says."""
    house = running().wait(seconds=15).report(30.0)

    assert joint(house) == (Phase.IDLE, 30.0, False)


def test_a_stop_on_the_way_is_a_fault() -> None:
    """A motor that rests between here and there was stopped by something."""
    house = begun().wait(seconds=30).report(30.0, moving=True).wait(seconds=1).report(30.0)

    assert (house.drive.phase, "stopped at 30 %" in house.drive.trouble) == (Phase.FAULTED, True)


@pytest.mark.parametrize("noise", [0.0, 0.4])
def test_a_board_that_took_the_command_and_waits_is_no_fault(noise: float) -> None:
    """Not yet moving, at the start, within patience: no fault, whatever the last digit of the position."""
    phases = []
    house = running()
    for second in (0, 19, 2):
        house.wait(seconds=second).report(noise, limit=Limit.NONE, command_id="e1")
        phases.append(house.drive.phase)

    assert phases == [Phase.RUNNING, Phase.RUNNING, Phase.FAULTED]


def test_an_old_word_from_an_unknown_position_is_no_fault() -> None:
    """The board's last report before the command says where it was, not that it stopped on the way."""
    house = House(make_plan(curtain=(make_curtain(light_ceiling=None, hold_heat=None),))).wait(1)
    ask(house, 100.0)
    assert [(move.run, move.run_at_most_ms) for move in house.moves] == [(Run.DRAW, 120_000)]
    house.report(40.0)
    assert (house.drive.phase, house.drive.drawn_percent) == (Phase.RUNNING, 40.0)
    house.report(40.0, command_id=house.drive.command_id)
    assert Phase.RUNNING is house.drive.phase
    house.wait(seconds=30).report(70.0, moving=True).wait(seconds=30).report(100.0)
    assert (house.drive.phase, house.drive.drawn_percent) == (Phase.IDLE, 100.0)


def test_a_short_way_between_two_reports_has_arrived() -> None:
    """A board that speaks again only when it has arrived has answered by arriving."""
    house = running(10.0).wait(seconds=12).report(10.0)

    assert joint(house) == (Phase.IDLE, 10.0, False)


def test_both_end_switches_stop_and_fault_once() -> None:
    """Two ends at once cannot be: stop, fault, and no second stop for each further report."""
    house = running().report(10.0, moving=True, limit=Limit.BOTH)
    assert (house.drive.phase, len(house.stops)) == (Phase.FAULTED, 1)
    durable = house.state.durable
    house.report(10.0, limit=Limit.BOTH)
    assert (len(house.stops), durable is house.state.durable) == (0, True)


def test_an_end_switch_that_contradicts_the_position_is_a_fault() -> None:
    """Pressed at the far end of the way, a switch is stuck; nothing is driven by it."""
    house = House(make_plan(curtain=(make_curtain(),))).report(5.0, limit=Limit.DRAWN)

    assert (
        house.drive.phase,
        house.drive.trouble,
    ) == (Phase.FAULTED, "the drawn end switch is pressed at 5 % drawn")


def test_an_end_switch_that_answers_at_once_is_stuck() -> None:
    """From end to end in a second is no way a curtain goes."""
    house = running(actuator=Actuator.RELAYS).report(None, moving=True)
    house.wait(seconds=2).report(None, limit=Limit.DRAWN)

    assert (house.drive.phase, len(house.stops), "stuck" in house.drive.trouble) == (Phase.FAULTED, 1, True)


def test_a_welded_relay_is_told() -> None:
    """A motor that moves and was not asked is a fault after fifteen seconds, and a stop is sent."""
    house = House().report(0.0).wait(5).report(1.0, moving=True)
    assert Phase.IDLE is house.drive.phase
    house.wait(seconds=14).report(10.0, moving=True)
    assert Phase.IDLE is house.drive.phase
    house.wait(seconds=1).report(12.0, moving=True)
    assert (house.drive.phase, len(house.stops), "welded" in house.drive.trouble) == (Phase.FAULTED, 1, True)


def test_running_out_after_a_stop_is_no_welded_relay() -> None:
    """A motor may take a moment to come to rest."""
    house = begun().wait(seconds=100).report(100.0, moving=True)
    assert Phase.IDLE is house.drive.phase
    house.wait(seconds=5).report(100.0, moving=True).wait(seconds=5).report(100.0)
    assert (house.drive.phase, house.drive.unasked_since_ms) == (Phase.IDLE, None)


def test_a_relay_run_to_the_middle_ends_by_time() -> None:
    """Where time is the measure, time ends the run and the board is not asked to stop."""
    house = running(40.0, actuator=Actuator.RELAYS).report(None, moving=True)
    assert house.drive.run_until_ms - house.drive.started_ms == 40_000
    house.wait(seconds=40)
    assert (house.drive.phase, house.drive.drawn_percent) == (Phase.IDLE, 40.0)
    assert house.stops == []


def test_a_relay_run_to_an_end_needs_its_end_switch() -> None:
    """Where the board reports end switches, an end that is not reached is a jam."""
    for has_limit_report, phase in ((True, Phase.FAULTED), (False, Phase.IDLE)):
        house = running(actuator=Actuator.RELAYS, has_limit_report=has_limit_report).report(None, moving=True)
        house.wait(seconds=120)
        assert phase is house.drive.phase


def drawn_by_relays() -> House:
    """Walk to a curtain on relays that rests on its drawn end switch and is wanted there."""
    house = running(actuator=Actuator.RELAYS).report(None, moving=True)
    house.wait(seconds=100).report(None, limit=Limit.DRAWN)
    assert joint(house) == (Phase.IDLE, 100.0, False)
    return house.wait(30)


def test_an_end_switch_that_lets_go_at_rest_makes_the_position_unknown() -> None:
    """Let go while the motor rests: unknown, in words; run to the end once, which shows it again."""
    house = drawn_by_relays().report(None)
    assert joint(house) == (Phase.IDLE, None, False)
    assert describe_position(house.drive) == (
        "position unknown (the drawn end switch let go while the motor rested)"
    )
    assert house.notes[0] == f"roof: end switch: {describe_position(house.drive)}"
    house.wait(seconds=14).report(None)
    assert (house.drive.phase, house.moves) == (Phase.IDLE, [])
    house.wait(seconds=1)
    assert [(move.run, move.drawn_percent) for move in house.moves] == [(Run.DRAW, 100.0)]
    house.report(None, moving=True).wait(seconds=2).report(None, limit=Limit.DRAWN)
    assert joint(house) == (Phase.IDLE, 100.0, False)
    assert house.drive.doubt == ""


def test_an_end_switch_that_lets_go_again_is_not_run_after_for_ever() -> None:
    """Let go once more within a day of the run that met it: stopped and told, until a person has looked."""
    house = drawn_by_relays().report(None).wait(seconds=15).report(None, moving=True)
    house.wait(seconds=2).report(None, limit=Limit.DRAWN).wait(60)
    house.report(None).wait(seconds=14)
    assert joint(house) == (Phase.IDLE, None, False)
    house.wait(seconds=1)
    assert joint(house) == (Phase.FAULTED, None, True)
    assert "let go while the motor rested, again" in house.drive.trouble
    house.report(None).wait(60)
    assert (house.drive.phase, house.moves) == (Phase.FAULTED, [])
    house.tell(FaultCleared("roof", "keeper"))
    assert [(move.run, move.drawn_percent) for move in house.moves] == [(Run.DRAW, 100.0)]


def test_a_chattering_end_switch_is_no_reason_to_run() -> None:
    """Pressed again within a quarter of a minute, however often: the curtain has rested where it was."""
    house = drawn_by_relays()
    for _ in range(10):
        house.report(None).wait(seconds=5).report(None, limit=Limit.DRAWN).wait(seconds=30)
    assert joint(house) == (Phase.IDLE, 100.0, False)
    assert (house.moves, house.drive.moves_total) == ([], 1)


def test_a_dead_end_switch_is_run_after_once() -> None:
    """The switch stays silent in the run that was to meet it: a fault, as in every run to an end."""
    house = drawn_by_relays().report(None).wait(seconds=15).report(None, moving=True).wait(seconds=120)
    assert joint(house) == (Phase.FAULTED, None, True)


def test_a_reference_run_that_never_began_does_not_count() -> None:
    """The command did not reach the board: it is given again, and no second let-go is made of the first."""
    house = drawn_by_relays().report(None).wait(seconds=15)
    house.tell(EffectFailed(house.moves[0].effect_id, "no connection"))
    house.wait(seconds=REFUSED_RETRY_MS // SECOND_MS)
    assert [(move.run, move.drawn_percent) for move in house.moves] == [(Run.DRAW, 100.0)]


def test_a_measured_position_outlives_its_end_switch() -> None:
    """With a measured position an end switch may let go: the position is what is measured."""
    house = begun().wait(seconds=100).report(100.0).wait(30)
    house.report(99.7)
    assert joint(house) == (Phase.IDLE, 100.0, False)


def test_the_selector_wins_at_once() -> None:
    """Turned to local, the run is over for us, nothing is sent, and the hold waits."""
    house = (
        begun().wait(seconds=30).report(30.0, moving=True).report(35.0, moving=True, selector=Selector.LOCAL)
    )
    assert (house.drive.phase, house.drive.drawn_percent) == (Phase.LOCKED, 35.0)
    assert (house.rule, house.stops + house.moves) == ("locked out", [])
    house.wait(seconds=60).report(90.0, moving=True, selector=Selector.LOCAL).report(
        90.0, selector=Selector.OFF
    )
    assert (
        house.drive.phase,
        house.drive.drawn_percent,
        house.drive.selector,
    ) == (Phase.LOCKED, 90.0, Selector.OFF)
    house.report(90.0)
    assert (house.drive.phase, house.drive.drawn_percent, house.moves) == (Phase.IDLE, 90.0, [])
    house.wait(seconds=29)
    assert house.moves == []
    house.wait(seconds=61)
    assert house.drive.moves_total == 2


def test_a_selector_on_local_outlives_a_restart() -> None:
    """After a restart the hand at the motor still wins, whether or not the board has spoken again."""
    house = running().wait(seconds=30).report(30.0, selector=Selector.LOCAL)
    house.restart(1).wait(30)
    assert (house.drive.phase, house.drive.moves_total) == (Phase.LOCKED, 1)
    house.report(30.0, selector=Selector.LOCAL).wait(30)
    assert (house.drive.phase, house.drive.moves_total) == (Phase.LOCKED, 1)
    house.report(30.0).wait(2)
    assert house.drive.moves_total == 2


def test_a_fault_outlives_a_restart_and_a_selector() -> None:
    """Only a person who has looked lets a faulted motor run; turning the selector is not that."""
    house = running().report(10.0, limit=Limit.BOTH).restart(1)
    house.report(10.0, selector=Selector.LOCAL).report(10.0).wait(60)
    assert (house.drive.phase, house.drive.moves_total) == (Phase.FAULTED, 1)
    house.report(10.0, selector=Selector.LOCAL).tell(FaultCleared("roof", "keeper"))
    assert (house.drive.phase, house.moves) == (Phase.LOCKED, [])
    house.report(10.0).wait(seconds=40)
    assert (house.drive.phase, house.drive.moves_total, house.drive.trouble) == (Phase.RUNNING, 2, "")


def test_a_faulted_motor_on_local_writes_nothing_new() -> None:
    """Reports that say what is known leave the record alone, report after report."""
    house = running().report(10.0, limit=Limit.BOTH).report(10.0, selector=Selector.LOCAL)
    drives = house.state.durable.drives
    house.wait(seconds=10).report(10.0, selector=Selector.LOCAL)

    assert house.state.durable.drives is drives


def test_a_fault_cleared_runs_again() -> None:
    """Cleared by a name, the motor is asked again; by nobody, it is not."""
    house = running().report(10.0, limit=Limit.BOTH)
    house.tell(FaultCleared("roof", "  "))
    assert (house.drive.phase, house.moves) == (Phase.FAULTED, [])
    house.wait(1).tell(FaultCleared("roof", "keeper"))
    assert (house.drive.phase, len(house.moves)) == (Phase.RUNNING, 1)


def test_a_run_that_outlives_a_restart_is_no_welded_relay() -> None:
    """The board goes on to its target while the daemon starts again; that is not unasked."""
    house = running().wait(seconds=10).report(10.0, moving=True).restart(0.2)
    for percent in (30.0, 50.0, 70.0, 90.0):
        house.wait(seconds=20).report(percent, moving=True)
        assert (Phase.IDLE, percent) == (house.drive.phase, house.drive.drawn_percent)
    house.wait(seconds=10).report(100.0).wait(30)
    assert (house.drive.phase, house.drive.drawn_percent, house.drive.moves_total) == (Phase.IDLE, 100.0, 1)


def test_a_restart_repeats_no_command() -> None:
    """After a start nothing moves for half a minute, and then only what is wanted then."""
    house = running().restart(0.1)
    assert (house.moves, house.drive.phase, house.drive.drawn_percent) == ([], Phase.IDLE, None)
    house.wait(seconds=29)
    assert house.moves == []


def test_a_refused_command_never_ran() -> None:
    """A command that did not reach its board costs no move of the day and no dwell, and is given again."""
    house = running()
    house.tell(EffectFailed(house.moves[0].effect_id, "no connection"))
    assert (
        house.drive.phase,
        house.drive.drawn_percent,
        house.drive.moves_today,
        house.drive.ended_ms,
    ) == (Phase.IDLE, 0.0, 0, 0)
    house.wait(seconds=REFUSED_RETRY_MS / SECOND_MS - 1)
    assert house.moves == []
    house.wait(seconds=61)
    assert house.drive.moves_total == 1


def test_a_resting_positions_noise_is_not_written_down() -> None:
    """A potentiometer at rest trembles; the record stays as it is, and a real change is seen."""
    house = House().report(40.0)
    durable = house.state.durable
    for percent in (40.2, 39.9, 40.4, 39.6):
        assert durable.drives is house.report(percent).state.durable.drives
    assert house.report(41.0).drive.drawn_percent == 41.0


@pytest.mark.parametrize(
    ("said", "kept"), [(math.nan, None), (math.inf, None), (-3.0, 0.0), (104.0, 100.0), (None, None)]
)
def test_a_position_is_a_position_or_none(said: float | None, kept: float | None) -> None:
    """What a board cannot mean is no position; a little past the end is the end."""
    assert kept == House().report(said, limit=Limit.NONE).drive.drawn_percent


def test_two_motors_never_start_together() -> None:
    """For the supply's sake the second waits ten seconds and more."""
    curtains = tuple(make_curtain(name=name, light_ceiling=None, hold_heat=None) for name in ("roof", "wall"))
    house = House(make_plan(curtain=curtains)).wait(1)
    house.tell(HoldAsked("roof", 100.0, 60, "keeper"), HoldAsked("wall", 100.0, 60, "keeper"))
    assert [move.curtain for move in house.moves] == ["roof"]
    house.wait(2)
    drives = house.state.durable.drives
    assert drives["wall"].started_ms - drives["roof"].started_ms >= 10_000
    assert drives["roof"].started_ms > START_MS


def test_a_shade_and_an_energy_curtain_start_one_after_the_other() -> None:
    """At nightfall the one opens and the other is drawn, each by its own rule, in the same minute and not together."""
    shade = make_curtain(name="shade", hold_heat=None, light_ceiling=LightCeiling(filter_min=0.0))
    energy = make_curtain(name="energy", light_ceiling=None, hold_heat=HoldHeat(draw_delay_min=15.0))
    house = House(make_plan(curtain=(shade, energy))).sky(40.0, 900.0)
    house.tell(
        CurtainReported("shade", 100.0, moving=False, limit=Limit.DRAWN),
        CurtainReported("energy", 0.0, moving=False, limit=Limit.OPEN),
    )
    bright = {"roof_light": 800.0, "house_air": 15.0, "outside_air": 5.0}
    for turn in range(4):
        house.wait(10, speaking=bright | {"roof_light": 800.0 + turn})
    assert house.moves == []
    dark = bright | {"roof_light": 2.0}
    house.sky(0.5).read(**dark).wait(20, speaking=dark)

    moves = {move.curtain: move for move in house.moves}
    assert {name: move.run for name, move in moves.items()} == {"shade": Run.OPEN, "energy": Run.DRAW}
    drives = house.state.durable.drives
    assert 10_000 <= abs(drives["shade"].started_ms - drives["energy"].started_ms) <= 60_000
    assert "night" in moves["energy"].reason
    assert "nothing asks for it to be drawn" in moves["shade"].reason


def test_a_person_breaks_off_a_run() -> None:
    """Wanted the other way, the run is stopped first, rests, and only then turns round."""
    house = begun().wait(seconds=30).report(30.0, moving=True)
    ask(house, 0.0)
    assert ([move.run for move in house.stops + house.moves], house.drive.phase) == ([Run.STOP], Phase.IDLE)
    house.wait(seconds=9)
    assert house.moves == []
    house.wait(seconds=1)
    assert [move.run for move in house.moves] == [Run.OPEN]
    assert house.drive.started_ms - house.drive.ended_ms == 10_000

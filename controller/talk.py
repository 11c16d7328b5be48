"""What the running daemon answers to status, why, acknowledge, hold and the rest, over a socket on the board.

The socket lies in the journal's folder and belongs to the account that runs Duskbell; whoever may open it
may answer. Nothing of this goes over MQTT.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final, NamedTuple

from controller.core.alarms.alarm import QUIET
from controller.core.alarms.lifecycle import SOUNDING, Phase
from controller.core.curtain.weather import LONGEST_H
from controller.core.plan.alarm import Response
from controller.core.silence import granted_min
from controller.core.vocabulary import (
    AlarmPutBack,
    AlarmReset,
    AlarmShelved,
    AlarmTakenOut,
    AnswerGiven,
    Event,
    FaultCleared,
    HoldAsked,
    HoldReleased,
    TestCallAsked,
    Weather,
    WeatherTold,
)
from controller.core.why import explain_curtains, tell_light
from controller.daemon import Daemon
from controller.edges.control import ControlServer
from controller.entering import enter_value
from controller.report import describe_status
from controller.silencing import SilenceRefused, check_reset, check_shelf, name_person
from controller.water_report import describe_waters

SOCKET_NAME: Final = "duskbell.sock"
WAIT_S: Final = 10.0
"""How long a command waits for the daemon to have remembered it. [s]"""


class _Refused(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """What was asked cannot be done as it stands; the text says why."""


class AnswerVerdict(NamedTuple):
    """What became of an answer; `wrong` says that the code stands for nothing."""

    taken: bool
    wrong: bool
    text: str


_KINDS: Final = {
    Response.EMERGENCY: "an emergency",
    Response.TODAY: "what can wait until today",
    Response.NOTE: "a note",
}


def serve(daemon: Daemon, directory: Path) -> ControlServer:
    """Open the socket and answer requests by the running daemon."""
    server = ControlServer(directory / SOCKET_NAME, lambda request: answer(daemon, request))
    server.start()
    return server


def answer(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Answer one request. Anything that is no request is answered with what is wrong with it."""
    asked = str(request.get("do", ""))
    handler = _HANDLERS.get(asked)
    if handler is None:
        return {"ok": False, "text": f"no such request: {asked[:40]!r}"}
    try:
        return handler(daemon, request)
    except (SilenceRefused, _Refused) as refusal:
        return {"ok": False, "text": str(refusal)}
    except (KeyError, TypeError, ValueError) as error:
        return {"ok": False, "text": f"the request {asked} lacks something: {error}"}


def _put(daemon: Daemon, event: Event) -> bool:
    """Give the event to the deciding thread and wait until it is remembered."""
    return daemon.put_and_wait(event, WAIT_S)


def _status(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Tell how everything stands."""
    del request
    document = describe_status(daemon.engine.state, daemon.clock.stamp(0))
    document["dropped_readings"] = daemon.inbox.dropped
    return {"ok": True, "status": document}


def _why(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Tell why each curtain is where it is."""
    del request
    answers = explain_curtains(daemon.engine.state, daemon.clock.stamp(0))
    return {
        "ok": True,
        "waters": describe_waters(daemon.engine.state, daemon.clock.stamp(0)),
        "curtains": [
            {
                "curtain": why.curtain,
                "position": why.position,
                "rule": why.rule,
                "reason": why.reason,
                "waiting": why.waiting,
                "light": tell_light(why.light),
                "rules": [{"rule": v.rule, "says": v.says, "has_its_way": v.rules} for v in why.verdicts],
            }
            for why in answers
        ],
    }


def _acknowledge(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Take a person's answer, and say what became of it."""
    verdict = give_answer(daemon, str(request["code"]), _person(daemon, request), "command line")
    return {"ok": verdict.taken, "text": verdict.text}


def give_answer(daemon: Daemon, code: str, person: str, way: str) -> AnswerVerdict:
    """Give a person's answer to the deciding thread and tell what became of it. For any thread."""
    code, person = code.strip(), person.strip()[:40]
    if not person:
        return AnswerVerdict(taken=False, wrong=False, text="an answer needs a name")
    durable, phrases = daemon.engine.state.durable, daemon.engine.state.plan.phrases
    before = {alarm.code: name for name, alarm in durable.alarms.items() if alarm.phase in SOUNDING}
    test = any(test.code == code for test in durable.chain.tests)
    if not _put(daemon, AnswerGiven(code, person, way)):
        text = "the daemon did not answer in time; look at duskbell status"
        return AnswerVerdict(taken=False, wrong=False, text=text)
    if test:
        return AnswerVerdict(taken=True, wrong=False, text=phrases.said_test.format(person=person))
    for name, alarm in daemon.engine.state.durable.alarms.items():
        if alarm.code == code and alarm.answered_by:
            mine = code in before and alarm.answered_by == person
            said = phrases.said_yours if mine else phrases.said_theirs
            text = said.format(person=alarm.answered_by, name=name)
            if alarm.phase is Phase.ACKNOWLEDGED:
                text = phrases.said_again.format(said=text)
            return AnswerVerdict(taken=True, wrong=False, text=text)
    open_codes = ", ".join(f"{code} {name}" for code, name in before.items()) or "none"
    text = f"no open alarm has the code {code[:8]}. Open: {open_codes}"
    return AnswerVerdict(taken=False, wrong=True, text=text)


def _hold(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Keep a curtain where a person wants it."""
    name = _curtain(daemon, request)
    percent, minutes = _number(request, "drawn_percent"), _number(request, "minutes")
    if not 0 <= percent <= 100 or not 1 <= minutes <= 24 * 60:
        return {"ok": False, "text": "a hold is 0 to 100 % drawn, for 1 to 1440 minutes"}
    done = _put(daemon, HoldAsked(name, percent, minutes, str(request["person"])))
    return {"ok": done, "text": f"curtain {name} is held at {percent:g} % drawn for {minutes:g} min"}


def _release(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Give a curtain back to the rules."""
    name = _curtain(daemon, request)
    done = _put(daemon, HoldReleased(name, str(request["person"])))
    return {"ok": done, "text": f"curtain {name} follows the rules again"}


def _clear(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Let a stopped motor run again, or believe a doubted probe again: a person has looked."""
    asked = str(request.get("curtain", "")).strip()
    if asked in daemon.engine.state.durable.doubts:
        done = _put(daemon, FaultCleared(asked, str(request["person"])))
        return {"ok": done, "text": f"{asked} is believed again"}
    name = _curtain(daemon, request)
    done = _put(daemon, FaultCleared(name, str(request["person"])))
    return {"ok": done, "text": f"the motor of curtain {name} may run again"}


def _mode(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Take what a person says of storm and snow."""
    weather, hours = Weather(str(request["weather"])), request.get("hours")
    if hours is None and weather is not Weather.NONE:
        return {"ok": False, "text": f"{weather.value} needs --hours: how long it is to last"}
    told_h = 0.0 if hours is None else _number(request, "hours")
    if hours is not None and not 0 < told_h <= LONGEST_H:
        return {"ok": False, "text": f"the weather is told for more than 0 and up to {LONGEST_H:g} hours"}
    done = _put(daemon, WeatherTold(weather, told_h, str(request["person"])))
    if weather is not Weather.NONE:
        text = f"all curtains do what is set for {weather.value}, for {told_h:g} h"
    elif hours is None:
        text = "what was said of the weather has ended; the sensors of wind and snow are heeded"
    else:
        text = f"nothing is done for wind and snow for {told_h:g} h, whatever the sensors say"
    return {"ok": done, "text": text}


def _curtain(daemon: Daemon, request: dict[str, object]) -> str:
    """Return the curtain a request is about."""
    name = str(request["curtain"])
    known = daemon.engine.state.roll.curtains
    if name not in known:
        raise _Refused(f"no curtain is called {name[:40]!r}; there are: {', '.join(known)}")
    return name


def _person(daemon: Daemon, request: dict[str, object]) -> str:
    """Return who asks, by the name in the settings."""
    return name_person(str(request["person"]), daemon.engine.state.roll.persons)


def _number(request: dict[str, object], word: str) -> float:
    """Return a number of a request."""
    text = str(request[word])
    try:
        return float(text)
    except ValueError:
        raise _Refused(f"{text[:40]!r} is no number") from None


def _alarm(daemon: Daemon, request: dict[str, object]) -> str:
    """Return the alarm a request is about."""
    name = str(request["alarm"])
    if name not in daemon.engine.state.roll.entries:
        raise _Refused(f"no alarm is called {name[:40]!r}; duskbell check tells the names of all")
    return name


def _shelve(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Silence an alarm for a bounded time."""
    name, person, reason = _alarm(daemon, request), _person(daemon, request), str(request["reason"]).strip()
    if not reason:
        return {"ok": False, "text": "shelving an alarm needs a reason"}
    asked_min, state = _number(request, "minutes"), daemon.engine.state
    alarm, response = state.durable.alarms.get(name, QUIET), state.roll.entries[name].response
    check_shelf(name, alarm, response, asked_min=asked_min, now=daemon.clock.stamp(0).house_ms)
    if not _put(daemon, AlarmShelved(name, asked_min, person, reason)):
        return {"ok": False, "text": "the daemon did not answer in time"}
    phase = daemon.engine.state.durable.alarms.get(name, QUIET).phase
    if phase is not Phase.SHELVED:
        return {"ok": False, "text": f"{name} cannot be shelved: it is {phase.value}"}
    return {"ok": True, "text": tell_shelf(name, daemon.engine.state.roll.entries[name].response, asked_min)}


def tell_shelf(name: str, response: Response, asked_min: float) -> str:
    """Say for how long an alarm is shelved when somebody asked for `asked_min` [min], and why for no longer."""
    granted = granted_min(response, asked_min)
    why = f" (the longest for {_KINDS[response]})" if granted < asked_min else ""
    return f"{name} is shelved for {granted:.0f} min{why}; the shelf ends by itself"


def _reset(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Reset a latched alarm."""
    name, person = _alarm(daemon, request), _person(daemon, request)
    check_reset(name, daemon.engine.state.durable.alarms.get(name, QUIET))
    return {"ok": _put(daemon, AlarmReset(name, person)), "text": f"{name} is reset"}


def _take_out(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Take an alarm out of service, in two names."""
    name, person = _alarm(daemon, request), _person(daemon, request)
    second, instead = str(request["second"]), str(request["replacement"])
    if not _put(daemon, AlarmTakenOut(name, person, second, instead)):
        return {"ok": False, "text": "the daemon did not answer in time"}
    alarm = daemon.engine.state.durable.alarms.get(name, QUIET)
    if alarm.phase is not Phase.OUT_OF_SERVICE:
        people = ", ".join(daemon.engine.state.roll.persons)
        text = f"{name} stays in service: it takes two different persons, the second one of {people}, and a replacement"
        return {"ok": False, "text": text}
    return {"ok": True, "text": f"{name} is out of service ({alarm.out_by}); instead: {alarm.replacement}"}


def _take_back(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Put an alarm back in service, or end its shelf."""
    name, person = _alarm(daemon, request), _person(daemon, request)
    before = daemon.engine.state.durable.alarms.get(name, QUIET)
    if before.phase not in {Phase.OUT_OF_SERVICE, Phase.SHELVED}:
        return {"ok": False, "text": f"{name} is {before.phase.value}; there is nothing to put back"}
    done = _put(daemon, AlarmPutBack(name, person))
    after = daemon.engine.state.durable.alarms.get(name, QUIET)
    return {"ok": done, "text": f"{name} is back in service: {after.phase.value}"}


def _test_call(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Make a test call to one person, or to all."""
    whom = str(request.get("whom") or "")
    if whom and whom not in daemon.engine.state.roll.persons:
        return {"ok": False, "text": f"the settings know no person {whom!r}"}
    done = _put(daemon, TestCallAsked(str(request["person"]), whom))
    waiting = sorted({test.person for test in daemon.engine.state.durable.chain.tests})
    return {
        "ok": done,
        "text": f"test calls wait for their answer: {', '.join(waiting) or 'nobody can be called'}",
    }


def _reload(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Have the settings read again."""
    del request
    outcome = daemon.reload_and_wait(WAIT_S)
    if outcome is None:
        return {"ok": False, "text": "the daemon did not read them in time; look at duskbell status"}
    return {"ok": outcome.good, "text": "\n".join(outcome.lines)}


def _enter(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Take a test kit's value that a person enters."""
    return enter_value(lambda: daemon.engine.state, request, lambda event: _put(daemon, event))


_HANDLERS: Final[dict[str, Callable[[Daemon, dict[str, object]], dict[str, object]]]] = {
    "status": _status,
    "why": _why,
    "acknowledge": _acknowledge,
    "enter": _enter,
    "hold": _hold,
    "release": _release,
    "clear": _clear,
    "mode": _mode,
    "shelve": _shelve,
    "out-of-service": _take_out,
    "back": _take_back,
    "test-call": _test_call,
    "reset": _reset,
    "reload": _reload,
}

"""Talking with the running daemon: status, why, acknowledge, hold and the rest, over a socket on the board.

The socket lies in the journal's folder and belongs to the account that runs Duskbell; whoever may open it
may answer. Nothing of this goes over MQTT.
"""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from collections.abc import Callable
from dataclasses import asdict
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
from controller.core.why import explain_curtains, print_precedence, tell_light
from controller.daemon import Daemon
from controller.edges.control import ControlServer, NotRunning, ask
from controller.edges.journal_file import JournalBroken
from controller.entering import BASES, enter_value
from controller.report import describe_status, write_status
from controller.settings.rescue import find_directory
from controller.water_report import describe_waters, write_waters
from controller.why_past import (
    PastUnreadable,
    find_in_force,
    read_instant,
    read_notes,
    read_positions,
    tell_past,
)

SOCKET_NAME: Final = "duskbell.sock"
WAIT_S: Final = 10.0
"""How long a command waits for the daemon to have remembered it. [s]"""


def default_settings() -> Path:
    """Return where the settings lie if nobody says otherwise."""
    return Path(os.environ.get("DUSKBELL_SETTINGS", "/etc/duskbell/duskbell.toml"))


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

# --- the daemon's side ----------------------------------------------------------------------------------


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
    person, known = str(request["person"]).strip(), daemon.engine.state.roll.persons
    if person not in known and person != request["account"]:
        text = f"{person[:40] or 'nobody'} is not among the people of the settings: {', '.join(known)}"
        return {"ok": False, "text": text}
    verdict = give_answer(daemon, str(request["code"]), person, "command line")
    return {"ok": verdict.taken, "text": verdict.text}


def give_answer(daemon: Daemon, code: str, person: str, way: str) -> AnswerVerdict:
    """Give a person's answer to the deciding thread and tell what became of it. For any thread."""
    code, person = code.strip(), person.strip()[:40]
    if not person:
        return AnswerVerdict(taken=False, wrong=False, text="an answer needs a name")
    durable = daemon.engine.state.durable
    before = {alarm.code: name for name, alarm in durable.alarms.items() if alarm.phase in SOUNDING}
    test = any(test.code == code for test in durable.chain.tests)
    if not _put(daemon, AnswerGiven(code, person, way)):
        text = "the daemon did not answer in time; look at duskbell status"
        return AnswerVerdict(taken=False, wrong=False, text=text)
    if test:
        return AnswerVerdict(
            taken=True, wrong=False, text=f"thank you {person}: the test call has reached you"
        )
    for name, alarm in daemon.engine.state.durable.alarms.items():
        if alarm.code == code and alarm.answered_by:
            mine = code in before and alarm.answered_by == person
            text = f"{person} has it: {name}" if mine else f"{alarm.answered_by} has it already: {name}"
            if alarm.phase is Phase.ACKNOWLEDGED:
                text += "; it sounds again if it stays wrong"
            return AnswerVerdict(taken=True, wrong=False, text=text)
    open_codes = ", ".join(f"{code} {name}" for code, name in before.items()) or "none"
    text = f"no open alarm has the code {code[:8]}. Open: {open_codes}"
    return AnswerVerdict(taken=False, wrong=True, text=text)


def _hold(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Keep a curtain where a person wants it."""
    name = _curtain(daemon, request)
    percent, minutes = float(str(request["drawn_percent"])), float(str(request["minutes"]))
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
    """Let a stopped motor run again."""
    name = _curtain(daemon, request)
    done = _put(daemon, FaultCleared(name, str(request["person"])))
    return {"ok": done, "text": f"the motor of curtain {name} may run again"}


def _mode(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Take what a person says of storm and snow."""
    weather, hours = Weather(str(request["weather"])), request.get("hours")
    if hours is None and weather is not Weather.NONE:
        return {"ok": False, "text": f"{weather.value} needs --hours: how long it is to last"}
    told_h = 0.0 if hours is None else float(str(hours))
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
        raise ValueError(f"no curtain is called {name!r}; there are: {', '.join(known)}")
    return name


def _alarm(daemon: Daemon, request: dict[str, object]) -> str:
    """Return the alarm a request is about."""
    name = str(request["alarm"])
    if name not in daemon.engine.state.roll.entries:
        raise ValueError(f"no alarm is called {name!r}")
    return name


def _shelve(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Silence an alarm for a bounded time."""
    name, reason = _alarm(daemon, request), str(request["reason"]).strip()
    if not reason:
        return {"ok": False, "text": "shelving an alarm needs a reason"}
    asked_min = float(str(request["minutes"]))
    if not _put(daemon, AlarmShelved(name, asked_min, str(request["person"]), reason)):
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
    name = _alarm(daemon, request)
    return {"ok": _put(daemon, AlarmReset(name, str(request["person"]))), "text": f"{name} is reset"}


def _take_out(daemon: Daemon, request: dict[str, object]) -> dict[str, object]:
    """Take an alarm out of service, in two names."""
    name = _alarm(daemon, request)
    person, second, instead = (str(request[word]) for word in ("person", "second", "replacement"))
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
    name = _alarm(daemon, request)
    before = daemon.engine.state.durable.alarms.get(name, QUIET)
    if before.phase not in {Phase.OUT_OF_SERVICE, Phase.SHELVED}:
        return {"ok": False, "text": f"{name} is {before.phase.value}; there is nothing to put back"}
    done = _put(daemon, AlarmPutBack(name, str(request["person"])))
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


# --- the person's side ----------------------------------------------------------------------------------


def add_talk(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands that talk with the running daemon."""
    _add(commands, "status", "tell how everything stands", ())
    why = _add(commands, "why", "tell why each curtain is where it is", ())
    why.add_argument("--table", action="store_true", help="print the order of the rules instead")
    why.add_argument("--at", metavar="INSTANT", help="a minute of the past, such as 2026-04-18T08:30+01:00")
    why.add_argument(
        "--positions", type=Path, metavar="OUT.csv", help="with --at: of a replay that wrote this file"
    )
    _add(commands, "acknowledge", "answer an alarm: I have it", ("code",))
    hold = _add(
        commands, "hold", "keep a curtain where you want it, for a time", ("curtain", "drawn_percent")
    )
    hold.add_argument("--minutes", type=float, default=60.0, help="how long [min] (default %(default)g)")
    enter = _add(commands, "enter", "enter the value of a test kit", ("sensor", "value"))
    enter.add_argument("--unit", help="unit of the value (default: the sensor's, such as mg/L)")
    enter.add_argument(
        "--basis", choices=BASES, help="what the kit weighs it as; needed for ammonia, nitrite and nitrate"
    )
    enter.add_argument(
        "--correct", action="store_true", help="the last value was a slip: this one takes its place"
    )
    _add(commands, "release", "give a held curtain back to the rules", ("curtain",))
    _add(commands, "clear", "you have looked at a stopped motor: let it run again", ("curtain",))
    mode = _add(commands, "mode", "say that storm or snow is coming, for all curtains", ())
    mode.add_argument("weather", choices=[weather.value for weather in Weather], help="what is coming")
    mode.add_argument("--hours", type=float, help="how long [h]; with none: how long no sensor is heeded")
    shelve = _add(commands, "shelve", "silence one alarm for a time", ("alarm",))
    shelve.add_argument("--minutes", type=float, required=True, help="how long [min]")
    shelve.add_argument("--reason", required=True, help="why")
    out = _add(commands, "out-of-service", "take an alarm out of service, two of you", ("alarm",))
    out.add_argument("--second", required=True, metavar="NAME", help="the second person, who is told")
    out.add_argument(
        "--replacement", required=True, metavar="TEXT", help="what stands in its place meanwhile"
    )
    _add(commands, "back", "put an alarm back in service, or end its shelf", ("alarm",))
    test = _add(commands, "test-call", "have people answer a test call", ())
    test.add_argument("whom", nargs="?", default="", metavar="PERSON", help="one person (default: everybody)")
    _add(commands, "reset", "reset a latched alarm", ("alarm",))
    _add(commands, "reload", "read the settings again", ())


def _add(
    commands: argparse._SubParsersAction[argparse.ArgumentParser],
    name: str,
    tells: str,
    words: tuple[str, ...],
) -> argparse.ArgumentParser:
    """Add one command with what all of them share."""
    parser: argparse.ArgumentParser = commands.add_parser(
        name, help=tells, description=f"{tells}.".capitalize()
    )
    for word in words:
        parser.add_argument(word, metavar=word.upper())
    parser.add_argument(
        "--settings", type=Path, default=default_settings(), metavar="FILE", help="the settings file"
    )
    parser.add_argument("--person", default=getpass.getuser(), help="your name (default: your account)")
    parser.add_argument("--json", action="store_true", help="print for machines")
    parser.set_defaults(run=run_talk)
    return parser


def run_talk(args: argparse.Namespace) -> int:
    """Send one request to the running daemon and print what it says."""
    if args.command == "why" and args.table:
        print(print_precedence())
        return 0
    if args.command == "why" and (args.at or args.positions):
        return _print_past(args)
    try:
        directory = find_directory(args.settings)
    except OSError as error:
        print(f"duskbell {args.command}: {args.settings}: {error.strerror}", file=sys.stderr)
        return 2
    words = (
        "code", "curtain", "alarm", "drawn_percent", "minutes", "reason", "person", "sensor", "value", "unit",
        "basis", "correct", "second", "replacement", "whom", "weather", "hours",
    )  # fmt: skip
    request: dict[str, object] = {"do": args.command}
    request |= {word: getattr(args, word) for word in words if hasattr(args, word)}
    try:
        reply = ask(directory / SOCKET_NAME, request, WAIT_S + 5.0)
    except NotRunning as error:
        print(f"duskbell {args.command}: the daemon does not answer: {error}", file=sys.stderr)
        return 1
    if args.json:
        print(json.dumps(reply, sort_keys=True))
    else:
        _print(args.command, reply)
    return 0 if reply.get("ok") else 1


def _print_past(args: argparse.Namespace) -> int:
    """Tell why curtains were where they were, from a replay's file or from the journal."""
    if not args.at:
        print("duskbell why: --positions needs --at, the minute that is meant", file=sys.stderr)
        return 2
    try:
        at = read_instant(args.at)
        if args.positions is not None:
            found = find_in_force(read_positions(args.positions), at)
        else:
            found = find_in_force(read_notes(find_directory(args.settings), at), at)
    except (PastUnreadable, OSError) as error:
        print(f"duskbell why: {error}", file=sys.stderr)
        return 2
    except JournalBroken as error:
        print(f"duskbell why: {error}", file=sys.stderr)
        return 1
    if args.json:
        print(json.dumps({"ok": bool(found), "curtains": [asdict(each) for each in found.values()]}))
    else:
        print("\n".join(tell_past(found, at)))
    return 0 if found else 1


def _print(command: str, reply: dict[str, object]) -> None:
    """Print a reply for people."""
    if not reply.get("ok") or "text" in reply:
        print(reply.get("text", "refused"), file=sys.stdout if reply.get("ok") else sys.stderr)
        return
    if command == "status":
        status = reply["status"]
        print(write_status(status) if isinstance(status, dict) else status)
        return
    curtains = reply["curtains"]
    for why in curtains if isinstance(curtains, list) else ():
        print(f'Curtain {why["curtain"]}: {why["position"]}, by the rule "{why["rule"]}":')
        print(f"  {why['reason']}.")
        if why["waiting"]:
            print(f"  {why['waiting']}.")
        print(f"  {why['light']}.")
        for rule in why["rules"]:
            print(f"  {'->' if rule['has_its_way'] else '  '} {rule['rule']}: {rule['says']}")
    waters = reply.get("waters")
    for line in write_waters(waters) if isinstance(waters, dict) else ():
        print(line)

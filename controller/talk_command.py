"""The commands that talk with the running daemon: status, why, acknowledge, hold and the rest."""

from __future__ import annotations

import argparse
import getpass
import json
import os
import sys
from dataclasses import asdict
from pathlib import Path

from controller.core.vocabulary import Weather
from controller.core.why import print_precedence
from controller.edges.control import NotRunning, ask
from controller.edges.journal_fault import JournalBroken
from controller.entering import BASES
from controller.report import write_status
from controller.settings.plain_file import explain_refusal
from controller.settings.rescue import find_directory
from controller.talk import SOCKET_NAME, WAIT_S
from controller.water_report import write_waters
from controller.why_past import (
    PastUnreadable,
    find_in_force,
    read_instant,
    read_notes,
    read_positions,
    tell_past,
)
from controller.why_replayed import explain_minute


def default_settings() -> Path:
    """Return where the settings lie if nobody says otherwise."""
    return Path(os.environ.get("DUSKBELL_SETTINGS", "/etc/duskbell/duskbell.toml"))


def add_talk(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the commands that talk with the running daemon."""
    _add(commands, "status", "tell how everything stands", ())
    why = _add(commands, "why", "tell why each curtain is where it is", ())
    why.add_argument("--table", action="store_true", help="print the order of the rules instead")
    why.add_argument("--at", metavar="INSTANT", help="a minute of the past, such as 2026-04-18T08:30+01:00")
    why.add_argument(
        "--positions", type=Path, metavar="OUT.csv", help="with --at: of a replay that wrote this file"
    )
    why.add_argument(
        "--readings",
        type=Path,
        metavar="IN.csv",
        help="with --at: run the rules over this recording up to the minute and ask them there",
    )
    _add(commands, "acknowledge", "answer an alarm: I have it", ("code",))
    hold = _add(
        commands, "hold", "keep a curtain where you want it, for a time", ("curtain", "drawn_percent")
    )
    hold.add_argument("--minutes", type=float, default=60.0, help="how long [min] (default %(default)g)")
    enter = _add(commands, "enter", "enter the value of a test kit", ("sensor", "value"))
    enter.add_argument("--unit", help="unit of the value (default: the sensor's, such as mg/L)")
    enter.add_argument(
        "--basis",
        choices=BASES,
        type=str.upper,
        help="what the kit weighs it as; needed for ammonia, nitrite and nitrate",
    )
    enter.add_argument(
        "--correct", action="store_true", help="the last value was a slip: this one takes its place"
    )
    _add(commands, "release", "give a held curtain back to the rules", ("curtain",))
    _add(
        commands,
        "clear",
        "you have looked at a stopped motor, or a probe: let it run, or believe it, again",
        ("curtain",),
    )
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
    parser.add_argument(
        "--person", default=getpass.getuser(), help="your name in the settings (default: your account)"
    )
    parser.add_argument("--json", action="store_true", help="print for machines")
    parser.set_defaults(run=run_talk)
    return parser


def run_talk(args: argparse.Namespace) -> int:
    """Send one request to the running daemon and print what it says."""
    if args.command == "why" and args.table:
        print(print_precedence())
        return 0
    if args.command == "why" and (args.at or args.positions or args.readings):
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
        print("duskbell why: --positions and --readings need --at, the minute that is meant", file=sys.stderr)
        return 2
    try:
        at = read_instant(args.at)
        if args.readings is not None:
            found = explain_minute(args.settings, args.readings, at)
        elif args.positions is not None:
            found = find_in_force(read_positions(args.positions), at)
        else:
            found = find_in_force(read_notes(find_directory(args.settings), at), at)
    except (PastUnreadable, OSError) as error:
        told = explain_refusal(error) if isinstance(error, OSError) else error
        print(f"duskbell why: {told}", file=sys.stderr)
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

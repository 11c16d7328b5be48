"""The command line: the only place that wires things together.

Exit codes: 0 good, 1 failure, 2 settings or usage.
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import structlog

from controller import talk, talk_command
from controller.core.plan.plan import Plan
from controller.edges import last_good
from controller.edges.clock import BoardClock, Clock, RehearsalClock
from controller.edges.journal import Journal, JournalBroken, JournalFull, JournalInUse
from controller.edges.led_clock import ClockFile, LedClock
from controller.export_command import add_export
from controller.reckon import add_reckon
from controller.replay_command import add_replay
from controller.report_command import add_report
from controller.settings.check_command import add_check
from controller.settings.load import load_settings, read_settings, read_today
from controller.settings.problems import write_problems
from controller.settings.rescue import find_directory
from controller.sky_report import add_sky

log = structlog.get_logger("duskbell")

GOOD, FAILURE, USAGE = 0, 1, 2


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    parser = argparse.ArgumentParser(
        prog="duskbell",
        description="Keeps a teaching greenhouse with fish: steers the curtain, judges the water, calls people. "
        "It is not a life-safety system; local codes and licensed electricians decide about wiring and motors.",
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _add_run(commands)
    add_check(commands)
    add_replay(commands)
    add_report(commands, talk_command.default_settings())
    add_export(commands, talk_command.default_settings())
    add_sky(commands, talk_command.default_settings())
    add_reckon(commands)
    talk_command.add_talk(commands)
    _add_simulate(commands)
    args = parser.parse_args(argv)
    try:
        code: int = args.run(args)
    except BrokenPipeError:
        # The reader of a pipe has had enough; that is no failure of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return GOOD
    except KeyboardInterrupt:
        return FAILURE
    return code


def _add_run(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the daemon itself."""
    parser = commands.add_parser(
        "run", help="run the daemon", description="Run the daemon in the foreground."
    )
    parser.add_argument(
        "--settings", type=Path, default=talk_command.default_settings(), metavar="FILE",
        help="the settings file (default: $DUSKBELL_SETTINGS, else /etc/duskbell/duskbell.toml)",
    )  # fmt: skip
    parser.add_argument("--log", choices=("words", "json"), default=None, help="form of the log")
    parser.add_argument("--rehearsal-start", metavar="ISO", help="rehearse: pretend it is this instant now")
    parser.add_argument(
        "--rehearsal-rate", type=float, default=1.0, metavar="N", help="rehearse: run N times as fast"
    )
    parser.add_argument(
        "--rehearsal-clock", type=Path, metavar="FILE", help="rehearse: somebody else tells the time there"
    )
    parser.set_defaults(run=run_daemon)


def run_daemon(args: argparse.Namespace) -> int:
    """Run the daemon until it is told to stop."""
    # The other commands need none of their libraries.
    from controller.daemon import Daemon  # noqa: PLC0415 - see above
    from controller.page_host import serve_page  # noqa: PLC0415 - see above

    set_up_log(args.log)
    loaded = read_settings(args.settings)
    refused = ""
    if not isinstance(loaded, Plan):
        for problem in loaded:
            print(problem, file=sys.stderr)
        last = _recall_good(args.settings)
        if last is None:
            return USAGE
        refused = write_problems(loaded)
        log.error("settings refused: going on with the last good ones", problem=refused)
        loaded = last
    rehearsal = None
    if args.rehearsal_start is not None:
        try:
            rehearsal = datetime.fromisoformat(args.rehearsal_start)
        except ValueError:
            print(f"duskbell run: {args.rehearsal_start!r} is no ISO 8601 time", file=sys.stderr)
            return USAGE
        if rehearsal.tzinfo is None or not args.rehearsal_rate > 0:
            print(
                "duskbell run: a rehearsal needs a start with an offset and a rate above 0", file=sys.stderr
            )
            return USAGE
    led = None
    if args.rehearsal_clock is not None:
        try:
            led = ClockFile(args.rehearsal_clock)
        except (OSError, ValueError) as error:
            print(f"duskbell run: nobody tells the time in {args.rehearsal_clock}: {error}", file=sys.stderr)
            return USAGE
    journal, trouble = None, ""
    utc_ms = BoardClock(loaded.site.time_zone, 0).utc_ms()
    try:
        journal = Journal.open(
            Path(loaded.journal.directory),
            utc_ms=utc_ms,
            commit_readings_ms=round(loaded.journal.commit_readings_s * 1000),
        )
    except JournalInUse as error:
        print(f"duskbell run: {error}", file=sys.stderr)
        return FAILURE
    except (JournalBroken, JournalFull) as error:
        # A worn-out card must not silence the house: it lives from memory and calls for help.
        trouble = f"{error}: nothing is remembered over a restart"
        log.exception("no journal", why=trouble)
    clock = _make_clock(loaded, journal, rehearsal, args.rehearsal_rate, led)
    daemon = Daemon(
        loaded,
        settings_path=args.settings,
        clock=clock,
        journal=journal,
        away_ms=clock.away_ms if isinstance(clock, BoardClock) else None,
        trouble=trouble,
        refused=refused,
        on_heard=None if led is None else led.count_heard,
    )
    signal.signal(signal.SIGTERM, lambda *_: daemon.stop())
    signal.signal(signal.SIGINT, lambda *_: daemon.stop())
    signal.signal(signal.SIGHUP, lambda *_: daemon.reload())
    server = talk.serve(daemon, Path(loaded.journal.directory))
    page = serve_page(daemon)
    try:
        daemon.run()
    finally:
        if page is not None:
            page.stop()
        server.stop()
    return GOOD


def _recall_good(path: Path) -> Plan | None:
    """Return the last settings that were good, if the broken file still tells where they are kept."""
    try:
        text = last_good.recall(find_directory(path))
    except OSError:
        return None
    loaded = None if text is None else load_settings(text, file_name=last_good.NAME, today=read_today())
    return loaded if isinstance(loaded, Plan) else None


def _make_clock(
    plan: Plan, journal: Journal | None, rehearsal: datetime | None, rate: float, led: ClockFile | None
) -> Clock:
    """Make the clock: the board's, going on from where the journal stands, or a rehearsal's."""
    left = None if journal is None else journal.load()
    if led is not None:
        started = left.house_ms if left else 0
        return LedClock(led, time_zone=plan.site.time_zone, started_at_house_ms=started)
    if rehearsal is not None:
        start_ms = round(rehearsal.timestamp() * 1000)
        return RehearsalClock(
            start_ms, rate, time_zone=plan.site.time_zone, started_at_house_ms=left.house_ms if left else 0
        )
    if left is None:
        return BoardClock(plan.site.time_zone, 0)
    return BoardClock.resumed(
        plan.site.time_zone,
        last_house_ms=left.house_ms,
        last_utc_ms=left.utc_ms,
        last_utc_trusted=left.utc_trusted,
    )


def set_up_log(form: str | None) -> None:
    """Log to standard error: words on a terminal, one JSON object a line elsewhere (journald keeps them)."""
    words = form == "words" or (form is None and sys.stderr.isatty())
    renderer: structlog.typing.Processor = (
        structlog.dev.ConsoleRenderer() if words else structlog.processors.JSONRenderer(sort_keys=True)
    )
    structlog.configure(
        processors=[
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.format_exc_info,
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger("info"),
        logger_factory=structlog.PrintLoggerFactory(file=sys.stderr),
        cache_logger_on_first_use=True,
    )


def _add_simulate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the simulated greenhouse, which lives in a package of its own."""
    from simulators.command import add_demo, add_simulate  # noqa: PLC0415 - the one door to its proof

    add_simulate(commands)
    add_demo(commands)


if __name__ == "__main__":
    raise SystemExit(main())

"""Why each curtain would be where it is at a minute of a recording: the rules are run up to it and asked there."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from controller.core.plan.plan import Plan
from controller.edges.almanac import AlmanacFailed
from controller.recording import RecordingUnreadable
from controller.recording_rows import Tally
from controller.replay_file import replay_until
from controller.settings.load import read_settings
from controller.why_past import PastUnreadable, Reason


def explain_minute(settings: Path, readings: Path, at: datetime) -> dict[str, Reason]:
    """Run the rules of a settings file over a recording up to an instant, and ask each curtain there.

    Raises
    ------
    PastUnreadable
        The settings, the recording or the sun cannot be used, or the recording begins later.
    """
    plan = read_settings(settings)
    if not isinstance(plan, Plan):
        raise PastUnreadable("; ".join(map(str, plan)))
    utc_ms = round(at.timestamp() * 1000)
    try:
        replay = replay_until(plan, readings, Tally(), until_utc_ms=utc_ms)
    except (RecordingUnreadable, AlmanacFailed) as error:
        raise PastUnreadable(str(error)) from error
    if replay is None:
        raise PastUnreadable(f"{readings} has no good row up to {at.isoformat(timespec='minutes')}")
    return {
        why.curtain: Reason(utc_ms, why.curtain, why.rule, f"{why.position}: {why.reason}")
        for why in replay.explain(utc_ms)
    }

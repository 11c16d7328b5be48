"""What the house tells the outside, as retained state: where each curtain is and what is wrong.

Topics are added by the edge; the documents are small JSON objects with stable keys.
"""

from __future__ import annotations

import json
from collections.abc import Mapping

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.lifecycle import Phase
from controller.core.curtain.drive import Drive
from controller.core.draft import Draft
from controller.core.vocabulary import PublishState


def announce(draft: Draft) -> None:
    """Publish what has changed in this turn."""
    old = draft.state
    if draft.drives is not old.durable.drives or draft.rules is not old.rules:
        for name, curtain in draft.roll.curtains.items():
            drive = draft.drives.get(name, Drive())
            if _differs(old.durable.drives.get(name), drive) or old.rules.get(name) != draft.rules.get(name):
                document: dict[str, object] = {
                    "drawn_percent": None if drive.drawn_percent is None else round(drive.drawn_percent, 1),
                    "motor": drive.phase.value,
                    "rule": draft.rules.get(name, ""),
                    "dry_run": curtain.dry_run,
                }
                draft.effects.append(PublishState(f"curtain/{topic_word(name)}", _write(document)))
    if draft.alarms is not old.durable.alarms:
        before, after = _list_open(old.durable.alarms), _list_open(draft.alarms)
        if before != after or not old.durable.alarms:
            wrong = [
                {"alarm": name, "state": alarm.phase.value, "since_utc_ms": alarm.raised_utc_ms}
                for name, alarm in sorted(draft.alarms.items())
                if alarm.phase is not Phase.NORMAL
            ]
            draft.effects.append(PublishState("alarms", _write({"open": wrong})))


def _list_open(alarms: Mapping[str, Alarm]) -> dict[str, Phase]:
    """List what is not normal; an alarm that is judged for the first time and found quiet is no news."""
    return {name: alarm.phase for name, alarm in alarms.items() if alarm.phase is not Phase.NORMAL}


def _differs(before: Drive | None, after: Drive) -> bool:
    """Whether a reader of the curtain's state would see a difference."""
    return before is None or before.phase is not after.phase or before.drawn_percent != after.drawn_percent


def topic_word(name: str) -> str:
    """Write a name as one level of a topic: lower case, anything but letters and digits a hyphen."""
    return "".join(letter if letter.isascii() and letter.isalnum() else "-" for letter in name.lower())


def _write(document: dict[str, object]) -> str:
    """Write a document; codes of open alarms are never in it, as they answer calls."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"))

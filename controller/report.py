"""How everything stands, as a document for machines and as lines for people."""

from __future__ import annotations

from typing import Any

from controller.core.alarms.alarm import QUIET, Alarm
from controller.core.alarms.lifecycle import ACTIVE, Phase
from controller.core.alarms.wording import span_words
from controller.core.curtain.drive import Drive
from controller.core.curtain.self_knowledge import UNLEARNT
from controller.core.signals.sense import UNHEARD
from controller.core.state import State
from controller.core.units import MINUTE_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import Stamp, Trust
from controller.core.water.kit import name_unit
from controller.core.why import explain_curtains, tell_light
from controller.water_report import describe_waters, write_waters


def describe_status(state: State, stamp: Stamp) -> dict[str, Any]:
    """Describe the whole state as a document with stable keys. Ages in seconds."""
    now = stamp.house_ms
    sensors = []
    for name, sensor in state.roll.sensors.items():
        sense = state.senses.get(name, UNHEARD)
        sensors.append(
            {
                "sensor": name,
                "value": sense.value if sense.trust is Trust.GOOD else None,
                "last_value": sense.value,
                "unit": name_unit(sensor.quantity),
                "trust": sense.trust.value,
                "why": sense.why,
                "age_s": None
                if sense.value is None and sense.heard_ms == 0
                else (now - sense.heard_ms) / SECOND_MS,
                "refused": sense.refused,
            }
        )
    alarms = [
        {
            "alarm": name,
            "state": alarm.phase.value,
            "code": alarm.code,
            "response": state.roll.entries[name].response.value,
            "detail": alarm.detail,
            "age_min": (now - alarm.raised_ms) / MINUTE_MS,
            "answered_by": alarm.answered_by,
            "action": state.roll.entries[name].action,
            "silence": describe_silence(state, name, alarm, now),
        }
        for name, alarm in state.durable.alarms.items()
        if alarm.phase is not Phase.NORMAL and name in state.roll.entries
    ]
    curtains = [
        {
            "curtain": why.curtain,
            "position": why.position,
            "drawn_percent": state.durable.drives.get(why.curtain, Drive()).drawn_percent,
            "motor": state.durable.drives.get(why.curtain, Drive()).phase.value,
            "rule": why.rule,
            "reason": why.reason,
            "light": tell_light(why.light),
            "light_today_mol_m2": why.light.mol,
            "light_expected_mol_m2": why.light.expected_mol,
            "light_coverage_percent": why.light.coverage_percent,
            "light_zones": [
                {
                    "crop": zone.crop,
                    "today_mol_m2": zone.light_share * why.light.mol,
                    "expected_mol_m2": None
                    if why.light.expected_mol is None
                    else zone.light_share * why.light.expected_mol,
                    "wanted_mol_m2": [zone.low_mol_m2, zone.high_mol_m2],
                }
                for zone in why.light.zones
            ],
            "learnt": [text for _, text in state.durable.learnt.get(why.curtain, UNLEARNT).told],
            "moves_today": state.durable.drives.get(why.curtain, Drive()).moves_today,
        }
        for why in explain_curtains(state, stamp)
    ]
    return {
        "site": state.plan.site.name,
        "utc_trusted": stamp.utc_trusted,
        "utc_ms": stamp.utc_ms,
        "alarms": alarms,
        "curtains": curtains,
        "sensors": sensors,
        "troubles": {part.value: text for part, text in state.troubles.items()},
        "refused_payloads": [
            {"topic": topic, "count": count, "last_reason": reason}
            for topic, (count, reason) in sorted(state.refused.items())
        ],
        "messages_under_way": len(state.durable.outstanding),
        "waters": describe_waters(state, stamp),
    }


def describe_silence(state: State, name: str, alarm: Alarm, now: HouseMs) -> str:
    """Say why an alarm is silent, by whom and until when; empty if it is not."""
    match alarm.phase:
        case Phase.OUT_OF_SERVICE:
            return f"out of service by {alarm.out_by}; instead: {alarm.replacement}"
        case Phase.SHELVED:
            return f"shelved for {span_words(round((alarm.shelved_until_ms - now) / MINUTE_MS))} more"
        case Phase.SUPPRESSED:
            causes = [
                cause
                for cause in state.roll.causes_of.get(name, ())
                if state.durable.alarms.get(cause, QUIET).phase in ACTIVE
            ]
            return f"follows from {', '.join(causes)}"
        case _:
            return ""


def write_status(document: dict[str, Any]) -> str:
    """Write the document as lines for people: what is wrong first, then curtains, then sensors."""
    lines = [document["site"]]
    if not document["utc_trusted"]:
        lines.append("The clock has not been set; rules by the sun are silent.")
    alarms = document["alarms"]
    open_words = {0: "No alarm is open.", 1: "1 alarm is open:"}
    lines.append(open_words.get(len(alarms), f"{len(alarms)} alarms are open:"))
    for alarm in alarms:
        who = f", {alarm['answered_by']} has it" if alarm["answered_by"] else ""
        code = f"[{alarm['code']}] " if alarm["code"] else ""
        fact = f": {alarm['detail']}" if alarm["detail"] else ""
        lines.append(f"  {code}{alarm['alarm']}{fact}")
        if alarm["silence"]:
            lines.append(f"         {alarm['silence']}")
            continue
        lines.append(
            f"         {alarm['state']} for {span_words(round(alarm['age_min']))}{who}. First: {alarm['action']}"
        )
    lines.extend(f"Trouble with {part}: {text}" for part, text in document["troubles"].items())
    lines.extend(write_waters(document["waters"]))
    for curtain in document["curtains"]:
        lines.append(
            f"Curtain {curtain['curtain']}: {curtain['position']} (motor {curtain['motor']}), "
            f"{curtain['moves_today']} moves today"
        )
        lines.append(f"  {curtain['rule']}: {curtain['reason']}")
        lines.append(f"  {curtain['light']}")
        lines.extend(f"  learnt of itself: {text}" for text in curtain["learnt"])
    for sensor in document["sensors"]:
        value = "UNKNOWN" if sensor["value"] is None else f"{sensor['value']:.4g} {sensor['unit']}"
        why = f": {sensor['why']}" if sensor["why"] else ""
        age = "" if sensor["age_s"] is None else f", {sensor['age_s']:.0f} s ago"
        lines.append(f"  {sensor['sensor']:<24} {value:<16} {sensor['trust']}{age}{why}")
    lines.extend(
        f"Refused on {refused['topic']}: {refused['count']} messages, last: {refused['last_reason']}"
        for refused in document["refused_payloads"]
    )
    if document["messages_under_way"]:
        count = document["messages_under_way"]
        lines.append("1 message is under way." if count == 1 else f"{count} messages are under way.")
    return "\n".join(lines)

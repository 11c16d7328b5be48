"""Take in what the sensors say, and mark which alarms and curtains hang on it."""

from __future__ import annotations

from controller.core.alarms.calm import is_calm
from controller.core.draft import Draft
from controller.core.signals.sense import UNHEARD
from controller.core.signals.trust import judge, turn_stale
from controller.core.sky.almanac import Almanac, clear_sky_w_m2, sun_height_deg
from controller.core.state import REFUSED_TOPICS_MOST
from controller.core.vocabulary import Ledger, PayloadRefused, ReadingsTaken, Stamp
from controller.core.water.probe import with_doubt

OTHER_TOPICS = "other topics"
"""The shared counter of refused payloads once the named ones are used up."""


def look_up_sky(almanac: Almanac | None, stamp: Stamp) -> tuple[float | None, float | None]:
    """Return sun height [deg] and clear-sky irradiance [W/m2] now; None while clock or table cannot tell."""
    if almanac is None or not stamp.utc_trusted:
        return None, None
    return sun_height_deg(almanac, stamp.utc_ms), clear_sky_w_m2(almanac, stamp.utc_ms)


def take_readings(draft: Draft, event: ReadingsTaken) -> None:
    """Judge each sample and remember it. Samples of sensors that the settings do not know are ignored."""
    stamp = draft.stamp
    specs, curtains = draft.roll.specs, draft.roll.curtains_of_sensor
    alarms_of, calms, stirring = draft.roll.alarms_of_sensor, draft.roll.calms, draft.roll.stirs
    senses = dict(draft.senses)
    doubts = draft.doubts
    sun_deg, clear_w_m2 = look_up_sky(draft.almanac, stamp)
    for sample in event.samples:
        name = sample.sensor
        spec = specs.get(name)
        if spec is None:
            continue
        before = senses.get(name, UNHEARD)
        after = judge(spec, before, sample, stamp, sun_deg, clear_w_m2)
        if after is before:
            continue
        if name in doubts:
            after = with_doubt(name, after, doubts)
        senses[name] = after
        if after.trust is not before.trust:
            draft.note_trust(name, before=before.trust, after=after.trust, why=after.why)
        if name in alarms_of and not is_calm(calms[name], before, after):
            draft.due_alarms.update(alarms_of[name])
        if name in curtains:
            draft.due_curtains.update(curtains[name])
        if name in stirring:
            draft.stirred[name] = None
    draft.senses = senses


def let_go_stale(draft: Draft) -> None:
    """Mark the sensors that have been silent for too long. Their values are not used any more."""
    now = draft.now
    if not draft.deadline_has_come or not any(sense.stale_ms <= now for sense in draft.senses.values()):
        return
    senses = dict(draft.senses)
    for name, sense in draft.senses.items():
        # A derived reading has no deadline of its own: it is reckoned anew when its inputs meet theirs.
        if sense.stale_ms <= now and name in draft.roll.specs:
            senses[name] = after = turn_stale(draft.roll.specs[name], sense)
            if after.trust is not sense.trust:
                draft.note_trust(name, before=sense.trust, after=after.trust, why=after.why)
            draft.due_alarms.update(draft.roll.alarms_of_sensor.get(name, ()))
            draft.due_curtains.update(draft.roll.curtains_of_sensor.get(name, ()))
            draft.stirred[name] = None
    draft.senses = senses


def expect_sensors(draft: Draft) -> None:
    """Begin to wait for every sensor of the settings; forget those that are gone.

    A sensor that has not spoken becomes missing when its time of staleness has passed since the start.
    """
    now = draft.now
    senses = {}
    for name, spec in draft.roll.specs.items():
        old = draft.senses.get(name)
        senses[name] = UNHEARD._replace(stale_ms=now + spec.stale_after_ms) if old is None else old
    draft.senses = senses


def count_refusal(draft: Draft, event: PayloadRefused) -> None:
    """Count a payload that could not be read. It is never a value; the sensor's silence will tell."""
    topic = event.topic
    if topic not in draft.refused and len(draft.refused) >= REFUSED_TOPICS_MOST:
        topic = OTHER_TOPICS
    count, _ = draft.refused.get(topic, (0, ""))
    draft.refused = {**draft.refused, topic: (count + 1, event.reason)}
    if count == 0:
        draft.note(
            Ledger.SENSOR,
            event.source or topic,
            "refused",
            f"a message on {topic} was refused: {event.reason}",
        )

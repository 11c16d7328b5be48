"""What is likely wrong, in words, where physics separates the causes. Likely, never certain: people go and look.

Each rule compares how far readings have moved within a span with what could have moved them. The thresholds are
our choice: each is a few times the noise of usual probes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import log10
from typing import Final

from controller.core.plan.water import Water
from controller.core.ranges import OutOfRange
from controller.core.signals.sense import UNHEARD
from controller.core.units import Quantity
from controller.core.vocabulary import Trust
from controller.core.water import carbonate, feed, level
from controller.core.water.outlook import Scene, find_loss
from controller.core.water.probe import list_probes
from controller.core.water.trace import EMPTY, find_change, find_steepest

HOUR_MIN: Final = 60.0
LONG_MIN: Final = 300.0

PH_FELL: Final = 0.12
PH_ROSE: Final = 0.3
CARBON_DIOXIDE_LEAST_PH: Final = 0.08
OXYGEN_FELL_MG_L: Final = 0.5
WATER_FELL_C: Final = 0.6
AMMONIA_GREW: Final = 1.3
AMMONIA_LEAST_MG_L: Final = 0.005
LEVEL_ROSE_CM: Final = 1.0
OPEN_BELOW_PERCENT: Final = 50.0

ALKALINITY_ASSUMED_MG_L: Final = 20.0
"""Where nobody has tested it: the least that a loop with fish is run at, so that the rule errs towards base. [mg/L]"""


@dataclass(frozen=True, slots=True)
class Finding:
    """One likely cause: for which water, what it is, and which readings say so."""

    water: str
    likely: str
    because: str

    def describe(self) -> str:
        """Say it in one sentence."""
        return f"Likely: {self.likely} ({self.because})."


@dataclass(frozen=True, slots=True)
class Around:
    """What else is known of the house: how far the curtain over the water is drawn [%]; None if nobody knows."""

    drawn_percent: float | None = None


def diagnose(water: Water, scene: Scene, around: Around | None = None) -> tuple[Finding, ...]:
    """Name the likely causes of what the readings of a body of water show; none while nothing moves."""
    house = Around() if around is None else around
    return tuple(finding for rule in RULES for finding in rule(water, scene, house))


def find_lost_aeration(water: Water, scene: Scene, around: Around) -> Iterator[Finding]:
    """PH down faster than alkalinity can go: carbon dioxide is building up, and base is no remedy."""
    del around
    moved = _move(scene, water.ph, HOUR_MIN)
    ph = scene.read(water.ph)
    if moved is None or ph is None or moved[0] > -PH_FELL:
        return
    change, took = moved
    alkalinity = scene.read(water.alkalinity)
    used = _use_alkalinity_mg_l(water, took)
    now = ALKALINITY_ASSUMED_MG_L if alkalinity is None else alkalinity
    try:
        split = carbonate.split_ph_change(
            ph_before=ph - change,
            ph_after=ph,
            alkalinity_before_mg_l=now + used,
            alkalinity_after_mg_l=now,
        )
    except OutOfRange:
        return
    if split.by_carbon_dioxide > -CARBON_DIOXIDE_LEAST_PH:
        return
    tested = "" if alkalinity is None else f" at {alkalinity:.0f} mg/L alkalinity"
    yield Finding(
        water.name,
        "carbon dioxide is building up: aeration lost, no call for base",
        f"pH {change:+.2f} in {took:.0f} min{tested}, carbon dioxide times {split.carbon_dioxide_ratio:.1f}",
    )


def find_lost_oxygen(water: Water, scene: Scene, around: Around) -> Iterator[Finding]:
    """Oxygen down: with the flow, the pump; with the flow fine, the air, or more is used than it gives."""
    del around
    moved = _move(scene, water.oxygen, HOUR_MIN)
    if moved is None or moved[0] > -OXYGEN_FELL_MG_L:
        return
    fell = f"oxygen {moved[0]:+.1f} mg/L in {moved[1]:.0f} min"
    lost = find_loss(water, scene)
    flow = scene.read(water.flow)
    if lost == "no flow" or (flow is not None and flow < water.least_flow_l_min):
        yield Finding(
            water.name, "the pump has stopped or its way is blocked", f"{fell}, flow {flow:.3g} L/min"
        )
    elif lost == "no air":
        yield Finding(water.name, "the air supply has failed", f"{fell}, air off")
    elif flow is not None:
        acid = _move(scene, water.ph, HOUR_MIN)
        if acid is not None and acid[0] <= -PH_FELL:
            yield Finding(
                water.name, "air does not reach the water: stones, hose or valve", f"{fell} and pH with it"
            )
        else:
            yield Finding(
                water.name,
                "air is short, or much feed or a bloom uses more than it gives",
                f"{fell}, flow {flow:.3g} L/min as usual",
            )


def find_cold(water: Water, scene: Scene, around: Around) -> Iterator[Finding]:
    """Water colder: the heater, the curtain that should hold the heat, or cold water let in."""
    moved = _move(scene, water.temperature, HOUR_MIN)
    if moved is None or moved[0] > -WATER_FELL_C:
        moved = _move(scene, water.temperature, LONG_MIN)
        if moved is None or moved[0] > -2.0 * WATER_FELL_C:
            return
    fell = f"water {moved[0]:+.1f} C in {moved[1]:.0f} min"
    heater = scene.read(water.heater)
    filled = _move(scene, water.level, moved[1])
    outside, inside = scene.read(water.surroundings), scene.read(water.temperature)
    colder = outside is not None and inside is not None and outside < inside
    if heater is not None and heater < 0.5:
        yield Finding(water.name, "the heater has no power", f"{fell}, heater off")
    elif filled is not None and filled[0] >= LEVEL_ROSE_CM:
        yield Finding(water.name, "cold water was let in", f"{fell}, level {filled[0]:+.1f} cm")
    elif around.drawn_percent is not None and around.drawn_percent < OPEN_BELOW_PERCENT and colder:
        yield Finding(
            water.name,
            "heat is lost under the open curtain",
            f"{fell}, curtain {around.drawn_percent:.0f} % drawn, air {outside:.1f} C",
        )
    elif colder:
        works = "heater on" if heater is not None else "heater not watched"
        yield Finding(
            water.name, "the house loses more than the heater gives: door, vent, frost", f"{fell}, {works}"
        )


def find_base_overdose(water: Water, scene: Scene, around: Around) -> Iterator[Finding]:
    """Un-ionised ammonia up after the pH, with the total as it was: too much base at once."""
    del around
    name = f"{water.name} {Quantity.UNIONISED_AMMONIA.value}"
    now = scene.read(name)
    rose = _move(scene, water.ph, HOUR_MIN)
    span_min = HOUR_MIN
    if rose is None or rose[0] < PH_ROSE:
        # What rose at once some hours ago is still the base; what took all these hours is the day's own swing.
        span_min, rose = LONG_MIN, _move(scene, water.ph, LONG_MIN)
        if (
            rose is None
            or rose[0] < PH_ROSE
            or find_steepest(scene.traces[water.ph], within_min=HOUR_MIN) < PH_ROSE
        ):
            return
    ammonia = _move(scene, name, span_min)
    if ammonia is None or now is None:
        return
    before = now - ammonia[0]
    if now < AMMONIA_LEAST_MG_L or before <= 0.0 or now / before < AMMONIA_GREW:
        return
    # The rise of pH alone multiplies the un-ionised share by up to ten to its power.
    if log10(now / before) > rose[0] + 0.1:
        return
    aired = _move(scene, water.oxygen, span_min)
    if aired is not None and aired[0] >= OXYGEN_FELL_MG_L:
        # Air that comes back, or a bloom in the sun, takes carbon dioxide away and brings oxygen: no base did it.
        return
    yield Finding(
        water.name,
        "too much base was given at once: stop dosing, test ammonia",
        f"pH {rose[0]:+.2f}, un-ionised ammonia times {now / before:.1f}, now {now:.3f} mg/L as N",
    )


def find_leak(water: Water, scene: Scene, around: Around) -> Iterator[Finding]:
    """Level down by more than 1 % of the water in an hour: a leak or an open drain."""
    del around
    moved = _move(scene, water.level, HOUR_MIN)
    if moved is None or water.volume_l is None or water.surface_m2 is None or moved[0] >= 0.0:
        return
    try:
        loss = level.find_loss(
            fall_mm=-10.0 * moved[0], surface_m2=water.surface_m2, time_h=moved[1] / HOUR_MIN
        )
        verdict = level.judge_loss(loss, volume_l=water.volume_l, usual_l_h=None)
    except OutOfRange:
        return
    if verdict is level.Loss.LEAK:
        yield Finding(
            water.name,
            "a leak or an open drain",
            f"{loss.litres:.0f} L lost in {moved[1]:.0f} min, {loss.rate_l_min:.1f} L/min",
        )


def find_probes(water: Water, scene: Scene, around: Around) -> Iterator[Finding]:
    """Find a probe that its neighbours contradict."""
    del around
    for name in list_probes(water):
        if name in scene.doubts:
            yield Finding(water.name, f"the probe {name} hangs in air", scene.doubts[name])


RULES: Final[tuple[Callable[[Water, Scene, Around], Iterator[Finding]], ...]] = (
    find_probes,
    find_lost_aeration,
    find_lost_oxygen,
    find_leak,
    find_base_overdose,
    find_cold,
)


def _move(scene: Scene, name: str, span_min: float) -> tuple[float, float] | None:
    """Return how far a trusted reading has moved within a span [kept unit] and the time it took [min]."""
    if not name or name in scene.doubts or scene.senses.get(name, UNHEARD).trust is not Trust.GOOD:
        return None
    return find_change(scene.traces.get(name, EMPTY), span_min=span_min)


def _use_alkalinity_mg_l(water: Water, minutes: float) -> float:
    """Compute the most alkalinity that nitrification can have used in a time [mg/L as calcium carbonate]."""
    if water.feed_g_d is None or water.volume_l is None:
        return 0.5 * minutes / HOUR_MIN
    try:
        made = feed.find_ammonia_g_d(feed_kg_d=water.feed_g_d / 1e3, protein_percent=water.protein_percent)
        used_g_d = feed.find_alkalinity_use_g_d(ammonia_g_d=made)
    except OutOfRange:
        return 0.5 * minutes / HOUR_MIN
    return used_g_d * 1e3 / water.volume_l * minutes / 1440.0

"""A run drawn as SVG: light, temperatures, oxygen, curtain, faults, alarms and messages on one axis of time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from math import ceil, floor
from typing import Final, NamedTuple
from xml.sax.saxutils import escape
from zoneinfo import ZoneInfo

from simulators.witness import Minute, Seen, Witness

WIDTH: Final = 1200
LEFT: Final = 190
RIGHT: Final = 30
TOP: Final = 56
PANEL: Final = 110
GAP: Final = 26
ROW: Final = 17
POINTS_MOST: Final = 1000
"""Points a line; more cannot be told apart at this width."""

ROWS_MOST: Final = 24
"""Alarms that get a row of their own; the rest share one."""

INK, FAINT = "#1f2933", "#cbd2d9"
COLOURS: Final = {
    "sun": "#c98a00",
    "inside": "#b3261e",
    "outside": "#2166ac",
    "water": "#1b7f5c",
    "oxygen": "#5e3c99",
    "curtain": "#52606d",
    "fault": "#8c510a",
    "alarm": "#b3261e",
    "call": "#2166ac",
    "answer": "#1b7f5c",
}


class Line(NamedTuple):
    """One line of a panel: its name, its colour, its values by the minute, and whether it is dashed."""

    name: str
    colour: str
    values: Sequence[float]
    dashed: bool = False


class _Canvas:
    """Parts of the picture, and where time lies."""

    def __init__(self, minutes: int) -> None:
        self.parts: list[str] = []
        self.minutes = max(1, minutes)

    def x(self, minute: float) -> float:
        """Place of a minute on the axis of time."""
        return LEFT + (WIDTH - LEFT - RIGHT) * min(max(minute / self.minutes, 0.0), 1.0)

    def text(self, x: float, y: float, words: str, *, anchor: str = "start", colour: str = INK) -> None:
        """Write words."""
        self.parts.append(
            f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'
        )

    def line(
        self, x1: float, y1: float, x2: float, y2: float, colour: str = FAINT, width: float = 1.0
    ) -> None:
        """Draw a straight line."""
        self.parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{colour}" '
            f'stroke-width="{width:g}"/>'
        )

    def bar(self, first: float, last: float, y: float, colour: str, height: float = 9.0) -> None:
        """Draw a bar from one minute to another; it is never too thin to be seen."""
        width = max(self.x(last) - self.x(first), 2.0)
        self.parts.append(
            f'<rect x="{self.x(first):.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:g}" fill="{colour}"/>'
        )


def draw_plot(witness: Witness, *, title: str, start: datetime, zone: str) -> str:
    """Draw what a witness has written down, as an SVG document.

    Parameters
    ----------
    witness : Witness
        Of a run of at least a minute.
    title : str
        What stands above it.
    start : datetime
        The run's first instant.
    zone : str
        The time zone of the axis.

    Raises
    ------
    ValueError
        The run has no minutes.
    """
    if not witness.minutes:
        raise ValueError("a run without minutes cannot be drawn")
    canvas = _Canvas(len(witness.minutes))
    y = TOP
    for name, unit, lines in _list_panels(witness.minutes):
        y = _draw_panel(canvas, y, name, unit, lines)
    y = _draw_rows(canvas, y, witness)
    _draw_time(canvas, y, start.astimezone(ZoneInfo(zone)), zone)
    height = y + 40
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height}" viewBox="0 0 {WIDTH} {height}" '
        f'font-family="Verdana, DejaVu Sans, sans-serif" font-size="12">'
        f'<title>{escape(title)}</title><rect width="{WIDTH}" height="{height}" fill="white"/>'
        f'<text x="{LEFT}" y="26" font-size="16" fill="{INK}">{escape(title)}</text>'
    )
    return "\n".join([head, *canvas.parts, "</svg>\n"])


def _list_panels(minutes: Sequence[Minute]) -> Iterable[tuple[str, str, tuple[Line, ...]]]:
    """List the panels with their lines."""
    light, inside, outside, water, oxygen, drawn = zip(*minutes, strict=True)
    return (
        ("light outside", "W/m2", (Line("", COLOURS["sun"], light),)),
        (
            "temperature",
            "C",
            (
                Line("inside", COLOURS["inside"], inside),
                Line("outside", COLOURS["outside"], outside, dashed=True),
                Line("water", COLOURS["water"], water),
            ),
        ),
        ("least oxygen", "mg/L", (Line("", COLOURS["oxygen"], oxygen),)),
        ("curtain drawn", "%", (Line("", COLOURS["curtain"], drawn),)),
    )


def _draw_panel(canvas: _Canvas, top: int, name: str, unit: str, lines: tuple[Line, ...]) -> int:
    """Draw one panel; return where the next begins."""
    low = min(0.0, *(min(line.values) for line in lines))
    high = max(max(line.values) for line in lines)
    step = _round_step((high - low) / 4.0)
    low, high = step * floor(low / step), step * max(ceil(high / step - 1e-9), floor(low / step) + 1)
    bottom = top + PANEL

    def place(value: float) -> float:
        return bottom - PANEL * (value - low) / (high - low)

    canvas.text(12, top + 14, name)
    canvas.text(12, top + 30, f"[{unit}]", colour="#52606d")
    mark = low
    while mark <= high + 1e-9:
        canvas.line(LEFT, place(mark), WIDTH - RIGHT, place(mark))
        canvas.text(LEFT - 6, place(mark) + 4, f"{mark:g}", anchor="end")
        mark += step
    for number, line in enumerate(lines):
        every = max(1, len(line.values) // POINTS_MOST)
        points = " ".join(
            f"{canvas.x(minute):.1f},{place(line.values[minute]):.1f}"
            for minute in range(0, len(line.values), every)
        )
        dash = ' stroke-dasharray="5 3"' if line.dashed else ""
        canvas.parts.append(
            f'<polyline points="{points}" fill="none" stroke="{line.colour}" stroke-width="1.4"{dash}/>'
        )
        if line.name:
            y = top + 50 + 15 * number
            canvas.parts.append(
                f'<line x1="12" y1="{y - 4}" x2="34" y2="{y - 4}" stroke="{line.colour}" stroke-width="2"{dash}/>'
            )
            canvas.text(40, y, line.name)
    return bottom + GAP


def _round_step(step: float) -> float:
    """Round a step up to 1, 2 or 5 times a power of ten."""
    if step <= 0.0:
        return 1.0
    size = 10.0 ** (len(str(int(step))) - 1) if step >= 1.0 else 0.1
    return next(size * factor for factor in (1.0, 2.0, 5.0, 10.0, 20.0) if size * factor >= step)


def _draw_rows(canvas: _Canvas, top: int, witness: Witness) -> int:
    """Draw faults, alarms and messages, each in a row of its own; return where the axis of time stands."""
    y = top
    spans = _list_spans(witness)
    for about, seen in spans[:ROWS_MOST]:
        canvas.text(12, y + 9, about[:24])
        canvas.line(LEFT, y + 5, WIDTH - RIGHT, y + 5)
        for first, last, colour in seen:
            canvas.bar(first, last, y, COLOURS[colour])
        y += ROW
    if len(spans) > ROWS_MOST:
        canvas.text(12, y + 9, f"and {len(spans) - ROWS_MOST} more")
        y += ROW
    for name, colour, events in (
        ("messages", "call", witness.calls),
        ("answers", "answer", witness.answers),
        ("starts", "curtain", witness.starts[1:]),
    ):
        canvas.text(12, y + 9, f"{name} ({len(events)})")
        canvas.line(LEFT, y + 5, WIDTH - RIGHT, y + 5)
        for minute in sorted({int(each.at_min) for each in events}):
            canvas.bar(minute, minute, y, COLOURS[colour])
        y += ROW
    return y + 8


def _list_spans(witness: Witness) -> list[tuple[str, list[tuple[float, float, str]]]]:
    """List faults and alarms with the spans in which they lasted, faults first."""
    end = float(len(witness.minutes))
    spans: dict[str, list[tuple[float, float, str]]] = {}
    changes = [*witness.faults, (end, ())]
    for (first, names), (last, _) in pairwise(changes):
        for name in names:
            spans.setdefault(f"! {name}", []).append((first, last, "fault"))
    for seen in witness.alarms:
        over = _find_over(witness.overs, seen)
        spans.setdefault(seen.about, []).append((seen.at_min, end if over is None else over, "alarm"))
    return list(spans.items())


def _find_over(overs: Iterable[Seen], seen: Seen) -> float | None:
    """Find when an alarm that began was over; None if it was not."""
    return next(
        (over.at_min for over in overs if over.about == seen.about and over.at_min >= seen.at_min), None
    )


def _draw_time(canvas: _Canvas, bottom: int, start: datetime, zone: str) -> None:
    """Draw the axis of time, in hours or days, at round local times."""
    hours = canvas.minutes / 60.0
    every = next(
        step for step in (1, 2, 3, 6, 12, 24, 48, 120, 240, 720, 2400) if hours / step <= 16.0 or step == 2400
    )
    first = (start + timedelta(hours=1)).replace(minute=0, second=0, microsecond=0)
    hour = 0
    while (minute := (first - start).total_seconds() / 60.0 + 60.0 * hour) <= canvas.minutes:
        at = (start + timedelta(minutes=minute)).astimezone(start.tzinfo)
        if at.hour % min(every, 24) == 0 and (every <= 24 or at.timetuple().tm_yday % (every // 24) == 0):
            x = canvas.x(minute)
            canvas.line(x, TOP, x, bottom, FAINT, 0.6)
            canvas.text(x, bottom + 16, f"{at:%a %d}" if at.hour == 0 else f"{at:%H:%M}", anchor="middle")
        hour += 1
    canvas.text(WIDTH - RIGHT, bottom + 34, f"local time, {zone}", anchor="end", colour="#52606d")

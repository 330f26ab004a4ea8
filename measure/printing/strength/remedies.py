"""What a bench does about a thin section: thicken it, turn the layers, or let a metal pin into it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from calib.tools.fits import pin_in_hole_mm
from calib.words import Words, both, counted
from measure.printing.strength import pins
from measure.printing.strength.pins import Pin
from measure.printing.strength.sections import Section
from measure.printing.strength.walls import Labels

LINE_MM = 0.42
"""Extrusion width of a 0.4 mm nozzle. Common practice, no source."""
LINES = 2
"""A wall of fewer lines is not printed soundly. Common practice, no source."""
SAID = {
    "too thin to print": Words("too thin to print"),
    "may be too thin to print": Words("may be too thin to print"),
    "weak": Words("weak"),
    "sound": Words("sound"),
}
"""Verdicts, as they are said."""
LIMIT_MM = 3.0
"""Below this a section that is bent or pulled is where a part breaks first. Common practice, no source."""

Verdict = Literal["too thin to print", "may be too thin to print", "weak", "sound"]


@dataclass(frozen=True, slots=True)
class JudgedSection:
    """A section and what to do about it.

    Attributes:
        section: the section.
        verdict: in the light of its uncertainty.
        pin: the thickest that surely has room in it, if any.
        thicken_to_mm: thickness that would do, counting the uncertainty; None where it is sound.
    """

    section: Section
    verdict: Verdict
    pin: Pin | None
    thicken_to_mm: float | None


def judge(
    section: Section, line_mm: float = LINE_MM, limit_mm: float = LIMIT_MM, height_mm: float | None = None
) -> JudgedSection:
    """Judge a section.

    Args:
        section: the section.
        line_mm: extrusion width.
        limit_mm: below which a section is weak.
        height_mm: the part's own thickness, which a pin needs room in too; None where it is not known.
    """
    value, u95, printable = section.value_mm, section.u95_mm or 0.0, LINES * line_mm
    verdict: Verdict = "sound"
    if value < printable:
        verdict = "too thin to print"
    elif value - u95 < printable:
        verdict = "may be too thin to print"
    elif value - u95 < limit_mm:
        verdict = "weak"
    room = min(value - u95, height_mm if height_mm else math.inf)
    thicken = None if verdict == "sound" else max(limit_mm, printable) + u95
    return JudgedSection(section, verdict, pins.largest_pin(room, line_mm), thicken)


SHOWN = 3
"""How many sections are shown although none is weak."""


def lines(judged: Sequence[JudgedSection], line_mm: float, limit_mm: float) -> tuple[str, ...]:
    """For people: the sections that need something and what helps, or the thinnest ones where none does."""
    if not judged:
        return (Words("No wall with two sides was found: the part is one compact piece."),)
    weak = [j for j in judged if j.verdict != "sound"]
    told = {"judged": len(judged), "limit_mm": limit_mm}
    out: list[str] = [Words("None of the part's {judged} thinnest places is below {limit_mm:g} mm.", **told)]
    if weak:
        out = [
            counted(
                "{n} of the part's {judged} thinnest places is below {limit_mm:g} mm.",
                "{n} of the part's {judged} thinnest places are below {limit_mm:g} mm.",
                len(weak),
                **told,
            )
        ]
    for name, j in named(judged):
        where = {"size": size(j.section), "between": between(j.section), "verdict": SAID[j.verdict]}
        out.append(Words("  {name}: {size} {between}: {verdict}.", name=name, **where))
    if weak:
        out += [Words("What helps, the easiest first:"), *_remedies(weak, line_mm)]
    return tuple(out)


def sharp_lines(sharp: Sequence[tuple[Labels, float]]) -> tuple[str, ...]:
    """For people: the corners that run out to nothing."""
    return tuple(
        Words(
            "The corner of {labels} is sharp ({angle:.0f}°) and runs out to nothing: round it by a line or two.",
            labels=both(labels),
            angle=angle,
        )
        for labels, angle in sharp
    )


def named(judged: Sequence[JudgedSection]) -> list[tuple[str, JudgedSection]]:
    """The sections worth showing by their names, T1, T2 and so on: all that need something, or the thinnest ones."""
    weak = [j for j in judged if j.verdict != "sound"]
    return [(f"T{i}", j) for i, j in enumerate(weak or judged[:SHOWN], 1)]


def _remedies(weak: Sequence[JudgedSection], line_mm: float) -> list[str]:
    enough = max(j.thicken_to_mm or 0.0 for j in weak)
    out: list[str] = [
        Words("  Turn the part in the printer, so that the layers run along the thin place and not across it."),
        Words(
            "  Thicken it, to {enough_mm:.1f} mm where there is room, and round its inner corners. Two lines, "
            "{least_mm:.2f} mm, are the least that prints.",
            enough_mm=math.ceil(enough * 10 - 1e-9) / 10,
            least_mm=LINES * line_mm,
        ),
    ]
    by_pin: dict[Pin | None, list[str]] = {}
    for name, j in named(weak):
        by_pin.setdefault(j.pin, []).append(name)
    out += [Words("  {names}: {pin}.", names=", ".join(names), pin=pin_words(p)) for p, names in by_pin.items() if p]
    if None in by_pin:
        least = pins.room_mm(pins.DIAMETERS_MM[0], line_mm)
        out.append(
            Words(
                "  {names}: no room for a metal pin, which needs {least_mm:.2f} mm both ways at least (Ø "
                "{diameter_mm:g} mm with two lines of plastic round its hole): thicken first.",
                names=", ".join(by_pin[None]),
                least_mm=least,
                diameter_mm=pins.DIAMETERS_MM[0],
            )
        )
    return out


def pin_words(p: Pin) -> str:
    """How a pin is let in."""
    low, high = p.reamed_mm
    least, most = (1000 * v for v in pin_in_hole_mm("m6", "H7", p.diameter_mm))
    return Words(
        "drill Ø {drilled_mm:g} mm along the wall and glue in a steel pin Ø {diameter_mm:g} mm (or ream it to Ø "
        "{low_mm:g} H7, {high_mm:.3f} mm at most, and press in an m6 pin: {tight:.0f} µm tight to {loose:.0f} µm "
        "loose), {reach_mm:g} mm into sound material on either side",
        drilled_mm=p.drilled_mm,
        diameter_mm=p.diameter_mm,
        low_mm=low,
        high_mm=high,
        tight=-least,
        loose=most,
        reach_mm=p.reach_mm,
    )


def size(s: Section) -> str:
    """A section's thickness, with its uncertainty where there is one."""
    if s.u95_mm is None:
        return Words("{value_mm:.2f} mm (± unknown)", value_mm=s.value_mm)
    return Words("{value_mm:.2f} ± {u95_mm:.2f} mm", value_mm=s.value_mm, u95_mm=s.u95_mm)


def between(s: Section) -> str:
    """Where a section is, by the labels on both sides."""
    return Words("between {first} and {second}", first=side_words(s.sides[0]), second=side_words(s.sides[1]))


def side_words(labels: Labels) -> str:
    """One side of a section."""
    return labels[0] if len(labels) == 1 else Words("the corner of {labels}", labels=both(labels))


def result(j: JudgedSection) -> dict[str, Any]:
    """For scripts: plain JSON values."""
    s = j.section
    return {
        "value_mm": round(s.value_mm, 4),
        "u95_mm": None if s.u95_mm is None else round(s.u95_mm, 4),
        "place": [round(x, 4) + 0.0 for x in s.place],
        "ends": [[round(x, 4) + 0.0 for x in p] for p in s.ends],
        "sides": [list(x) for x in s.sides],
        "verdict": j.verdict,
        "thicken_to_mm": None if j.thicken_to_mm is None else round(j.thicken_to_mm, 3),
        "pin": None
        if j.pin is None
        else {
            "diameter_mm": j.pin.diameter_mm,
            "drilled_mm": j.pin.drilled_mm,
            "reamed_mm": list(j.pin.reamed_mm),
            "reach_mm": j.pin.reach_mm,
        },
    }

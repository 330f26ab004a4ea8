"""Why a reading is wrong: the slips that people make, weighed against each other.

For each slip: how probable it is before looking, times how well what the person would then have meant fits what the
rest of the adjustment predicts (Bayes' rule). The most probable slip is named, not the first that fits.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from calib.tools.jaws import Tool, bore_shortfall_mm
from calib.words import Words, joined
from measure.readings.readings import MM_PER_INCH, TOUCH, Reading

Likely = Literal["unit", "digits", "feature", "zero", "other"]

PRIOR: dict[Likely, float] = {"unit": 0.2, "digits": 0.12, "feature": 0.28, "other": 0.4}
"""How probable each slip is before looking (common sense, no statistics of it are known)."""
USUAL_MM = 0.5
"""Size of an error without a name: half of them are smaller (Cauchy)."""
WIDEST_FLAT_MM = 1.5
"""The widest inside jaws that still go by the name."""
T4_AT_ZERO = 0.375
"""Density of Student's t with 4 degrees of freedom at zero."""
INCH_STEP, MM_STEP = 0.001, 0.01
"""Last digit of a caliper that shows inches, and of one that shows millimetres (common practice)."""
RARE = 0.2
"""How likely two digits far apart are exchanged, or the point slips by two places, beside the usual slips (common
sense, no statistics of it are known)."""
POINT_SLIPS = ((10.0, 1.0), (0.1, 1.0), (100.0, RARE), (0.01, RARE))
"""Factors by which a point at the wrong place changes a reading, and how likely each is beside the usual slips."""
LEAST_BORE_MM, LEEWAY = 0.1, 1.2
"""Jaws read no smaller bore; and a bore short by so many times what the widest jaws do is still put down to them."""


@dataclass(frozen=True, slots=True)
class OtherSize:
    """Another size that the reading may belong to.

    Attributes:
        kind, features: the reading that would have given it.
        value_mm, u_mm: its size and standard uncertainty, that of a reading included.
        measured: the list of readings names it as well.
    """

    kind: str
    features: tuple[str, ...]
    value_mm: float
    u_mm: float
    measured: bool


@dataclass(frozen=True, slots=True)
class Slip:
    """The most probable slip, in a word and in a sentence."""

    likely: Likely
    reason: str
    probability: float


def likely_cause(reading: Reading, tool: Tool, expected_mm: float, u_mm: float, others: Sequence[OtherSize]) -> Slip:
    """The slip that explains a suspect reading best.

    Args:
        reading: the suspect.
        tool: what it was read off.
        expected_mm, u_mm: what the reading should have been by everything else, and the standard uncertainty of the
            difference.
        others: all sizes that jaws can take on the part, this one left out.
    """
    weights: list[tuple[float, Likely, str]] = [
        _unit(reading, expected_mm, u_mm),
        _digits(reading, tool, expected_mm, u_mm),
        _feature(reading, others),
        _other(reading, tool, expected_mm),
    ]
    total = sum(w for w, *_ in weights)
    weight, likely, reason = max(weights, key=lambda x: x[0])
    return Slip(likely, reason, weight / total if total else 0.0)


def _density(x: float, u: float) -> float:
    """Student's t with 4 degrees of freedom: what is expected may rest on a photo that is worse than it says."""
    return T4_AT_ZERO / u * (1 + (x / u) ** 2 / 4) ** -2.5 if math.isfinite(u) else 0.0


def _unit(reading: Reading, expected: float, u: float) -> tuple[float, Likely, str]:
    """Inch for millimetre, or the reverse. Either way the number fits once the other unit is put to it."""
    if reading.unit == "mm":
        meant, said, step = reading.value_mm * MM_PER_INCH, "in", INCH_STEP / 2 * MM_PER_INCH
    else:
        meant, said, step = reading.value_mm / MM_PER_INCH, "mm", MM_STEP / 2
    wider = math.hypot(u, step)
    values = {"written": reading.written, "meant": meant, "expected": expected}
    if said == "in":
        text = Words("read in inches? {written} in is {meant:.2f} mm, and {expected:.2f} mm is expected", **values)
    else:
        text = Words("read in millimetres? {written} mm is {meant:.2f} mm, and {expected:.2f} mm is expected", **values)
    return PRIOR["unit"] * _density(meant - expected, wider), "unit", text


def meant_numbers(written: str, decimals: int) -> dict[str, float]:
    """Numbers that may have been meant, each with its share of such slips: two digits swapped, the point slipped.

    Zeros that a person drops when writing (before and behind) count as digits.
    """
    if not all(c.isdigit() or c == "." for c in written):
        return {}
    whole, _, part = written.partition(".")
    shown = len(part)
    text = "0" + whole + "." + part.ljust(max(decimals, shown), "0")
    swaps: dict[str, float] = {}
    places = [i for i, c in enumerate(text) if c.isdigit()]
    for a, i in enumerate(places):
        for j in places[a + 1 :]:
            if text[i] != text[j]:
                t = list(text)
                t[i], t[j] = t[j], t[i]
                new = "".join(t).lstrip("0")
                swaps[new] = max(swaps.get(new, 0.0), 1.0 if j - i <= 2 else RARE)
    value = float(text)
    slips = {f"{value * f:.{max(decimals, shown) + 2}f}": s for f, s in POINT_SLIPS}
    out: dict[str, float] = {}
    for found, share in ((swaps, 0.5), (slips, 0.5)):
        total = sum(found.values())
        for k, s in found.items():
            out[k] = out.get(k, 0.0) + share * s / total
    return out


def _digits(reading: Reading, tool: Tool, expected: float, u: float) -> tuple[float, Likely, str]:
    factor = MM_PER_INCH if reading.unit == "in" else 1.0
    decimals = 3 if reading.unit == "in" else max(0, -math.floor(math.log10(tool.step_mm) + 1e-9))
    weight, best = 0.0, (0.0, reading.written)
    for text, share in meant_numbers(reading.written or f"{reading.value_mm:.2f}", decimals).items():
        w = share * _density(float(text) * factor - expected, u)
        weight += w
        best = max(best, (w, text))
    meant = float(best[1] or 0)
    text = Words(
        "two digits swapped, or the decimal point slipped? {meant:g} for {written} would fit: "
        "{expected:.2f} mm is expected",
        meant=meant,
        written=reading.written,
        expected=expected,
    )
    return PRIOR["digits"] * weight, "digits", text


def _feature(reading: Reading, others: Iterable[OtherSize]) -> tuple[float, Likely, str]:
    """Right value, wrong place. Half of such slips go to something else that was measured as well."""
    others = list(others)
    measured = sum(c.measured for c in others)
    rest = len(others) - measured
    weight, best, name = 0.0, 0.0, ""
    for c in others:
        half = 0.5 if measured and rest else 1.0
        share = half / (measured if c.measured else rest)
        w = share * _density(reading.value_mm - c.value_mm, c.u_mm)
        weight += w
        if w > best:
            best, name = w, f"{c.kind} {' '.join(c.features)}".strip() + f" ({c.value_mm:.2f} mm)"
    return PRIOR["feature"] * weight, "feature", Words("the value fits {name}; was it read there?", name=name)


def _other(reading: Reading, tool: Tool, expected: float) -> tuple[float, Likely, str]:
    e = reading.value_mm - expected
    weight = 1 / (math.pi * USUAL_MM * (1 + (e / USUAL_MM) ** 2))
    much = abs(e)
    said = (
        Words("{much:.2f} mm more than expected", much=much)
        if e > 0
        else Words("{much:.2f} mm less than expected", much=much)
    )
    touch = TOUCH[reading.kind]
    widest = bore_shortfall_mm(max(expected, LEAST_BORE_MM), WIDEST_FLAT_MM)
    if reading.kind == "bore" and -LEEWAY * widest < e < 0:
        why = Words("inside jaws read a small hole short; try a drill shank or a pin")
    elif touch == "outside" and 0 < e < 2:
        why = Words("jaws skewed, or a burr under them? Measure again with the jaws flat")
    elif touch == "inside" and -2 < e < 0:
        why = Words("jaws skewed, or not at the widest place? Measure again")
    elif tool.leaf:
        why = Words("try the next leaves of the gauge")
    else:
        why = Words("no common slip explains it; measure again")
    return PRIOR["other"] * weight, "other", joined(": ", (said, why))

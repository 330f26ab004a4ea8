"""Calipers and radius gauges: how far a reading may be off, and what jaws do in small holes.

A reading's uncertainty is put together from the maker's permissible error, the step of the scale and the hand that
holds the tool (GUM type B). The tool's zero is kept apart, since one zero error sits in every reading of that tool.

Sources: DIN 862 limits for the permissible errors, as printed in trade tables (digital 0.01 mm: 20 µm to 100 mm,
30 µm to 600 mm, 40 µm to 1000 mm; vernier 0.05 mm: 50 µm to 300 mm, then 10 µm more for each 100 mm; inside readings
20 µm more). Hand, zero, plastic calipers and radius gauges: common practice, no standard.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from calib.errors import ReadingsRefused
from calib.files import content_of
from calib.tools.budget import Cause, combined, rectangular, resolution

Touch = Literal["outside", "inside", "radius"]
MAX_FILE_MB = 1.0
FINE_LEAVES_MM = 3.0
"""Up to this radius a radius gauge's leaves are half a step apart (common practice)."""
LEAST_SCALE = 0.25
"""Share of the permissible error's variance that is the scale's at least, however large the zero's (chosen)."""
WIDEST_FLAT = 0.9
"""Jaws reach into no hole that their flats fill by more than this, share of its diameter (chosen)."""


@dataclass(frozen=True, slots=True)
class Tool:
    """One measuring tool. All lengths in millimetres.

    Attributes:
        name: as written in the readings.
        step_mm: smallest step of the scale or display.
        permissible_mm: pairs (up to this length, permissible error ±), rising; the last one holds beyond its length.
        inside_extra_mm: what an inside reading may be off more than an outside one.
        hand_mm: standard uncertainty from touch, tilt and the part's own face.
        zero_mm: standard uncertainty of the tool's zero, shared by all its readings; 0 for a tool without a zero.
        flat_mm, flat_u_mm: total flat width of the inside jaws across a small hole, and its standard uncertainty.
        radius_mm: standard uncertainty of a radius read with it; None: as good as an outside reading of that length.
        leaf: True for radius gauges, which read nothing but radii.
        source: where the figures come from.
    """

    name: str
    step_mm: float
    permissible_mm: tuple[tuple[float, float], ...]
    inside_extra_mm: float = 0.02
    hand_mm: float = 0.0125
    zero_mm: float = 0.01
    flat_mm: float = 0.3
    flat_u_mm: float = 0.2
    radius_mm: float | None = None
    leaf: bool = False
    source: str = ""

    def permissible_at(self, length_mm: float) -> float:
        """Permissible error ± of an outside reading of this length, mm."""
        for up_to, limit in self.permissible_mm:
            if length_mm <= up_to:
                return limit
        return self.permissible_mm[-1][1]


@dataclass(frozen=True, slots=True)
class ReadingUncertainty:
    """Standard uncertainty of one reading, mm, without the tool's zero.

    Attributes:
        common_mm: the share that repeated readings of the same thing with the same tool have in common.
        single_mm: the share that is new with every reading.
    """

    common_mm: float
    single_mm: float

    @property
    def total_mm(self) -> float:
        """Both shares together."""
        return math.hypot(self.common_mm, self.single_mm)


def _table(text: str) -> tuple[tuple[float, float], ...]:
    return tuple((float(a), float(b)) for a, b in (pair.split(":") for pair in text.split()))


TOOLS: Mapping[str, Tool] = {
    "caliper": Tool(
        name="caliper",
        step_mm=0.01,
        permissible_mm=_table("100:0.02 600:0.03 1000:0.04"),
        radius_mm=0.03,
        source="DIN 862, digital 0.01 mm (trade table); hand and zero: common practice",
    ),
    "vernier": Tool(
        name="vernier",
        step_mm=0.05,
        permissible_mm=_table("300:0.05 400:0.06 500:0.07 600:0.08 700:0.09 800:0.10 900:0.11 1000:0.12"),
        zero_mm=0.02,
        radius_mm=0.05,
        source="DIN 862, vernier 0.05 mm (trade table); hand and zero: common practice",
    ),
    "plastic": Tool(
        name="plastic",
        step_mm=0.1,
        permissible_mm=_table("200:0.1 1000:0.2"),
        inside_extra_mm=0.05,
        hand_mm=0.03,
        zero_mm=0.04,
        flat_mm=0.6,
        flat_u_mm=0.3,
        radius_mm=0.1,
        source="common practice: one step of the scale; no standard",
    ),
    "gauge": Tool(
        name="gauge",
        step_mm=0.5,
        permissible_mm=((1000.0, 0.02),),
        hand_mm=0.05,
        zero_mm=0.0,
        radius_mm=None,
        leaf=True,
        source="radius gauge set in steps of 0.5 mm (0.25 below 3 mm), nearest leaf by eye: common practice",
    ),
}
"""The tools that need no file."""


def uncertainty(tool: Tool, touch: Touch, length_mm: float) -> ReadingUncertainty:
    """Standard uncertainty of a reading.

    The permissible error is taken as rectangular. The share of it that the tool's zero accounts for is left out, as
    the zero is an unknown of its own in the adjustment. What is left is common to repeats of the same reading.

    Args:
        tool: the tool.
        touch: which jaws touch: outside, inside, or the tool lies on a curve.
        length_mm: the length read.
    """
    if tool.leaf:
        step = tool.step_mm / 2 if length_mm <= FINE_LEAVES_MM else tool.step_mm
        parts = [Cause("leaf", rectangular(tool.permissible_at(length_mm))), Cause("eye", tool.hand_mm)]
        return ReadingUncertainty(common_mm=resolution(step), single_mm=combined(parts).u)
    limit = tool.permissible_at(length_mm) + (tool.inside_extra_mm if touch == "inside" else 0.0)
    scale = rectangular(limit)
    common = math.sqrt(max(scale**2 - tool.zero_mm**2, LEAST_SCALE * scale**2))
    single = combined([Cause("step", resolution(tool.step_mm)), Cause("hand", tool.hand_mm)]).u
    if touch == "radius" and tool.radius_mm is not None:
        common = math.sqrt(max(tool.radius_mm**2 - single**2, common**2))
    return ReadingUncertainty(common_mm=common, single_mm=single)


def bore_shortfall_mm(diameter_mm: float, flat_mm: float) -> float:
    """How much too short inside jaws of this flat width read a round hole: D − √(D² − w²), geometry of the chord."""
    w = min(abs(flat_mm), WIDEST_FLAT * diameter_mm)
    return diameter_mm - math.sqrt(diameter_mm**2 - w**2)


def hollow_rise_mm(radius_mm: float, flat_mm: float) -> float:
    """How far a jaw of this flat width stands off the bottom of a hollow of this radius: R − √(R² − (w/2)²)."""
    return bore_shortfall_mm(2 * radius_mm, flat_mm) / 2


_NUMBERS = {
    "step_mm": (0.0001, 2.0),
    "inside_extra_mm": (0.0, 1.0),
    "hand_mm": (0.0, 1.0),
    "zero_mm": (0.0, 1.0),
    "flat_mm": (0.0, 10.0),
    "flat_u_mm": (0.0, 5.0),
    "radius_mm": (0.0001, 5.0),
}
_LENGTHS_MM, _LIMITS_MM = (0.1, 1e5), (1e-4, 5.0)
"""Least and most that a tools file may say: lengths, and permissible errors."""


def read_tools(path: Path) -> dict[str, Tool]:
    """The built-in tools and those of the user's own file (TOML, one table a tool)::

        [workshop-micrometer]
        step_mm = 0.001
        permissible_mm = 0.004              # or [[100, 0.02], [300, 0.03]]: up to this length, this error
        # these may be left out:
        inside_extra_mm = 0.0
        hand_mm = 0.003
        zero_mm = 0.002
        flat_mm = 0.3
        flat_u_mm = 0.2
        radius_mm = 0.05
        source = "maker's certificate"

    Raises:
        ReadingsRefused: the file can't be read or a figure makes no sense.
    """
    try:
        tables = tomllib.loads(content_of(path, MAX_FILE_MB).decode("utf-8-sig"))
    except OSError as e:
        raise ReadingsRefused(f"The tools file {path.name} can't be read: {e.strerror or e}.", "tools-file") from e
    except (ValueError, RecursionError) as e:
        raise ReadingsRefused(f"The tools file {path.name} is not valid TOML: {e}.", "tools-file") from e
    return {**TOOLS, **{name: _tool(path.name, name, table) for name, table in tables.items()}}


def _tool(file: str, name: str, table: object) -> Tool:
    def refuse(what: str) -> ReadingsRefused:
        return ReadingsRefused(f"Tools file {file}, [{name}]: {what}", "tools-file")

    if not isinstance(table, dict):
        raise refuse("each tool is a table of its own, such as [my-caliper] with step_mm and permissible_mm below it.")
    if not re.fullmatch(r"[A-Za-z][\w-]*", name):
        raise refuse("a tool's name is letters, digits and dashes, and starts with a letter.")
    unknown = set(table) - set(_NUMBERS) - {"permissible_mm", "leaf", "source"}
    if unknown:
        known = ", ".join([*_NUMBERS, "permissible_mm", "leaf", "source"])
        raise refuse(f"“{min(unknown)}” is not known here; what may stand here is {known}.")
    for key in ("step_mm", "permissible_mm"):
        if key not in table:
            raise refuse(f"{key} is missing.")
    numbers = {}
    for key, (low, high) in _NUMBERS.items():
        if key in table:
            numbers[key] = _number(table[key], low, high)
            if numbers[key] is None:
                raise refuse(f"{key} must be a number from {low:g} to {high:g}, in millimetres.")
    limits = table["permissible_mm"]
    pairs = [[1000.0, limits]] if isinstance(limits, int | float) else limits
    good = isinstance(pairs, list) and bool(pairs)
    good = good and all(isinstance(p, list) and len(p) == 2 for p in pairs)
    good = good and all(_number(a, *_LENGTHS_MM) is not None and _number(b, *_LIMITS_MM) is not None for a, b in pairs)
    if not good or [p[0] for p in pairs] != sorted({p[0] for p in pairs}):
        raise refuse("permissible_mm is one number, or pairs [up to this length, this error] with rising lengths.")
    if not isinstance(table.get("leaf", False), bool):
        raise refuse("leaf is true (a radius gauge) or false.")
    return Tool(
        name=name,
        permissible_mm=tuple((float(a), float(b)) for a, b in pairs),
        leaf=table.get("leaf", False),
        source=str(table.get("source", file)),
        **numbers,  # type: ignore[arg-type]
    )


def _number(value: object, low: float, high: float) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        return None
    return float(value)

"""The seat behind an opening: its depth, which no photo of the rim shows, from readings of the thickness kind.

For an opening a thickness reading is the height of what is to go in: the depth of the seat by the caliper's rod, or the
thickness of the old cover. It stands apart from the rim, so it is no observation of the adjustment; its readings check
each other only.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.tools.budget import K95
from calib.tools.jaws import Tool, uncertainty
from calib.words import Words
from measure.adjustment.least_squares import CRITICAL, DELTA0
from measure.adjustment.verdicts import Remark, Verdict
from measure.readings.readings import Reading

UNSEEN = Words("undercuts and draft of the seat can't be seen, so feel for them and try a gauge first")


@dataclass(frozen=True, slots=True)
class Seat:
    """How deep a seat is.

    Attributes:
        depth_mm, u95_mm: from the readings that agree.
        verdicts: one for each reading.
    """

    depth_mm: float
    u95_mm: float
    verdicts: tuple[Verdict, ...]


def seat(readings: Sequence[Reading], tools: Mapping[str, Tool]) -> Seat | None:
    """The depth from its readings; None where there are none.

    Args:
        readings: of the thickness kind; those that lie too far from their median are set aside.
        tools: by name.
    """
    if not readings:
        return None
    u = [uncertainty(tools[r.tool], "outside", r.value_mm) for r in readings]
    total = [math.hypot(x.total_mm, tools[r.tool].zero_mm) for x, r in zip(u, readings, strict=True)]
    middle = float(np.median([r.value_mm for r in readings]))
    near = [abs(r.value_mm - middle) <= CRITICAL * math.sqrt(2) * s for r, s in zip(readings, total, strict=True)]
    if not any(near):  # two that differ: nobody can tell which is wrong, so both stand, and the doubt shows
        near = [True] * len(readings)
    kept = [i for i, n in enumerate(near) if n]
    weight = np.array([1 / total[i] ** 2 for i in kept])
    values = np.array([readings[i].value_mm for i in kept])
    depth = float(weight @ values / weight.sum())
    own = sum((w / weight.sum() * u[i].single_mm) ** 2 for w, i in zip(weight, kept, strict=True))
    common = max(math.hypot(u[i].common_mm, tools[readings[i].tool].zero_mm) for i in kept)
    scatter = float(np.ptp(values)) / 2 if len(values) > 1 else 0.0
    redundancy = 1 - 1 / len(readings)
    least = DELTA0 * math.sqrt(2) * max(total) if len(readings) > 1 else math.inf
    told = tuple(
        Verdict(
            reading=r,
            verdict="kept" if n else "suspect",
            residual_mm=r.value_mm - depth,
            standardised=(r.value_mm - depth) / s,
            redundancy=redundancy,
            detectable_mm=least,
            reason=_reason(n, depth, len(readings)),
            likely=None if n else "other",
        )
        for r, n, s in zip(readings, near, total, strict=True)
    )
    return Seat(depth, max(K95 * math.sqrt(own + common**2), scatter), told)


def _reason(kept: bool, depth_mm: float, count: int) -> str | None:
    if not kept:
        return Words("the other readings of the depth say {depth_mm:.2f} mm; measure again", depth_mm=depth_mm)
    return Words("nothing else checks this reading") if count == 1 else None


def remark(depth_mm: float) -> Remark:
    """What people should know of a seat: how deep it is, or that this is still to be read; and what can't be seen."""
    if depth_mm > 0:
        return Remark("seat", Words("Only the rim was photographed; {unseen}.", unseen=UNSEEN))
    return Remark(
        "seat-depth",
        Words(
            "How deep the seat is can't be seen in the photo: measure it with the caliper's rod, or "
            "the thickness of the old cover, and take it in as a thickness reading (thickness 2.4). "
            "Besides, {unseen}.",
            unseen=UNSEEN,
        ),
    )

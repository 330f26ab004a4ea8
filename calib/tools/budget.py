"""Uncertainty budgets: several causes of error become one standard uncertainty.

Source: JCGM 100:2008 (GUM), clauses 4.3 (type B), 5.1 and 5.2 (combination), annex G.4 (effective degrees of freedom).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

K95 = 1.959964
"""Standard uncertainties in the half-width that holds the truth 19 times in 20, normal distribution (GUM G.1)."""

STEP_IN_SD = math.sqrt(12)
"""A step, in standard deviations of what is rounded to it: as likely anywhere within it (GUM 4.3.7)."""


@dataclass(frozen=True, slots=True)
class Cause:
    """One line of a budget.

    Attributes:
        name: what may be wrong.
        u: standard uncertainty that it brings to the result, in the result's unit.
        freedom: degrees of freedom behind `u`; infinite where the limits are taken as known.
    """

    name: str
    u: float
    freedom: float = math.inf


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known to lie within ± `half_width`, anywhere alike (GUM 4.3.7)."""
    return half_width / math.sqrt(3)


def resolution(step: float) -> float:
    """Standard uncertainty of a reading rounded to whole steps (GUM F.2.2.1)."""
    return step / STEP_IN_SD


def combined(causes: Iterable[Cause]) -> Cause:
    """Independent causes together: root of the sum of squares, and the Welch–Satterthwaite freedom (GUM G.4.1)."""
    causes = list(causes)
    u2 = sum(c.u**2 for c in causes)
    spent = sum(c.u**4 / c.freedom for c in causes)
    return Cause("combined", math.sqrt(u2), u2**2 / spent if spent else math.inf)

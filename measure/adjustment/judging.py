"""Which readings to believe: the readings against the photo, before they are let into the adjustment.

Three things may be wrong: one reading, the zero of a tool (all its readings share one offset), or the photo, in one
place (one feature was traced off, and several readings agree about it) or everywhere (its covariance is too small).
Each is an alternative hypothesis with its own pattern of errors; the most probable one, by likelihood and prior, is
taken at each step. A single reading is set aside only when its standardised residual exceeds the critical value.

Sources: W. Baarda (1968), data snooping; P. J. G. Teunissen, Testing Theory (2000), alternative hypotheses of any
pattern; the weighing of hypotheses is Bayes' rule.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calib.arrays import Array
from measure.adjustment.least_squares import (
    CRITICAL,
    GroupResult,
    against_prediction,
    along,
    log_evidence,
    projected,
    snoop,
    without,
)

READING_WRONG = (math.log(0.02), 1.0)
"""Log prior that one reading is wrong, and how large such errors usually are (half of them are smaller, mm)."""
ZERO_WRONG = (math.log(0.02), 0.5)
"""The same for the zero of a tool."""
FEATURE_WRONG = (math.log(0.0005), 0.5)
"""The same for one parameter of one traced feature."""
LEAST_ZERO_MM = 0.1
"""A shared offset smaller than this is not called a zero error: the photo's own systematic errors can look like it."""
LOOSER = (1.0, 1.25, 1.6, 2.0, 2.5, 3.2)
"""Factors by which the photo's standard deviations may be too small."""
LOOSER_SD = 0.3
"""Standard deviation of the prior of the logarithm of that factor."""
TOUCHED = 0.1
"""A reading speaks of a parameter when it changes with it by so much of the parameter's own change (chosen)."""
FEATURE_CRITICAL = 4.0
"""A parameter is a suspect from so many standard deviations on (chosen: a chance of 6e-5 for normal errors)."""


@dataclass(frozen=True, slots=True)
class ReadingSet:
    """Readings ready to be judged.

    Attributes:
        design: (n, u) of the readings in all unknowns.
        observed: (n,) readings minus what the photo predicts, mm.
        covariance: (n, n) of the readings.
        tools: (n,) name of each reading's tool.
        zeroed: (n,) does the tool's zero act on this reading?
        keys: (n,) readings with equal keys are repeats of one another.
        is_thickness: (n,) the reading is the part's thickness.
        features: number of unknowns that are parameters of features; they come first.
    """

    design: Array
    observed: Array
    covariance: Array
    tools: Sequence[str]
    zeroed: Sequence[bool]
    keys: Sequence[object]
    is_thickness: Sequence[bool]
    features: int


@dataclass(frozen=True, slots=True)
class ZeroError:
    """A tool whose readings share one offset."""

    tool: str
    offset_mm: float
    u_mm: float
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """What was found.

    Attributes:
        aside: readings that are not believed by themselves, in the order in which they went.
        zeros: tools whose zero is off; all their readings are aside as well.
        misplaced: numbers of the feature parameters that the photo has wrong.
        looser: factor on the photo's standard deviations.
        log_probability: of the whole explanation, up to a constant.
    """

    aside: tuple[int, ...] = ()
    zeros: tuple[ZeroError, ...] = ()
    misplaced: tuple[int, ...] = ()
    looser: float = 1.0
    log_probability: float = 0.0


@dataclass(slots=True)
class _Hypothesis:
    reading_set: ReadingSet
    u: Array
    m: Array
    aside: list[int] = field(default_factory=list)
    """Set aside on the way; `_singles` decides which stay so."""
    zeros: list[ZeroError] = field(default_factory=list)
    misplaced: list[int] = field(default_factory=list)
    together: list[int] = field(default_factory=list)
    """Repeats of one reading that are all wrong alike."""
    patterns: list[Array] = field(default_factory=list)
    gain: float = 0.0


def judge(reading_set: ReadingSet, predictions: Sequence[tuple[float, Array]]) -> Judgement:
    """The most probable explanation of the readings.

    Args:
        reading_set: the readings.
        predictions: pairs of a factor on the photo's standard deviations, and the (n, n) covariance of what the photo
            predicts for the readings that goes with it.
    """
    if not len(reading_set.observed):
        return Judgement()
    judgements = []
    for looser, covariance in predictions:
        t = against_prediction(reading_set.observed, reading_set.covariance, covariance)
        found = _explain(reading_set, t)
        p = log_evidence(t, reading_set.observed) + found.gain - 0.5 * (math.log(looser) / LOOSER_SD) ** 2
        judgements.append(Judgement(tuple(found.aside), tuple(found.zeros), tuple(found.misplaced), looser, p))
    return max(judgements, key=lambda j: j.log_probability)


def _explain(reading_set: ReadingSet, t: GroupResult) -> _Hypothesis:
    """One hypothesis after the other, the best first, until what is left needs no explanation."""
    s = _Hypothesis(reading_set, t.weighted.copy(), t.cofactor.copy())
    for _ in range(2 * len(reading_set.observed)):
        single, k = _best_single(s)
        repeats, same = _best_repeats(s)
        zero, rows = _best_zero(s)
        feature, j = _best_feature(s)
        best = max(single, repeats, zero, feature)
        if best == -math.inf:
            break
        if zero == best:
            _take_zero(s, rows, zero)
        elif repeats == best:
            _take_whole(s, same)
            s.together += same
            s.gain += repeats
        elif feature == best:
            s.misplaced.append(j)
            s.patterns.append(reading_set.design[:, j])
            s.u, s.m = projected(s.u, s.m, s.patterns[-1])
            s.gain += feature
        else:
            s.aside.append(k)
            s.u, s.m = without(GroupResult(s.u, s.u, s.u, s.m), [k])
            s.gain += single
    s.aside = [*s.together, *_singles(s, t)]
    return s


def _singles(s: _Hypothesis, t: GroupResult) -> list[int]:
    """Data snooping proper, beside the patterns that were found."""
    u, m = t.weighted, t.cofactor
    for c in s.patterns:
        u, m = projected(u, m, c)
    return snoop(GroupResult(t.residuals, t.redundancy, u, m))


def _gain(strength: float, pull: float, prior: tuple[float, float]) -> float:
    """Log odds of an error of a pattern against none.

    Sizes of errors have a long tail (Cauchy): an inch for a millimetre is twenty times a slip of the hand, and how much
    too large an error is must not count as evidence about anything else.
    """
    log_prior, usual = prior
    size, u = pull / strength, strength**-0.5
    scale = math.hypot(usual, u)
    density = 1 / (math.pi * scale * (1 + (size / scale) ** 2))
    return 0.5 * size * pull + math.log(math.sqrt(2 * math.pi) * u * density) + log_prior


def _best_single(s: _Hypothesis) -> tuple[float, int]:
    d = np.diag(s.m)
    ok = d > 1e-12
    w = np.where(ok, np.abs(s.u) / np.sqrt(np.where(ok, d, 1.0)), 0.0)
    k = int(np.argmax(w))
    if w[k] <= CRITICAL:
        return -math.inf, k
    return _gain(float(d[k]), float(s.u[k]), READING_WRONG), k


def _best_repeats(s: _Hypothesis) -> tuple[float, list[int]]:
    """All repeats of one reading wrong alike, as when the wrong place was measured three times."""
    best: tuple[float, list[int]] = (-math.inf, [])
    for same in dict.fromkeys(s.reading_set.keys):
        rows = [i for i, other in enumerate(s.reading_set.keys) if other == same and s.m[i, i] > 1e-12]
        if len(rows) < 2:
            continue
        c = np.zeros(len(s.u))
        c[rows] = 1.0
        size, u = along(s.u, s.m, c)
        if abs(size) > CRITICAL * u:
            g = _gain(u**-2, size * u**-2, READING_WRONG)
            if g > best[0]:
                best = (g, rows)
    return best


def _best_zero(s: _Hypothesis) -> tuple[float, tuple[int, ...]]:
    best: tuple[float, tuple[int, ...]] = (-math.inf, ())
    b = s.reading_set
    for tool in dict.fromkeys(b.tools):
        if any(z.tool == tool for z in s.zeros):
            continue
        rows = [i for i, t in enumerate(b.tools) if t == tool and b.zeroed[i] and i not in s.aside]
        # The thickness given with the photo may come from the same tool: then only the other readings disagree.
        for chosen in (rows, [i for i in rows if not b.is_thickness[i]]):
            if len({b.keys[i] for i in chosen if s.m[i, i] > 1e-12}) < 2:
                continue
            c = np.zeros(len(b.observed))
            c[chosen] = 1.0
            size, u = along(s.u, s.m, c)
            if abs(size) < LEAST_ZERO_MM or abs(size) < CRITICAL * u:
                continue
            g = _gain(u**-2, size * u**-2, ZERO_WRONG)
            if g > max(best[0], 0.0):
                best = (g, tuple(chosen))
    return best


def _best_feature(s: _Hypothesis) -> tuple[float, int]:
    a = s.reading_set.design[:, : s.reading_set.features]
    strength = np.einsum("ij,ik,kj->j", a, s.m, a, optimize=True)
    pull = a.T @ s.u
    best = (-math.inf, -1)
    for j in np.flatnonzero(strength > 1e-12):
        live = [int(i) for i in np.flatnonzero(np.abs(a[:, j]) > TOUCHED) if i not in s.aside]
        if len({s.reading_set.keys[i] for i in live}) < 2 or j in s.misplaced:
            continue
        if abs(pull[j]) < FEATURE_CRITICAL * math.sqrt(strength[j]):
            continue
        g = _gain(float(strength[j]), float(pull[j]), FEATURE_WRONG)
        if g > max(best[0], 0.0):
            best = (g, int(j))
    return best


def _take_zero(s: _Hypothesis, rows: tuple[int, ...], gain: float) -> None:
    b = s.reading_set
    c = np.zeros(len(b.observed))
    c[list(rows)] = 1.0
    size, u = along(s.u, s.m, c)
    tool = b.tools[rows[0]]
    whole = tuple(i for i, t in enumerate(b.tools) if t == tool and b.zeroed[i])
    s.zeros.append(ZeroError(tool, size, u, whole))
    s.gain += gain
    # With its zero gone the tool's readings say nothing more here; what else they show is not looked into.
    _take_whole(s, whole)


def _take_whole(s: _Hypothesis, rows: Sequence[int]) -> None:
    """Any error whatever is allowed in these readings from now on."""
    s.patterns += [np.eye(len(s.u))[i] for i in rows]
    s.u, s.m = without(GroupResult(s.u, s.u, s.u, s.m), rows)

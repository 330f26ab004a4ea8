"""The unknowns of the adjustment, what the photo says about them, and what a reading says.

Unknowns, in this order: parameters of the features; errors of the shared terms (scale, tilt, thickness …); the zero of
each tool; the flat width of each tool's inside jaws. All are counted from the values the photo or the tool came with,
so the prior is about zero, but for the tangent joints of the outline, which are held to begin with.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.tools.budget import resolution
from calib.tools.jaws import Tool, bore_shortfall_mm, hollow_rise_mm, uncertainty
from measure.geometry.dimensions import size_of, stacked
from measure.geometry.features import PARAMETERS, Estimate, Feature, as_round, is_round, length
from measure.geometry.rejoin import Joint, touching
from measure.readings.jaw_reach import is_hollow
from measure.readings.readings import MM_PER_INCH, TOUCH, Reading
from measure.subject import Subject

TANGENT_SD_MM = 0.003
"""How exactly tangent neighbours touch."""
TIED_MM = 0.006
"""Neighbours whose gap the photo's covariance holds as tightly as this were fitted tangent; they need no condition."""
EDGE_SD_MM = 0.01
"""What all points of one edge, arc or circle have wrong together, whatever their number: uneven light, the rim's own
roundness. Measured on rendered photos; about a tenth of a pixel."""
EDGE_TURN, SHORTEST_MM = 1.5, 1.0
"""A line's direction is off by so many times that over its length, but over this length at the least (chosen)."""
NUGGET = 1e-9, 1e-14
"""Added to variances, relative and absolute: tangent neighbours leave the covariance all but singular."""
STEP_MM = 1e-4
"""Step of the differences by which the jaws' effect is derived."""
UNKNOWN_THICKNESS_MM = 5.0
"""Standard uncertainty of a thickness on which the photo does not depend."""
MISPLACED = 1.0
"""Standard uncertainty given to a parameter that the photo has wrong, mm (or rad)."""
THICKNESS = "thickness"


@dataclass(frozen=True, slots=True)
class Unknowns:
    """Where each unknown stands.

    Attributes:
        estimate: the photo's features.
        found: the outline's junctions.
        slices: of each feature's parameters.
        m, s: how many feature parameters and shared terms.
        thickness: index of the thickness error.
        own_thickness: the thickness is not one of the shared terms, but an unknown of its own after them.
        zeros, flats: index of each tool's zero and jaw width, by the tool's name.
        size: how many unknowns.
        touch_rows: (t, u) gradients of the conditions that tangent neighbours touch.
        touch_gaps: (t,) how far apart they are, mm.
    """

    estimate: Estimate
    found: tuple[Joint, ...]
    slices: dict[str, slice]
    m: int
    s: int
    thickness: int
    own_thickness: bool
    zeros: dict[str, int]
    flats: dict[str, int]
    size: int
    touch_rows: Array
    touch_gaps: Array


def unknowns(
    estimate: Estimate, found: Sequence[Joint], readings: Sequence[Reading], tools: Mapping[str, Tool]
) -> Unknowns:
    """Lay out the unknowns that these readings need."""
    m, s = estimate.sensitivity.shape
    own = THICKNESS not in estimate.shared_names
    at = m + s + own
    thickness = m + s if own else m + estimate.shared_names.index(THICKNESS)
    names = list(dict.fromkeys(r.tool for r in readings))
    zeroed = [n for n in names if tools[n].zero_mm > 0]
    zeros = {n: at + i for i, n in enumerate(zeroed)}
    at += len(zeros)
    with_flats = [n for n in names if tools[n].flat_u_mm > 0 and not tools[n].leaf]
    flats = {n: at + i for i, n in enumerate(with_flats)}
    size = at + len(flats)
    rows, gaps = touching(estimate.features, found)
    rows = np.hstack([rows, np.zeros((len(rows), size - m))])
    return Unknowns(estimate, tuple(found), estimate.slices(), m, s, thickness, own, zeros, flats, size, rows, gaps)


def prior(
    k: Unknowns, tools: Mapping[str, Tool], looser: float = 1.0, misplaced: Sequence[int] = ()
) -> tuple[Array, Array]:
    """What is known of the unknowns without any reading, tangent neighbours held tangent.

    Args:
        k: the unknowns.
        tools: by name.
        looser: factor on the photo's standard deviations (the thickness, which is no matter of the photo, left out).
        misplaced: numbers of feature parameters that the photo has wrong.

    Returns:
        (u,) mean and (u, u) covariance.
    """
    c = _free_prior(k, tools, looser, misplaced)
    a, gaps = _tangents(k, c)
    if not len(a):
        return np.zeros(k.size), c
    ca = c @ a.T
    gain = np.linalg.solve(a @ ca + np.eye(len(a)) * TANGENT_SD_MM**2, ca.T).T
    # Joseph's form: stays positive where the photo knows one thing a million times better than another
    rest = c - gain @ ca.T
    held = rest - (rest @ a.T) @ gain.T + gain @ gain.T * TANGENT_SD_MM**2
    return -gain @ gaps, (held + held.T) / 2


def predicted(k: Unknowns, tools: Mapping[str, Tool], design: Array, looser: float) -> Array:
    """(n, n) covariance of what the prior predicts for n observations: design @ prior @ design.T, and cheaper.

    Args:
        k, tools, looser: as for `prior`.
        design: (n, u).
    """
    c = _free_prior(k, tools, looser, ())
    a, _ = _tangents(k, c)
    both = np.vstack([design, a])
    q, n = both @ c @ both.T, len(design)
    if not len(a):
        return q
    held = q[n:, n:] + np.eye(len(a)) * TANGENT_SD_MM**2
    return np.asarray(q[:n, :n] - q[:n, n:] @ np.linalg.solve(held, q[n:, :n]))


def _free_prior(k: Unknowns, tools: Mapping[str, Tool], looser: float, misplaced: Sequence[int]) -> Array:
    e = k.estimate
    wide = np.array([1.0 if n == THICKNESS else looser for n in e.shared_names])
    shared = e.shared * np.outer(wide, wide)
    white = e.white * looser**2
    white[np.diag_indices(k.m)] += np.diag(white) * NUGGET[0] + NUGGET[1]
    for j in _dragged_along(k, misplaced):
        white[j, j] += MISPLACED**2
    c = np.zeros((k.size, k.size))
    cross = e.sensitivity @ shared
    p, t = slice(0, k.m), slice(k.m, k.m + k.s)
    c[p, p] = white + cross @ e.sensitivity.T
    c[p, t] = cross
    c[t, p] = cross.T
    c[t, t] = shared + np.diag(np.diag(shared) * 1e-12 + 1e-18)
    if k.own_thickness:
        c[k.thickness, k.thickness] = UNKNOWN_THICKNESS_MM**2
    for name, i in k.zeros.items():
        c[i, i] = tools[name].zero_mm ** 2
    for name, i in k.flats.items():
        c[i, i] = tools[name].flat_u_mm ** 2
    return c


def with_edge_error(estimate: Estimate, edge_sd_mm: float = EDGE_SD_MM) -> Estimate:
    """The estimate with what all points of one feature have wrong together added to its white covariance.

    Args:
        estimate: whose covariance holds the points' own noise and the terms that all features share.
        edge_sd_mm: standard deviation of an offset, centre or radius; 1.5 times as much over the length of a line.
    """
    out: list[float] = []
    for f in estimate.features:
        if f.kind == "line":
            out += [edge_sd_mm, EDGE_TURN * edge_sd_mm / max(length(f), SHORTEST_MM)]
        else:
            out += [edge_sd_mm] * PARAMETERS[f.kind]
    return replace(estimate, white=estimate.white + np.diag(np.array(out) ** 2))


def _dragged_along(k: Unknowns, misplaced: Sequence[int]) -> list[int]:
    """The parameters themselves, and the centres of arcs that run tangent into the features they belong to."""
    out = list(misplaced)
    for j in misplaced:
        for joint in k.found:
            one, two = (k.estimate.features[i] for i in (joint.first, joint.second))
            for f, neighbour in ((one, two), (two, one)):
                at = k.slices[f.label]
                if joint.tangent and at.start <= j < at.stop and f.kind == "line" and neighbour.kind == "arc":
                    start = k.slices[neighbour.label].start
                    out += [start, start + 1]
    return list(dict.fromkeys(out))


def _tangents(k: Unknowns, c: Array) -> tuple[Array, Array]:
    """Rows (t, u) and gaps (t,) of the conditions that tangent neighbours touch, as far as `c` does not hold them."""
    loose = np.einsum("ij,ij->i", k.touch_rows @ c, k.touch_rows) > TIED_MM**2
    return k.touch_rows[loose], k.touch_gaps[loose]


@dataclass(frozen=True, slots=True)
class Equation:
    """What a reading should be, and how it changes with the unknowns.

    Attributes:
        size_mm: the size on the part, without the tool's own errors.
        reading_mm: what the tool should show.
        row: (u,) gradient of `reading_mm`.
    """

    size_mm: float
    reading_mm: float
    row: Array


def equation(
    k: Unknowns,
    reading: Reading,
    features: Mapping[str, Feature],
    x: Array,
    thickness_mm: float,
    tools: Mapping[str, Tool],
    subject: Subject = "part",
) -> Equation:
    """The observation equation of a reading.

    Args:
        k: the unknowns.
        reading: what was read.
        features: by label, where they are now.
        x: (u,) unknowns as they are now.
        thickness_mm: the thickness that the photo was traced with.
        tools: by name.
        subject: part or opening.
    """
    tool = tools[reading.tool]
    if reading.kind == "thickness":
        size, row = thickness_mm + float(x[k.thickness]), np.zeros(k.size)
        row[k.thickness] = 1.0
        value = size
    else:
        named = [features[n] for n in reading.features]
        found = size_of(reading.kind, named)
        size, row = found.value_mm, stacked(found, reading.features, k.slices, k.size)
        value = size
        if reading.tool in k.flats:
            at, flat, step = k.flats[reading.tool], tool.flat_mm + float(x[k.flats[reading.tool]]), STEP_MM
            effect = _jaw_effect(reading, named, flat, subject)
            value += effect
            row[at] = (_jaw_effect(reading, named, flat + step, subject) - effect) / step
            for n, f in enumerate(named):
                if is_round(f) and effect:
                    wider = [*named[:n], replace(f, radius=f.radius + step), *named[n + 1 :]]
                    row[k.slices[f.label].stop - 1] += (_jaw_effect(reading, wider, flat, subject) - effect) / step
    if reading.tool in k.zeros:
        value += float(x[k.zeros[reading.tool]])
        row[k.zeros[reading.tool]] = 1.0
    return Equation(size, value, row)


def _jaw_effect(reading: Reading, features: Sequence[Feature], flat_mm: float, subject: Subject) -> float:
    """How much the jaws' flats add to the size, mm: a bore reads short, a web between round walls long."""
    if reading.kind == "bore":
        return -bore_shortfall_mm(2 * as_round(features[0]).radius, flat_mm)
    if reading.kind == "web":
        hollows = [f.radius for f in features if is_round(f) and is_hollow(f, subject)]
        return sum(hollow_rise_mm(r, flat_mm) for r in hollows)
    return 0.0


def key(reading: Reading) -> tuple[str, frozenset[str], str]:
    """Readings with the same key are repeats of each other."""
    return reading.kind, frozenset(reading.features), reading.tool


def reading_covariance(readings: Sequence[Reading], tools: Mapping[str, Tool]) -> Array:
    """(n, n) covariance of readings, mm²: repeats of one reading share a part of their error."""
    u = [uncertainty(tools[r.tool], TOUCH[r.kind], r.value_mm) for r in readings]
    out = np.diag([x.single_mm**2 + _rounding_mm(r) ** 2 for x, r in zip(u, readings, strict=True)])
    repeats: dict[tuple[str, frozenset[str], str], list[int]] = {}
    for i, r in enumerate(readings):
        repeats.setdefault(key(r), []).append(i)
    for rows in repeats.values():
        for i, j in itertools.product(rows, repeat=2):
            out[i, j] += min(u[i].common_mm, u[j].common_mm) ** 2
    return out


def _rounding_mm(reading: Reading) -> float:
    """Standard uncertainty from the last place of an inch value, mm; in millimetres the tool's step covers it."""
    if reading.unit == "mm":
        return 0.0
    if "/" in reading.written:
        return resolution(MM_PER_INCH / float(reading.written.rpartition("/")[2]))
    return resolution(MM_PER_INCH * 10.0 ** -len(reading.written.partition(".")[2]))

"""Oblique edges and theoretical corners, whatever else is left, and overall sizes in brackets."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

import numpy as np

from measure.dimensioning.gauging import OVERALL, Stated, crossing
from measure.dimensioning.scheme.places import from_main
from measure.dimensioning.scheme.scheme import Scheme, off_deg
from measure.dimensioning.scheme.values import End, PlannedDimension
from measure.geometry.features import FINE_MM, Feature, Line, Round, by_loop, flatten, is_round, sweep_rad

TAPER_DEG = (15, 75)
"""Between these an angle tells an edge best; a slighter taper is better told by its ends (common practice)."""
AT_RIM_MM = 0.02
"""A feature that comes so near to the part's rim reaches it."""
AT_SIDE_MM = 0.3
"""A dimension whose ends lie so near to the part's rim, together, tells the overall size (chosen)."""


def oblique(scheme: Scheme) -> None:
    """Edges that are neither level nor upright: their theoretical corners, and their angles to their neighbours."""
    straight = [*scheme.lines[True], *scheme.lines[False]]
    edges = [f for f in scheme.features if f.kind == "line" and f not in straight and f.label not in scheme.teeth]
    for f in edges:
        near = [g for g in _neighbours(scheme, f) if g in straight]
        near.sort(key=lambda g: _between_deg(scheme, f, g))
        far = [g for g in (*scheme.datum[False][:1], *scheme.datum[True][:1], *straight[:1]) if g not in near]
        if not (near and TAPER_DEG[0] < _between_deg(scheme, f, near[0]) < TAPER_DEG[1]):
            for g in near:  # a slight taper is better told by its ends than by an angle
                _corner(scheme, f, g)
        for g in (*near, *far):
            scheme.angle("angle", (f.label, g.label))
        for g in near:
            _corner(scheme, f, g)
        for g in _neighbours(scheme, f):
            if g in edges:
                _corner_of_two(scheme, f, g)
    for i, f in enumerate(edges):
        for g in edges[:i]:
            if _between_deg(scheme, f, g) < 3:
                scheme.linear("distance", g, f, None)
        if not straight:
            for a, b in _bearings(scheme):
                scheme.angle("bearing", (f.label, a.label, b.label))


def _between_deg(scheme: Scheme, a: Feature, b: Feature) -> float:
    return off_deg(scheme.shapes[a.label].s, scheme.shapes[b.label].s)


def _bearings(scheme: Scheme) -> list[tuple[Round, Round]]:
    """Pairs of centres that an edge's direction may be told against."""
    centres = [*scheme.rounds, *(g for g in scheme.features if g.kind == "arc" and scheme.is_known(g))]
    out = []
    for i, a in enumerate(centres):
        for b in centres[i + 1 :]:
            if math.dist(a.centre, b.centre) > 2:
                out.append((a, b))
    if scheme.toothed:  # one tooth says how all of them stand
        on_teeth = [p for p in out if scheme.teeth & {p[0].label, p[1].label}]
        out = [p for p in out if p not in on_teeth] + on_teeth[:1]
    return out[:12]


def _neighbours(scheme: Scheme, f: Feature) -> list[Line]:
    """Edges next to this one, over a fillet at most."""
    loop = by_loop(scheme.features)[f.loop]
    i, n = loop.index(f), len(loop)
    out = []
    for step in (1, -1):
        for reach in (1, 2):
            g = loop[(i + step * reach) % n]
            if g.kind == "line" and g is not f:
                out.append(g)
                break
            if g in scheme.rounds or g.kind == "curve":
                break
    return out


def _corner(scheme: Scheme, f: Feature, g: Feature) -> None:
    """The theoretical corner of an oblique edge f and a straight one g, from its mirror image or from the datum."""
    at = crossing(scheme.shapes[f.label], scheme.shapes[g.label])
    if not scheme.is_near(at):
        return
    up = g in scheme.lines[False]
    here = End((at,), 1.0, (f.label, g.label))
    i, j = scheme.features.index(f), scheme.features.index(g)
    for axis in scheme.axes:
        if scheme.upright(axis.angle_rad) == up and axis.partner[i] != i:
            m, n = scheme.features[axis.partner[i]], scheme.features[axis.partner[j]]
            there = End((crossing(scheme.shapes[m.label], scheme.shapes[n.label]),), 1.0, (m.label, n.label))
            labels = (f.label, g.label, m.label, n.label)
            scheme.take("corners", labels, partial(_between, up, here, there))
            return
    datum = scheme.datum[up]
    if datum and datum[0] is not f:
        corner = (f.label, g.label, datum[0].label)
        scheme.take("corner", corner, partial(_between, up, here, scheme.end(datum[0], up)))


def _corner_of_two(scheme: Scheme, f: Feature, g: Feature) -> None:
    """The theoretical corner of two oblique edges, from both datum edges."""
    at = crossing(scheme.shapes[f.label], scheme.shapes[g.label])
    if not scheme.is_near(at):
        return
    corner = End((at,), 1.0, (f.label, g.label))
    for up in (True, False):
        if scheme.datum[up]:
            datum = scheme.datum[up][0]
            scheme.take("corner", (f.label, g.label, datum.label), partial(_between, up, corner, scheme.end(datum, up)))


def _between(up: bool, a: End, b: End, stated: Stated) -> PlannedDimension:
    """A size measured level (up) or upright."""
    return PlannedDimension("linear", stated, direction_rad=0.0 if up else math.pi / 2, ends=(a, b))


def rest(scheme: Scheme) -> None:
    """Whatever still pins something down: flats of bores, centres of arcs."""
    if not scheme.free.left:
        return
    arcs = [f for f in scheme.features if f.kind == "arc" and f.label not in scheme.slot_ends()]
    arcs.sort(key=lambda f: -abs(sweep_rad(f)))
    for f in arcs[:24]:
        if f.label in scheme.teeth or f.label not in scheme.free.loose() or not scheme.is_known(f):
            continue
        for up in (True, False):
            if scheme.datum[up]:
                scheme.linear("offset", f, scheme.datum[up][0], up)
            elif scheme.main is not None and f is not scheme.main:
                from_main(scheme, f, up)
    _turned_parts(scheme)


def _turned_parts(scheme: Scheme) -> None:
    """How a flat or a group of holes is turned against the outline."""
    if not scheme.free.left or scheme.lines[True] or scheme.lines[False]:
        return
    loose = set(scheme.free.loose()) - scheme.teeth
    for f in (g for g in scheme.features if g.kind == "line" and g.label in loose):
        for a, b in _bearings(scheme):
            scheme.angle("bearing", (f.label, a.label, b.label))


def auxiliary(scheme: Scheme) -> None:
    """Overall sizes that no other dimension tells, in brackets: they follow from the rest."""
    for up in (True, False):
        if not _is_told(scheme, up):
            _over_round_ends(scheme, up)
        if not _is_told(scheme, up):
            scheme.wanted.append(replace(_extent(scheme, up), auxiliary=True))


def _is_told(scheme: Scheme, up: bool) -> bool:
    """Whether a dimension runs from one side of the part to the other, level (up) or upright, or over all tips of its
    teeth."""
    k = 0 if up else 1
    if any(w.form == "tips" for w in scheme.wanted):
        return True
    for w in scheme.wanted:
        if w.form == "linear" and w.ends and off_deg(w.direction_rad, 0.0 if up else math.pi / 2) < 1:
            at = sorted(float(np.mean([p[k] for p in e.points])) for e in w.ends)
            middle, half = sum(at) / 2, w.stated.value / 2
            if abs(middle - half - scheme.low[k]) + abs(middle + half - scheme.high[k]) < AT_SIDE_MM:
                return True
    return False


def _extent(scheme: Scheme, up: bool) -> PlannedDimension:
    """From the outermost points on one side to those on the other, as sure as places are on the whole."""
    k = 0 if up else 1
    ends, labels = [], []
    for at in (scheme.low[k], scheme.high[k]):
        far = [(f, p) for f in scheme.features if f.loop == 0 for p in flatten(f, FINE_MM)]
        f, p = min(far, key=lambda e: abs(e[1][k] - at))
        ends.append(End(((float(p[0]), float(p[1])),), 1.0))
        labels.append(f.label)
    size = float(scheme.high[k] - scheme.low[k])
    return _between(up, ends[0], ends[1], Stated(OVERALL, (labels[0], labels[1]), size, scheme.tolerance))


def _over_round_ends(scheme: Scheme, up: bool) -> None:
    """The size over straight edges and round ends along the part's sides, where it has them."""
    k = 0 if up else 1
    a, b = _rim(scheme, k, scheme.low[k]), _rim(scheme, k, scheme.high[k])
    if a is None or b is None or a is b or a.kind == b.kind == "line":
        return
    kind, labels = _over(scheme, a, b, up)
    if kind:
        ends = (_far_side(scheme, a, scheme.low[k], up), _far_side(scheme, b, scheme.high[k], up))
        scheme.wanted.append(replace(_between(up, *ends, scheme.gauge(kind, labels)), auxiliary=True))


def _far_side(scheme: Scheme, f: Feature, at: float, up: bool) -> End:
    if not is_round(f):
        return scheme.end(f, up)
    return End(((at, f.centre[1]) if up else (f.centre[0], at),), 1.0)


def _rim(scheme: Scheme, k: int, at: float) -> Feature | None:
    """The outer feature that reaches the part's rim, if it is a straight edge along it or a round end."""
    for f in sorted(scheme.features, key=lambda f: f.kind != "line"):
        if f.loop == 0 and np.abs(flatten(f, FINE_MM)[:, k] - at).min() < AT_RIM_MM:
            if f.kind == "arc" and f in scheme.rounds:
                return f
            if f.kind == "line" and f in scheme.lines[k == 0]:
                return f
    return None


def _over(scheme: Scheme, a: Feature, b: Feature, up: bool) -> tuple[str, tuple[str, ...]]:
    """Kind and labels of the size over two features, outside to outside."""
    if "line" in (a.kind, b.kind):
        return "reach", (a.label, b.label)
    if scheme.upright_or_none(a, b) == up:
        return "stretch", (a.label, b.label)
    along = scheme.longest(not up)
    return ("stretch", (a.label, b.label, along.label)) if along is not None else ("", ())

"""Which dimensions a drawing of an outline carries: all that are needed, none that follows from the others.

Sizes are proposed in the order in which a draughtsperson thinks of them (bores, slots, overall sizes, widths across a
centre line, positions from the datum edges, fillets, angles) and each is taken only if it removes freedom that is left
(measure.dimensioning.scheme.freedom). What no proposal pins down is named, so that the drawing can list it in a table.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from measure.dimensioning.gauging import Gauge, acute_deg, shape_of
from measure.dimensioning.scheme import holes, oblique, places, teeth
from measure.dimensioning.scheme.groups import located, main_direction, openings
from measure.dimensioning.scheme.scheme import Scheme, mirror_fit
from measure.dimensioning.scheme.values import Plan
from measure.geometry.features import Feature, by_loop, length
from measure.geometry.motion import Motion
from measure.geometry.symmetry import mirror_axes

STRAIGHT_ENOUGH = math.radians(0.3)
"""A part that lies this straight already is drawn as it lies."""
MANY = 30
"""More dimensions than this on one sheet are unreadable: the busiest loop goes into a table."""

MIRRORED_MM = 0.2
"""How far a mirrored piece may lie from its partner, where nobody says how exactly places are known."""
TYPICAL_MM = 0.03, 0.05, 0.2
"""How well places are known: at the best, where nothing says so, and at the worst (chosen)."""


def datum_turn(features: Sequence[Feature], tolerance_mm: float = MIRRORED_MM) -> float:
    """The smallest turn (rad) that brings the part's mirror axis, else its main edges, level or upright.

    Args:
        features: all loops.
        tolerance_mm: how far a mirrored piece may lie from its partner.
    """
    axes = mirror_axes(features, tolerance_mm)
    angles = [a.angle_rad for a in axes] or [main_direction(features, located(features, openings(features)))]
    quarter = math.pi / 2
    turns = [-((a + quarter / 2) % quarter - quarter / 2) for a in angles]
    turn = min(turns, key=abs)
    return 0.0 if abs(turn) < STRAIGHT_ENOUGH else turn


def plan_dimensions(features: Sequence[Feature], gauge: Gauge) -> Plan:
    """Choose the dimensions of a part.

    Args:
        features: all loops, in their own frame.
        gauge: says how large a size is and how sure.
    """
    tolerance = _typical_u95(features, gauge)
    turn = datum_turn(features, mirror_fit(tolerance))
    scheme = Scheme(tuple(Motion(turn).of(f) for f in features), gauge, tolerance)
    places.tie_frame(scheme)
    holes.bores(scheme)
    holes.flats(scheme)
    holes.windows_and_slots(scheme)
    places.overall(scheme)
    teeth.teeth(scheme)
    holes.patterns(scheme)
    places.levels(scheme)
    for up in (True, False):
        places.mirror_widths(scheme, up)
    places.round_ends(scheme)
    places.positions(scheme)
    places.edges(scheme)
    places.fillets(scheme)
    oblique.oblique(scheme)
    oblique.rest(scheme)
    oblique.auxiliary(scheme)
    loose = _loose(scheme)
    return Plan(
        turn,
        scheme.features,
        tuple(scheme.wanted),
        (scheme.datum_label(True), scheme.datum_label(False)),
        tuple(scheme.axes),
        scheme.turning,
        tuple(scheme.shared),
        tuple(scheme.pitches),
        loose,
    )


def _typical_u95(features: Sequence[Feature], gauge: Gauge) -> float:
    """How well places are known on the whole, mm, within reason."""
    lines = sorted((f for f in features if f.kind == "line"), key=lambda f: -length(f))[:6]
    rounds = located(features, openings(features))[:6]
    pairs: list[tuple[str, Feature, Feature]] = [
        ("distance", a, b) for a, b in itertools.permutations(lines, 2) if _near_parallel(a, b)
    ]
    pairs += [("offset", c, e) for c in rounds for e in lines[:2]]
    pairs += [("centres", a, b) for a, b in itertools.pairwise(rounds)]
    u = [s.u95 for k, a, b in pairs if (s := gauge(k, (a.label, b.label))).u95 is not None]
    return min(max(float(np.median(u)) if u else TYPICAL_MM[1], TYPICAL_MM[0]), TYPICAL_MM[2])


def _near_parallel(a: Feature, b: Feature) -> bool:
    return acute_deg(shape_of(a).s - shape_of(b).s) < 3


def _loose(scheme: Scheme) -> tuple[str, ...]:
    """What the table has to give: whatever no dimension pins down, one tooth of a wheel, the busiest loop."""
    loose = {x for x in scheme.free.loose() if not x.startswith("/")}
    if scheme.turning is not None and scheme.teeth:
        outer = [f.label for f in scheme.features if f.loop == 0]
        loose = loose - scheme.teeth | set(outer[: len(outer) // scheme.turning.order])
    if len(scheme.wanted) > MANY:
        crowd = {f.label for f in max(by_loop(scheme.features).values(), key=len)}
        scheme.wanted = [
            w
            for w in scheme.wanted
            if w.auxiliary or w.stated.labels in scheme.overall or crowd.isdisjoint(w.stated.labels)
        ]
        loose |= crowd
        scheme.datum = {True: [], False: []}
    return tuple(f.label for f in scheme.features if f.label in loose)

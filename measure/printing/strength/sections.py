"""The thinnest sections of an outline: where a circle that rolls through the material is squeezed most.

At every point of the outline the largest circle is known that touches there and lies in the material (the sphere
measure of wall thickness; its centres are the medial axis, Blum 1967). Where it touches the outline on two nearly
opposite sides the place is a wall, and the circle's diameter its thickness. Places along the outline are tried at a
pitch, each local minimum is then closed in upon to the last digit, on the features themselves. Its uncertainty follows
from the features' covariance: when side i moves outwards by d_i, where the outward normal is N_i, the circle's centre c
and radius r move so that N_i · dc + dr = d_i.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from calib.arrays import Array
from calib.tools.budget import K95
from measure.geometry.features import Estimate, Feature, Point, direction, is_round, middle
from measure.geometry.rejoin import heading
from measure.printing.strength.walls import SHARP_DEG, Labels, WallPiece, pieces_of, sampled

OPPOSITE = math.cos(math.radians(180 - SHARP_DEG))
"""Sides whose normals are less than 135° apart make a corner, not a wall."""
BESIDE = math.cos(math.radians(30))
"""A contact this close to the first is the outline's own course there, not another side."""
SHARP_MM = 0.02
"""Two sides this close to each other run out into a sharp corner."""
PLACES = 6000
"""How many places along the outline are tried, about."""
TIED = 1e-6
"""Relative difference of radii that counts as none."""

PITCH_MM = 0.03, 0.25
"""Places along an outline lie so far apart, at the least and at the most."""
SAME_PLACE, SAME_SIZE = 0.01, 0.001
"""Sections that lie nearer, and are no thicker, than these shares of their size are one."""
PROMINENT = 0.02, 0.03
"""A thin place is one when the section about it is thicker by this, mm, and by this share (chosen)."""
TRIED, TURNS = 13, 14
"""Places tried between two in each turn, and turns: each leaves a sixth of the stretch."""
HAIR, HAIR_MM = 1e-4, 1e-6
"""How far beyond a place that was found a wall may end: share of its half thickness, and mm."""
CORNER = 0.1
"""Sides that meet at less, sine, make hardly a corner: both move alike."""


@dataclass(frozen=True, slots=True)
class Section:
    """A thinnest section of a wall.

    Attributes:
        value_mm: thickness: the diameter of the circle that fits between the sides.
        u95_mm: the truth lies within ± this, 19 times in 20; None where a side is a free curve, which has no
            covariance.
        place: the circle's centre.
        ends: where it touches the two sides.
        sides: labels of the feature on each side, or of the two features that meet in a corner there.
    """

    value_mm: float
    u95_mm: float | None
    place: Point
    ends: tuple[Point, Point]
    sides: tuple[Labels, Labels]


def thin_sections(estimate: Estimate) -> list[Section]:
    """Every local minimum of wall thickness, the thinnest first, one for each pair of sides.

    Args:
        estimate: the outline and its covariance; material on the left of travel.
    """
    loops = pieces_of(estimate.features)
    outline = Outline(tuple(sorted((p for loop in loops for p in loop), key=lambda p: p.is_corner)))
    pitch = min(max(sum(p.size_mm for p in outline.pieces) / PLACES, PITCH_MM[0]), PITCH_MM[1])
    squeezes = [x for loop in loops for x in _squeezed(outline, loop, pitch)]
    found: dict[frozenset[Labels], Section] = {}
    for x, s in zip(squeezes, _closed_in(outline, squeezes), strict=True):
        section = _section(outline, x, s, estimate)
        if section is not None:
            pair = frozenset(section.sides)
            if pair not in found or section.value_mm < found[pair].value_mm - 1e-9:
                found[pair] = section
    return _each_once(sorted(found.values(), key=lambda x: (round(x.value_mm, 6), len(sum(x.sides, ())))))


def _each_once(sections: Sequence[Section]) -> list[Section]:
    """Without those that a circle already stands for: a circle touches a joint and the features that meet there."""
    kept: list[Section] = []
    for s in sections:
        if all(
            math.dist(s.place, k.place) > SAME_PLACE * k.value_mm or s.value_mm > (1 + SAME_SIZE) * k.value_mm
            for k in kept
        ):
            kept.append(s)
    return kept


@dataclass(frozen=True, slots=True)
class Outline:
    """All pieces; corners come after the others, so that a tie goes to the feature."""

    pieces: tuple[WallPiece, ...]

    def contacts(self, own: NDArray[np.intp], points: Array, normals: Array) -> Iterator[tuple[Array, Array, Array]]:
        """For each piece the radii (n,) at which it is met, directions (n, 2) to it, and their cosine (n,) to the
        direction of the point that the circle touches; infinite radii where it is met beside that point only.

        Args:
            own: (n,) which piece each point lies on.
            points: (n, 2) on the outline.
            normals: (n, 2) inward there.
        """
        at_corner = np.array([p.is_corner for p in self.pieces])[own]
        for k, piece in enumerate(self.pieces):
            rho, to = piece.touch(points, normals)
            cosine = -np.einsum("ij,ij->i", normals, to)
            # a circle that touches a corner touches, within rounding, the ends of both edges there
            beside = (cosine > BESIDE) | (own == k) | (at_corner & (rho < SHARP_MM / 4))
            yield np.where(beside, np.inf, rho), to, cosine

    def thickness(self, own: NDArray[np.intp], points: Array, normals: Array) -> NDArray[np.float64]:
        """(n,) thickness of the wall behind each point, infinite where it is no wall."""
        # within a round the circle grows no larger than the round itself
        rounds = np.array([np.inf if p.radius_mm is None or p.hollow else p.radius_mm for p in self.pieces])
        largest, wall = rounds[own], np.full(len(points), np.inf)
        for rho, _, cosine in self.contacts(own, points, normals):
            largest = np.minimum(largest, rho)
            wall = np.minimum(wall, np.where(cosine <= OPPOSITE, rho, np.inf))
        return np.where(wall <= largest * (1 + TIED), 2 * wall, np.inf)


@dataclass(frozen=True, slots=True)
class Squeeze:
    """A local minimum among the places that were tried.

    Attributes:
        piece: its index in the outline.
        low, start, high: the places before, at and after it, along the piece.
        at_end: the wall ends beside it.
    """

    piece: int
    low: float
    start: float
    high: float
    at_end: bool


def _squeezed(outline: Outline, loop: Sequence[WallPiece], pitch_mm: float) -> list[Squeeze]:
    """Local minima along a loop."""
    index = {id(p): k for k, p in enumerate(outline.pieces)}
    taken = [(p, sampled(p, pitch_mm)) for p in loop]
    s = np.concatenate([x for _, x in taken])
    own = np.concatenate([np.full(len(x), index[id(p)], np.intp) for p, x in taken])
    points, normals = (np.concatenate(x) for x in zip(*(p.places(x) for p, x in taken), strict=True))
    t = outline.thickness(own, points, normals)
    if not np.isfinite(t).any():
        return []
    beyond = 2 * float(t[np.isfinite(t)].max()) + 1
    first = int(np.argmax(np.where(np.isfinite(t), t, beyond)))  # start where no minimum is cut in two
    s, own, t = np.roll(s, -first), np.roll(own, -first), np.roll(t, -first)
    level = np.round(np.where(np.isfinite(t), t, beyond), 6)
    peaks, about = find_peaks(np.concatenate([[-beyond], -level, [-beyond]]), prominence=0.0)
    out = []
    for peak, prominence in zip(peaks - 1, about["prominences"], strict=True):
        if not np.isfinite(t[peak]) or prominence < max(PROMINENT[0], PROMINENT[1] * t[peak]):
            continue
        before, after = (peak - 1) % len(t), (peak + 1) % len(t)
        low = s[before] if own[before] == own[peak] and s[before] < s[peak] else s[peak]
        high = s[after] if own[after] == own[peak] and s[after] > s[peak] else s[peak]
        at_end = not (np.isfinite(t[before]) and np.isfinite(t[after]))
        out.append(Squeeze(int(own[peak]), float(low), float(s[peak]), float(high), at_end))
    return out


def _closed_in(outline: Outline, squeezes: Sequence[Squeeze]) -> list[float]:
    """The places of least thickness between the places about them; the start itself where a wall is even."""
    if not squeezes:
        return []

    def thickness(s: Array) -> Array:
        at = [outline.pieces[x.piece].places(row) for x, row in zip(squeezes, s, strict=True)]
        points, normals = (np.concatenate(x) for x in zip(*at, strict=True))
        own = np.repeat(np.array([x.piece for x in squeezes], np.intp), s.shape[1])
        return outline.thickness(own, points, normals).reshape(s.shape)

    low, start, high = (np.array([getattr(x, k) for x in squeezes]) for k in ("low", "start", "high"))
    even = thickness(start[:, None])[:, 0]
    best, value, each = start, even, np.arange(len(start))
    for _ in range(TURNS):
        s = np.linspace(low, high, TRIED, axis=1)
        t = thickness(s)
        i = t.argmin(1)
        better = t[each, i] < value
        best, value = np.where(better, s[each, i], best), np.where(better, t[each, i], value)
        low, high = s[each, np.maximum(i - 1, 0)], s[each, np.minimum(i + 1, TRIED - 1)]
    return [float(x) for x in np.where(value < even - 1e-7, best, start)]


# ------------------------------------------------------------------------------------------------------ one section
def _section(outline: Outline, squeeze: Squeeze, s: float, estimate: Estimate) -> Section | None:
    """The section at a place; None where it is no wall: a sharp corner, or a wall that fades into one."""
    piece = outline.pieces[squeeze.piece]
    points, normals = piece.places(np.array([s]))
    p, n = points[0], normals[0]
    met = [(rho[0], to[0]) for rho, to, _ in outline.contacts(np.array([squeeze.piece]), points, normals)]
    rho, to = np.array([x for x, _ in met]), np.array([x for _, x in met])
    facing = np.flatnonzero(-(to @ n) <= OPPOSITE)
    other = int(facing[np.argmin(rho[facing])])
    radius = float(rho[other])
    if 2 * radius < SHARP_MM:
        return None
    centre = p + radius * n
    touched = [(piece, -n), (outline.pieces[other], to[other])]
    apart = (np.abs(to @ n) < BESIDE) & (np.abs(to @ to[other]) < BESIDE)
    third = np.flatnonzero(apart & (rho <= radius * (1 + HAIR) + HAIR_MM))
    if squeeze.at_end:
        if not len(third):
            return None
        touched.append((outline.pieces[int(third[0])], to[third[0]]))
    ends = [_point(centre + radius * side) for _, side in touched[:2]]
    return Section(
        2 * radius,
        _u95(touched, centre, radius, estimate),
        _point(centre),
        (ends[0], ends[1]),
        (touched[0][0].labels, touched[1][0].labels),
    )


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])


def _u95(touched: Sequence[tuple[WallPiece, Array]], centre: Array, radius: float, estimate: Estimate) -> float | None:
    """Half-width of the interval that holds the diameter 19 times in 20."""
    features = {f.label: f for f in estimate.features}
    if any(features[x].kind == "curve" for piece, _ in touched[:2] for x in piece.labels):
        return None
    slices, covariance = estimate.slices(), estimate.covariance()
    rows = np.array(
        [outward([features[x] for x in p.labels], centre + radius * n, n, slices, len(covariance)) for p, n in touched]
    )
    shares = np.array([0.5, 0.5])
    if len(touched) == 3:
        m = np.array([[n[0], n[1], 1.0] for _, n in touched])
        shares = np.linalg.solve(m.T, [0.0, 0.0, 1.0])
    gradient = 2 * shares @ rows
    return K95 * math.sqrt(max(float(gradient @ covariance @ gradient), 0.0))


def outward(features: Sequence[Feature], at: Array, normal: Array, slices: dict[str, slice], m: int) -> Array:
    """(m,) how far the outline at a point moves along a normal with each of the stacked parameters.

    Args:
        features: the one that the point lies on, or the two that meet in it, in the order of travel.
        at: (2,) the point, mm.
        normal: (2,) outward unit vector; the features' own but for a corner.
        slices, m: where each feature's parameters stand, and how many there are (`Estimate.slices`).
    """
    if len(features) == 1:
        row = np.zeros(m)
        f = features[0]
        if f.kind == "line":
            row[slices[f.label]] = [1.0, -float((at - middle(f)) @ direction(f))]
        elif is_round(f):
            row[slices[f.label]] = [*normal, math.copysign(1.0, float((at - np.array(f.centre)) @ normal))]
        return row
    own = [_normal(features[0], True), _normal(features[1], False)]
    each = np.array([outward([f], at, n, slices, m) for f, n in zip(features, own, strict=True)])
    across = own[0][0] * own[1][1] - own[0][1] * own[1][0]
    if abs(across) < CORNER:  # hardly a corner: both sides move alike
        return np.asarray(each.mean(0))
    return np.asarray(normal @ np.linalg.solve(np.array(own), each))


def _normal(f: Feature, at_end: bool) -> Array:
    """(2,) outward normal of a feature at its start or end."""
    if f.kind == "curve":
        (ax, ay), (bx, by) = f.points[-2:] if at_end else f.points[:2]
        ahead = np.array([bx - ax, by - ay]) / math.hypot(bx - ax, by - ay)
    elif f.kind == "circle":
        raise ValueError(f"{f.label} has no ends")
    else:
        ahead = heading(f, at_end)
    return np.array([ahead[1], -ahead[0]])

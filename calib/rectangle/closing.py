"""Quadrilaterals that stretches of straight line close.

A base that ends where two other lines begin, and a fourth line across those, make a quadrilateral; how much of its
outline was seen, and how little of its lines runs on past its corners, ranks it (the lines of a printed grid or of wood
run on, the sides of a card do not). Where no fourth line was found, it is put where the known proportions want it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.rectangle.seen_shape import far_side, likeness
from calib.rectangle.segments import SeenLines

Index = NDArray[np.intp]

REACH, REACH_SHARE = 0.45, 0.06
"""How far a corner may lie beyond what was seen of a base: as a share of that, and of the picture's long side."""
OVERHANG, OVERHANG_FINE = 0.15, 0.4
"""How far a base may run on past its corners, as a share of its length; and what running on costs any side."""
SHORTEST_SIDE = 0.025
"""Shortest side, as a share of the picture's long side."""
WORST_SIDE = 0.1
"""Least share of a side that must have been seen; a card may match its table along much of one side."""
UNSEEN_SIDE = 0.3
"""What a fourth side counts that was put in where none was seen."""
CARD_BONUS = 0.5
"""What the right proportions count against a fully seen outline (2.0)."""
FAINT_BONUS, FAINT_RANK = 1.5, 1.3
"""The same where the faint are given a chance, and who is one of them: a side was not seen."""
WORST_RANK = 0.7
FAMILY = 0.06
"""Quadrilaterals whose corners lie this near each other, as a share of their size, are readings of one thing."""
OVERHANG_MOST, STARTING, WHOLE = 0.3, 0.6, 0.9
"""A line goes beyond a corner by no more than this share of the reach; it may start a quadrilateral from this share of
the shortest side on; a side seen for so much of its length is seen whole (chosen)."""
LEAST_LEGS, LEAST_LEG, LONGEST_LEG = 0.5, 0.25, 4.0
"""Legs of a quadrilateral: the shorter against the longer, and against the base, at least; the longer against the base,
at most (chosen)."""
FAMILY_RANK, SAME_PX = 0.4, 1.5
"""Of quadrilaterals that share a place those near the best in rank stay; nearer than this two are one (chosen)."""


@dataclass(frozen=True, slots=True)
class Camera:
    """What the search needs to know of the camera, px of the reduced picture, and the ratio of sides looked for."""

    size_px: tuple[int, int]
    focal_px: float
    ratio: float

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point: the middle."""
        return ((self.size_px[0] - 1) / 2, (self.size_px[1] - 1) / 2)

    def likeness(self, corners: Array) -> Array:
        """(m,) see `calib.rectangle.seen_shape.likeness`."""
        return likeness(corners, self.focal_px, self.centre_px, self.ratio)


def close(lines: SeenLines, camera: Camera, families: int) -> Array:
    """(m, 4, 2) quadrilaterals that stretches close, best first, up to three readings of each family; px."""
    if len(lines) < 3:
        return np.empty((0, 4, 2))
    t, met = _crossings(lines)
    seen = SeenLengths.of(lines, camera.size_px)
    base, a, b = _bases(lines, t, met, max(camera.size_px))
    quality = seen.quality(base, t[base, a], t[base, b])
    good = quality > WORST_SIDE
    base, a, b, quality = base[good], a[good], b[good], quality[good]
    found = [_with_fourth(lines, t, met, seen, base, a, b, quality, SHORTEST_SIDE * max(camera.size_px))]
    found += [_without_fourth(lines, t, seen, base, a, b, quality, camera, d) for d in (camera.ratio, 1 / camera.ratio)]
    corners = np.concatenate([f[0] for f in found])
    each = np.concatenate([f[1] for f in found])
    rank = each.mean(1) + each.min(1)
    return _distinct(corners, rank, camera.likeness(corners), families)


def _crossings(lines: SeenLines) -> tuple[Array, NDArray[np.bool_]]:
    """(n, n) where each line is crossed by each other, px along it; and whether they cross at a fair angle."""
    u, p = lines.along, lines.point
    cross = u[:, None, 0] * u[None, :, 1] - u[:, None, 1] * u[None, :, 0]
    met = np.abs(cross) > 0.5
    d = p[None] - p[:, None]
    t = (d[..., 0] * u[None, :, 1] - d[..., 1] * u[None, :, 0]) / np.where(met, cross, 1)
    return np.where(met, t, np.nan), met


def _bases(lines: SeenLines, t: Array, met: NDArray[np.bool_], long_side: float) -> tuple[Index, Index, Index]:
    """Every line with a leg at either end: index arrays of the base, the leg at its beginning and that at its end."""
    length = (lines.last - lines.first)[:, None]
    before, after = lines.first[:, None] - t, t - lines.last[:, None]
    most = REACH_SHARE * long_side
    reach, over = np.minimum(REACH * length, most), np.minimum(OVERHANG * length, OVERHANG_MOST * most)
    with np.errstate(invalid="ignore"):
        near = met & (t.T > (lines.first[:, None] - reach).T) & (t.T < (lines.last[:, None] + reach).T)
        at_first = near & (before < reach) & (before > -over)
        at_last = near & (after < reach) & (after > -over)
    base, a, b = [], [], []
    for i in np.flatnonzero(length[:, 0] > STARTING * SHORTEST_SIDE * long_side):
        first, last = np.meshgrid(np.flatnonzero(at_first[i]), np.flatnonzero(at_last[i]), indexing="ij")
        keep = first.ravel() != last.ravel()
        a.append(first.ravel()[keep])
        b.append(last.ravel()[keep])
        base.append(np.full(int(keep.sum()), i))
    if not base:
        nothing = np.empty(0, np.intp)
        return nothing, nothing, nothing
    return np.concatenate(base), np.concatenate(a), np.concatenate(b)


def _with_fourth(
    lines: SeenLines,
    t: Array,
    met: NDArray[np.bool_],
    seen: SeenLengths,
    base: Index,
    a: Index,
    b: Index,
    quality: Array,
    shortest: float,
) -> tuple[Array, Array]:
    """(m, 4, 2) corners and (m, 4) quality of the sides, for every fourth line across each base and its two legs."""
    run_a, run_b = t[a] - t[a, base][:, None], t[b] - t[b, base][:, None]
    facing = np.sign((lines.along[a] * lines.along[b]).sum(1))[:, None]
    length = np.abs(t[base, a] - t[base, b])[:, None]
    with np.errstate(invalid="ignore"):
        ok = met[a] & met[b] & (run_a * run_b * facing > 0)
        run_a, run_b = np.abs(run_a), np.abs(run_b)
        shorter, longer = np.minimum(run_a, run_b), np.maximum(run_a, run_b)
        ok &= (shorter > shortest) & (shorter > LEAST_LEGS * longer)
        ok &= (longer < LONGEST_LEG * length) & (shorter > LEAST_LEG * length)
    which, k = np.nonzero(ok)
    sides, each = np.stack([base[which], b[which], k, a[which]], 1), [quality[which]]
    for i in (2, 1, 3):
        side, before, after = sides[:, i], sides[:, i - 1], sides[:, (i + 1) % 4]
        found = seen.quality(side, t[side, before], t[side, after])
        good = found > WORST_SIDE
        sides, each = sides[good], [x[good] for x in (*each, found)]
    corners = lines.point[sides] + t[sides, np.roll(sides, 1, 1)][..., None] * lines.along[sides]
    return corners, np.stack(each, 1)


def _without_fourth(
    lines: SeenLines,
    t: Array,
    seen: SeenLengths,
    base: Index,
    a: Index,
    b: Index,
    quality: Array,
    camera: Camera,
    depth: float,
) -> tuple[Array, Array]:
    """As `_with_fourth`, the fourth side put where the known proportions want it; corners may lie outside the photo."""
    corner_a = lines.point[base] + t[base, a][:, None] * lines.along[base]
    corner_b = lines.point[base] + t[base, b][:, None] * lines.along[base]
    at_a, at_b = t[a, base], t[b, base]
    # along each leg towards where more of it was seen
    way_a = np.where(lines.first[a] + lines.last[a] > 2 * at_a, 1.0, -1.0)
    way_b = np.where(lines.first[b] + lines.last[b] > 2 * at_b, 1.0, -1.0)
    along_a, along_b = way_a[:, None] * lines.along[a], way_b[:, None] * lines.along[b]
    far = far_side(corner_a, corner_b, along_a, along_b, depth, camera.focal_px, camera.centre_px)
    run_a = ((far[:, 0] - corner_a) * along_a).sum(1)
    run_b = ((far[:, 1] - corner_b) * along_b).sum(1)
    with np.errstate(invalid="ignore"):
        good = ((along_a * along_b).sum(1) > 0) & (np.minimum(run_a, run_b) > 0.5 * np.maximum(run_a, run_b))
        good &= np.isfinite(far).all((1, 2)) & (quality > 0.5)
    if not good.any():
        return np.empty((0, 4, 2)), np.empty((0, 4))
    a, b, at_a, at_b, run_a, run_b = (x[good] for x in (a, b, at_a, at_b, way_a * run_a, way_b * run_b))
    corners = np.stack([corner_a[good], corner_b[good], far[good, 1], far[good, 0]], 1)
    legs = [seen.quality(x, s, s + r) for x, s, r in ((b, at_b, run_b), (a, at_a, run_a))]
    return corners, np.stack([quality[good], legs[0], np.full(len(a), UNSEEN_SIDE), legs[1]], 1)


@dataclass(frozen=True, slots=True)
class SeenLengths:
    """How much of each line was seen up to every position: (n, 2 span) running sums, px; and the positions (n,) where
    the line enters and leaves the picture."""

    sums: Array
    enters: Array
    leaves: Array
    span: int

    @classmethod
    def of(cls, lines: SeenLines, size_px: tuple[int, int]) -> SeenLengths:
        """From stretches in a picture of this size."""
        half = int(np.hypot(*size_px)) + 2
        seen = np.zeros((len(lines), 2 * half), np.float32)
        for row, pieces in zip(seen, lines.pieces, strict=True):
            for first, last in np.clip(np.round(pieces).astype(int) + half, 0, 2 * half):
                row[first:last] = 1
        u = np.where(np.abs(lines.along) < 1e-9, 1e-9, lines.along)
        ends = np.sort(np.stack([-lines.point / u, (np.array(size_px) - 1 - lines.point) / u], 2), 2)
        return cls(np.cumsum(seen, 1), ends[..., 0].max(1), ends[..., 1].min(1), half)

    def between(self, line: Index, first: Array, last: Array) -> Array:
        """(m,) px seen of each line between two positions."""
        low, high = (np.clip(np.round(x).astype(int) + self.span, 0, 2 * self.span - 1) for x in (first, last))
        return np.asarray(self.sums[line, high] - self.sums[line, low])

    def quality(self, line: Index, p: Array, q: Array) -> Array:
        """(m,) of a line as a side from p to q: the share seen of what lies in the picture, less a fine for what runs
        on past the corners."""
        low, high = np.minimum(p, q), np.maximum(p, q)
        side = np.maximum(high - low, 1)
        beyond = self.between(line, low - 0.5 * side, low) + self.between(line, high, high + 0.5 * side)
        low, high = np.maximum(low, self.enters[line]), np.minimum(high, self.leaves[line])
        share = np.minimum(self.between(line, low, high) / (WHOLE * np.maximum(high - low, 1)), 1)
        return np.asarray(share - OVERHANG_FINE * beyond / side)


def _distinct(corners: Array, rank: Array, like: Array, families: int) -> Array:
    """The best quadrilaterals, family by family: of each the likeliest, the outermost and the best seen.

    Which of a family's nested outlines is the thing's own, and which is a printed frame's or a shadow's, is for a
    closer look to tell. A few more are chosen mainly by their proportions: cards that are faint beside bolder things.
    Further families are chosen by their outline alone, one of each: things that are not the reference.
    """
    likely, alike = rank + CARD_BONUS * like, rank + FAINT_BONUS * like
    pool = np.unique(np.r_[np.argsort(-likely, kind="stable")[:400], np.argsort(-rank, kind="stable")[:100]])
    pool = pool[rank[pool] > WORST_RANK]
    corners = _turned_alike(corners[pool])
    good = _convex(corners)
    corners = corners[good]
    rank, likely, alike = rank[pool][good], likely[pool][good], alike[pool][good]
    alike = np.where(rank < FAINT_RANK, alike, -np.inf)
    area = _area(corners)
    out: list[Array] = []
    free = np.ones(len(corners), bool)
    for value, most in ((likely, families), (alike, families // 2), (rank, families // 2 + 1)):
        for _ in range(most):
            if not (free & np.isfinite(value)).any():
                break
            best = int(np.where(free, value, -np.inf).argmax())
            family = free & (_apart(corners, corners[best]) < FAMILY * np.sqrt(area[best]))
            free &= ~family
            sound = family & (rank > rank[family].max() - FAMILY_RANK)
            members = [best]
            if value is not rank:
                members += [int(np.where(sound, area, 0).argmax()), int(np.where(family, rank, 0).argmax())]
            for i in dict.fromkeys(members):
                if all(_apart(corners[[i]], o)[0] > SAME_PX for o in out):
                    out.append(corners[i])
    return np.array(out) if out else np.empty((0, 4, 2))


def _turned_alike(q: Array) -> Array:
    """(m, 4, 2) all in the same sense of turning."""
    d = np.roll(q, -1, 1) - q
    turn = d[:, 0, 0] * d[:, 1, 1] - d[:, 0, 1] * d[:, 1, 0]
    return np.where((turn < 0)[:, None, None], q[:, ::-1], q)


def _convex(q: Array) -> NDArray[np.bool_]:
    d = np.roll(q, -1, 1) - q
    e = np.roll(d, -1, 1)
    return np.asarray((d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0] > 0).all(1))


def _area(q: Array) -> Array:
    n = np.roll(q, -1, 1)
    return np.asarray(np.abs((q[..., 0] * n[..., 1] - q[..., 1] * n[..., 0]).sum(1)) / 2)


def _apart(q: Array, other: Array) -> Array:
    """(m,) the farthest that a corner of each lies from that of another quadrilateral, whichever is counted first."""
    far = [np.hypot(*np.moveaxis(q - np.roll(other, k, 0), -1, 0)).max(1) for k in range(4)]
    return np.asarray(np.min(far, 0))

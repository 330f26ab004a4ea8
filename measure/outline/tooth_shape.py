"""One tooth as straight flanks with a fillet, or none, where two of them meet: how many is a matter of evidence.

The mean of all teeth is known to a fraction of what a single one is, so its shape is fitted as a whole: lines, corners
and fillets that touch both of their lines, and of all numbers of lines the one that explains the mean best for what it
costs (G. Schwarz, "Estimating the dimension of a model", 1978). Lines are left out one after the other, each time the
one that is missed least.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from calib.arrays import Array
from measure.outline.drafts import LEAST_POINTS
from measure.outline.moments import running_sums
from measure.outline.pieces import Index, Mask, Pieces
from measure.outline.segmentation import CutCosts

SYSTEMATIC_MM, OVER_MM = 0.006, 0.3
"""What the mean tooth has wrong however many are averaged, and over what length it is the same error: shade in a
corner, blur (32 wheels)."""
ROUNDED = 0.7
"""Share of the blur by which corners are rounded, when edges are located along the mean tooth; fillets are moved
inwards of their bend by all of it, since contact shadows add to it (31 wheels)."""
FINEST = 0.25
"""Share of the full price at which lines are cut that are then left out again (chosen)."""
TRIED = 2
"""So many of the shortest lines are tried without (chosen)."""
FEWEST, MOST = 2, 16
"""Lines a tooth has."""
STEPS, QUICK_STEPS = 8, 2
"""Of a fit, and of one that only shows whether a line is missed."""
LEAST_TURN_RAD, MOST_TURN_RAD = 0.05, 2.9
"""What two lines turn by where they meet."""
FIRST_FILLET = 0.4
"""Share of the room that a fillet is given before it is fitted (chosen)."""
NEGLIGIBLE = 1e-6
TIGHT_MM = 0.05
"""A tighter fillet is a sharp corner."""
UNFIT = 30.0
"""What overlapping fillets cost, per millimetre, as many standard deviations (chosen)."""
CUT_OFF = 3.0
"""Residuals beyond so many standard deviations count linearly (Huber)."""
ROUNDED_OFF, ROUNDED_BY, MOST_BENT = 0.8, (1.1, 0.47), 0.3
"""As in `measure.outline.joining`."""
GAIN = 1e-3
"""A step that betters the fit by less is the last one (chosen)."""
STIFFER, SOFTER, STIFFEST = 10.0, 5.0, 1e4
"""The damping grows and falls by these factors, and a fit ends that needs it so many times as large (chosen)."""
DAMPING, STEP_MM = 1e-3, 1e-4
"""Of a step, as a share of the normal equations' diagonal; and for slopes (chosen)."""


@dataclass(frozen=True, slots=True)
class ToothShape:
    """Lines of one tooth and the fillets where each meets the next one.

    Attributes:
        angle: (k,) directions of travel, rad; offset: (k,) of the lines to the left of the wheel's centre, mm.
        radius: (k,) of the fillet after each line, mm; 0 for a sharp corner.
        step: from a tooth to the next in travel, rad.
        cost: half of minus twice the logarithm of the likelihood, and the price of its parameters.
        chi: root mean square of the residuals in their standard deviations.
    """

    angle: Array
    offset: Array
    radius: Array
    step: float
    cost: float = math.inf
    chi: float = math.inf

    def __len__(self) -> int:
        return len(self.angle)


@dataclass(frozen=True, slots=True)
class MeanTooth:
    """The mean tooth.

    Attributes:
        points: (m, 2) about the wheel's centre, in order of travel, mm; sigma: (m,) standard deviations.
        step: from a tooth to the next in travel, rad.
        independent: points that one independent point stands for.
        blur_mm: standard width of the edge's blur, of averaging along it as well.
    """

    points: Array
    sigma: Array
    step: float
    independent: float
    blur_mm: float

    @classmethod
    def of(cls, points: Array, sigma: Array, step: float, blur_mm: float) -> MeanTooth:
        """With what the mean may have wrong of itself, and over how many points."""
        spacing = float(np.median(np.hypot(*np.diff(points, axis=0).T)))
        return cls(points, np.hypot(sigma, SYSTEMATIC_MM), step, max(OVER_MM / spacing, 1.0), blur_mm)

    @property
    def price(self) -> float:
        """Of one parameter, in halves of chi-squared: the logarithm of the number of independent points."""
        return math.log(max(len(self.points) / self.independent, LEAST_POINTS)) / 2


def shape_of(profile: MeanTooth) -> ToothShape | None:
    """The shape that explains the mean tooth for the least; None where it is no chain of lines and fillets."""
    p = profile
    return _shape_of(p.points.tobytes(), p.sigma.tobytes(), p.step, p.independent, p.blur_mm)


@lru_cache(maxsize=8)
def _shape_of(points: bytes, sigma: bytes, step: float, independent: float, blur_mm: float) -> ToothShape | None:
    """The same; an outline is fitted several times to one mean tooth."""
    profile = MeanTooth(np.frombuffer(points).reshape(-1, 2), np.frombuffer(sigma), step, independent, blur_mm)
    now = _first(profile)
    if now is None:
        return None
    now = _fitted(now, profile, STEPS)
    best = now
    while len(now) > FEWEST:
        shortest = np.argsort(_straight(now))[:TRIED]
        tries = [t for i in shortest if (t := _without(now, int(i), profile)) is not None]
        if not tries:
            break
        now = _fitted(min((_fitted(t, profile, QUICK_STEPS) for t in tries), key=lambda t: t.cost), profile, STEPS)
        best = min(best, now, key=lambda t: t.cost)
    best = _fitted(best, profile, STEPS)
    return _with_sharp_corners(best, profile)


def pieces_of(shape: ToothShape, profile: MeanTooth) -> tuple[Index, Mask, Pieces, Mask]:
    """First points, kinds, pieces and tangencies of one tooth, the first piece being the first that begins in it.

    Pieces that no point is nearest to are left out: lines between two fillets that meet.
    """
    which, _ = _nearest(shape, profile.points)
    k = len(shape)
    changed = np.flatnonzero(which != np.append(which[-1] - 2 * k, which[:-1]))
    kinds = which % 2 == 1
    own, tooth = (which // 2) % k, (which // 2) // k - 1
    pieces = _as_pieces(shape, own[changed], kinds[changed], tooth[changed])
    tangent = kinds[changed] | kinds[changed - 1]
    return changed, kinds[changed], pieces, tangent


def _as_pieces(shape: ToothShape, own: Index, arc: Mask, tooth: Index) -> Pieces:
    corner, turn, _ = _corners(shape)
    start, end = _ends(shape)
    angle = np.where(arc, shape.angle[own] + turn[own] / 2, shape.angle[own])
    sense, r = np.sign(turn[own]), shape.radius[own]
    out = np.stack([np.sin(angle), -np.cos(angle)], 1) * sense[:, None]  # away from the fillet's centre
    reach = r * (1 / np.cos(turn[own] / 2) - 1)
    at = np.where(arc[:, None], corner[own] - out * reach[:, None], (start[own] + end[own]) / 2)
    by = tooth * shape.step
    c, s = np.cos(by), np.sin(by)
    at = np.stack([c * at[:, 0] - s * at[:, 1], s * at[:, 0] + c * at[:, 1]], 1)
    return Pieces(at, angle + by, np.where(arc, sense / np.maximum(r, TIGHT_MM), 0.0), arc)


def _first(profile: MeanTooth) -> ToothShape | None:
    """Lines only, more than are needed."""
    m = len(profile.points)
    three = np.concatenate([_turned(profile.points, k * profile.step) for k in (-1, 0, 1)])
    sums = running_sums(three, 1 / np.tile(profile.sigma, 3) ** 2)
    first, _ = CutCosts(sums).cut(1 / profile.independent, 2 * FINEST * profile.price, arcs=False)
    stop = np.append(first[1:], 3 * m)
    own = (first >= m) & (first < 2 * m) & (stop - first > 1)
    got = sums.pieces(first[own], stop[own], np.zeros(int(own.sum()), bool))
    keep = np.argsort(np.argsort(first[own] - stop[own])) < MOST
    angle, origin = got.angle[keep], got.origin[keep]
    if len(angle) < FEWEST:
        return None
    offset = -np.sin(angle) * origin[:, 0] + np.cos(angle) * origin[:, 1]
    shape = ToothShape(angle, offset, np.zeros(len(angle)), profile.step)
    turn = _corners(shape)[1]
    while (np.abs(turn) < LEAST_TURN_RAD).any() and len(shape) > FEWEST:
        i = int(np.abs(turn).argmin())
        shape = _dropped(shape, i)
        turn = _corners(shape)[1]
    return shape


def _dropped(shape: ToothShape, i: int) -> ToothShape:
    keep = np.arange(len(shape)) != i
    return replace(shape, angle=shape.angle[keep], offset=shape.offset[keep], radius=shape.radius[keep])


def _without(shape: ToothShape, i: int, profile: MeanTooth) -> ToothShape | None:
    """The shape without a line, its neighbours meeting in a fillet."""
    less = _dropped(shape, i)
    k = len(less)
    corner, turn, _ = _corners(less)
    j = (i - 1) % k
    if not LEAST_TURN_RAD < abs(turn[j]) < MOST_TURN_RAD or not np.isfinite(corner[j]).all():
        return None
    radius = less.radius.copy()
    radius[j] = 0.0
    start, end = _ends(replace(less, radius=radius))
    along = np.stack([np.cos(less.angle), np.sin(less.angle)], 1)
    length = ((end - start) * along).sum(1)
    room = min(length[j], length[(j + 1) % k])
    if room <= 0:
        return None
    radius[j] = FIRST_FILLET * room / math.tan(abs(turn[j]) / 2)
    return replace(less, radius=radius)


def _with_sharp_corners(shape: ToothShape, profile: MeanTooth) -> ToothShape:
    """Fillets that are not worth their parameter made sharp, the tightest first."""
    for _ in range(len(shape)):
        rounded = np.flatnonzero(shape.radius > 0)
        if not len(rounded):
            break
        i = int(rounded[shape.radius[rounded].argmin()])
        radius = shape.radius.copy()
        radius[i] = 0.0
        sharp = _fitted(replace(shape, radius=radius), profile, STEPS)
        if sharp.cost >= shape.cost:
            break
        shape = sharp
    return shape


def _fitted(shape: ToothShape, profile: MeanTooth, steps: int) -> ToothShape:
    """The shape fitted to the mean tooth, and what it costs: least squares, far points counting linearly."""
    k, rounded = len(shape), np.flatnonzero(shape.radius > 0)
    x = np.concatenate([shape.angle, shape.offset, shape.radius[rounded]])

    def at(x: Array) -> ToothShape:
        radius = np.zeros(k)
        radius[rounded] = np.maximum(x[2 * k :], TIGHT_MM)
        return replace(shape, angle=x[:k], offset=x[k : 2 * k], radius=radius)

    def left(x: Array) -> Array:
        s = at(x)
        return np.concatenate([_residuals(s, profile), UNFIT * np.maximum(-_straight(s), 0)])

    def costs(r: Array) -> float:
        size = np.abs(r)
        return float(np.where(size < CUT_OFF, size**2 / 2, CUT_OFF * size - CUT_OFF**2 / 2).sum())

    r = left(x)
    now, damping = costs(r), DAMPING
    for _ in range(steps):
        j = np.stack([(left(x + STEP_MM * e) - r) / STEP_MM for e in np.eye(len(x))], 1)
        w = np.minimum(1, CUT_OFF / np.maximum(np.abs(r), 1e-9))
        a, b = (j * w[:, None]).T @ j, (j * w[:, None]).T @ r
        step = -np.linalg.solve(a + np.diag(damping * np.diag(a) + NEGLIGIBLE), b)
        fresh = left(x + step)
        then = costs(fresh)
        if not then < now:
            damping *= STIFFER
            if damping > STIFFEST * DAMPING:
                break
            continue
        gain, x, r, now, damping = now - then, x + step, fresh, then, max(damping / SOFTER, NEGLIGIBLE)
        if gain < GAIN:
            break
    own = r[: len(profile.points)]
    parameters = 2 * k + len(rounded)
    cost = now / profile.independent + profile.price * parameters
    return replace(at(x), cost=cost, chi=float(np.sqrt(np.mean(own**2))))


def _residuals(shape: ToothShape, profile: MeanTooth) -> Array:
    """(m,) distances of the mean tooth's points from a shape, in standard deviations."""
    which, off = _nearest(shape, profile.points)
    k = len(shape)
    _, turn, _ = _corners(shape)
    own = (which // 2) % k
    arc = which % 2 == 1
    r = np.maximum(shape.radius[own], TIGHT_MM)
    shift = np.where(arc, np.sign(turn[own]) * np.minimum(profile.blur_mm / (2 * r), MOST_BENT) * profile.blur_mm, 0.0)
    return np.asarray((off - shift) / np.hypot(profile.sigma, _corner_sd(shape, profile)))


def _corner_sd(shape: ToothShape, profile: MeanTooth) -> Array:
    """(m,) by what blur may have rounded a sharp corner off: half of the bend's, at each point."""
    corner, turn, _ = _corners(shape)
    points, width = profile.points, ROUNDED * profile.blur_mm
    sharp = np.flatnonzero(shape.radius == 0)
    by_u, by_square = ROUNDED_BY
    size = width * np.sin(np.abs(turn[sharp]) / 2) * ROUNDED_OFF
    out = np.zeros(len(points))
    for k in (-1, 0, 1):
        at = _turned(corner[sharp], k * shape.step)
        u = np.hypot(points[:, None, 0] - at[None, :, 0], points[:, None, 1] - at[None, :, 1]) / width
        out = np.maximum(out, (size * np.exp(-by_u * u - by_square * u * u)).max(1, initial=0.0))
    return out


def _corners(shape: ToothShape) -> tuple[Array, Array, Array]:
    """Where each line meets the next one (k, 2), how far it turns there (k,) and how far the fillet's ends lie from
    there (k,)."""
    a, h = shape.angle, shape.offset
    b = np.append(a[1:], a[0] + shape.step)
    g = np.append(h[1:], h[0])
    turn = np.remainder(b - a + np.pi, 2 * np.pi) - np.pi
    s = np.sin(b - a)
    s = np.where(np.abs(s) < 1e-6, np.where(s < 0, -1e-6, 1e-6), s)
    corner = np.stack([(h * np.cos(b) - g * np.cos(a)) / s, (h * np.sin(b) - g * np.sin(a)) / s], 1)
    return corner, turn, shape.radius * np.tan(np.minimum(np.abs(turn), MOST_TURN_RAD) / 2)


def _ends(shape: ToothShape) -> tuple[Array, Array]:
    """(k, 2) where the straight part of each line begins and ends."""
    corner, _, tangent = _corners(shape)
    along = np.stack([np.cos(shape.angle), np.sin(shape.angle)], 1)
    before = np.vstack([_turned(corner[-1:], -shape.step), corner[:-1]])
    return before + np.roll(tangent, 1)[:, None] * along, corner - tangent[:, None] * along


def _straight(shape: ToothShape) -> Array:
    """(k,) lengths of the straight parts, negative where fillets overlap."""
    start, end = _ends(shape)
    return np.asarray((end - start)[:, 0] * np.cos(shape.angle) + (end - start)[:, 1] * np.sin(shape.angle))


def _nearest(shape: ToothShape, points: Array) -> tuple[Index, Array]:
    """Of each point the nearest piece, of a tooth between its neighbours, and its distance to the left of that.

    Pieces are numbered line, fillet, line, …, beginning with the tooth before.
    """
    _, turn, _ = _corners(shape)
    start, end = _ends(shape)
    sense = np.sign(turn)
    r = shape.radius
    normal = np.stack([-np.sin(shape.angle), np.cos(shape.angle)], 1)
    centre = end + (sense * r)[:, None] * normal
    middle = shape.angle + turn / 2
    outward = np.stack([np.sin(middle), -np.cos(middle)], 1) * sense[:, None]
    half, length = np.cos(np.abs(turn) / 2), _straight(shape)
    p = np.stack([_turned(points, -t * shape.step) for t in (-1, 0, 1)])[:, :, None]  # (3, m, 1, 2)
    cos, sin = np.cos(shape.angle), np.sin(shape.angle)
    dx, dy = p[..., 0] - start[:, 0], p[..., 1] - start[:, 1]
    along, left = cos * dx + sin * dy, cos * dy - sin * dx
    by_line = np.copysign(np.hypot(left, np.maximum(np.maximum(-along, along - length), 0)), left)
    ex, ey = p[..., 0] - centre[:, 0], p[..., 1] - centre[:, 1]
    far = np.maximum(np.hypot(ex, ey), 1e-9)
    inside = (r > 0) & (ex * outward[:, 0] + ey * outward[:, 1] >= half * far)
    by_fillet = np.where(inside, sense * (r - far), np.inf)
    off = np.stack([by_line, by_fillet], 3).transpose(1, 0, 2, 3).reshape(len(points), -1)
    which = np.abs(off).argmin(1)
    return which, off[np.arange(len(points)), which]


def _turned(points: Array, angle: float) -> Array:
    c, s = math.cos(angle), math.sin(angle)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))

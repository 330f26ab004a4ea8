"""From evidence to the region that is the part: a core that crisp edges enclose, then the cheapest cut, twice."""

from __future__ import annotations

from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from measure.silhouette.evidence import Evidence, filled
from measure.silhouette.mincut import cheapest_region
from measure.silhouette.standing import wall_below
from measure.silhouette.tabletop import F32, Mask, disc

T = TypeVar("T", bound=np.generic)

_PLUG_MM = 0.3  # gaps in an edge that are bridged on each side when flooding
_FAINT = 0.06  # crispness per mm at which an edge on a smooth table begins to count
_TRUST = 0.4  # of colours against edges when the boundary is sought
_OTHER = 3.0  # how much commoner a colour is along a stroke than in the part, to count as what the stroke marks
_REACH_MM = 2.5  # how far beyond the blob the part may go
_NOISES = 3.0
"""So many times what the table's texture mostly reaches an edge is one (with _FAINT): three standard deviations,
about."""

# The first guess: what a square millimetre is worth, in _COST_MM of boundary where there is no edge.
_OWN_COLOUR = 0.4
"""Share of a core that can't be table in shadow, from which on the part has a colour of its own."""
_ODD = 2.0, 0.5
"""A colour is odd from the second over the first on, of strangeness, and wholly so one over the first farther."""
_COLOUR_GAIN, _TABLE_LOSS, _PLAIN_TABLE = 0.3, 0.06, 2.5
"""What is gained by a colour that can't be shadow; lost by the table's own; and from which strangeness on it is none:
one over this."""
_SHADOW = {"opening": 0.02, "own": -0.015, "other": 0.01}
"""Worth of what could be shadow: in an opening most likely its wall; beside a part with a colour of its own shadow."""
_QUIET_GAIN, _QUIET_LEAST = {True: 0.02, False: 0.06}, {True: 0.0, False: -0.5}
"""Worth of missing texture, and the least of it, for a part with a colour of its own and without."""
_COST_MM = 2.3
"""Boundary that weighs as much as a square millimetre that is worth 1."""
_DEEP, _STROKES_APART = 0.7, 0.8
"""Share of the greatest depth from which on a core is surely part; how far round the blob, mm, no part begins."""

# Cores that crisp edges enclose.
_CREST_MM, _CREST_NEAR_MM = 0.5, 0.4
"""How far round a pixel the crest of its edge is looked for: to part along it, and to tell how well a core is
fenced."""
_LEAST_COST, _CREST_CHEAP, _ANY_COST = 0.02, 0.85, 0.003
"""Cost of a boundary: least where there is an edge at all; by how much it is less on the crest; and in any case."""
_LEVELS, _LEVEL_NOISE, _LEVEL_LOUD = 5, 1.5, (12, 0.4)
"""Levels at which flooding stops: how many; from so many times the noise; up to so many times it, or this much."""
_LEAST_STRENGTH, _OPEN_MM, _SHRUNK, _NEARLY_BEST = 1e-3, 0.7, 0.2, 0.88
"""Strength added to a level; half the width of what is no core; share of the first core from which on a smaller one is
given up; and share of the best support with which the largest is taken."""

# The region once the colours are known. Worth of a pixel, of _TRUST.
_SURE_MM, _SURE, _SUMMIT_MM = 3.0, 0.55, 4.0
"""Deeper than this, or this share of the depth near by, within such a distance, is surely part, if its surface is."""
_UNKNOWN = 0.008
"""Share of pixels that a colour of neither part nor table counts as."""
_GAIN, _QUIET, _WALL_GAIN, _ELSE = 0.05, 0.03, 0.03, (0.4, 0.1)
"""Worth of a colour of part or table; of texture missing or there; of what may be wall, and of its foot; and how
strange a colour is at least that is of neither, and how much edges leave of what colours are worth."""
_INSIDE = 0.002
"""Least worth of what lies inside the guess."""
_PLAIN_LEAST = 0.4
"""What edges leave at least of what shade is worth."""
_FOOT = 2.5
"""Edges at the foot of an expected wall count from so many times the level on."""
_ROOM_MM = 1.5, 4.0
"""How far beyond the guess the part may go: where no wall is expected, and at all."""
_CLEAN_MM = 0.4
"""Half the width of what is no part of a region."""
_OTHER_SHARE = 0.05
"""Share of a stroke's pixels that a colour has at least to be what it marks."""

# Surfaces of their own.
_FENCE_MM, _LIT, _PIECE_MM = 0.2, 0.3, 0.6
"""Half the width of edges between surfaces; below which a pixel could be shadow; and how far a surface reaches
beyond."""
_FACE_MM, _LARGE, _AS_WALL, _GROWN_MM = 0.3, 0.1, 0.6, (0.8, 0.5)
"""Half the width of what is no face; share of all from which on a piece is one; share of it that may lie where a wall
is seen; and how far it is grown and shrunk again."""
_RUNS_MM, _RUN_MM, _RUNS = 0.35, 2.5, 0.6
"""How far off an edge may run from where a wall ends; half the stretch that is looked at; and share of it that must."""

# Shares of colours.
_BINS, _STEPS, _NEIGHBOURS = (64, 32, 32), 1.5, 0.6
"""Bins of lightness and hues, their width in steps of the table's, and how much a bin's neighbours count for it. All of
these were chosen on the photos of tests/accuracy."""


def largest(mask: Mask, marked: NDArray[np.int8] | None = None) -> Mask:
    """Its largest connected piece; if some are marked with 1 the largest of those."""
    n, label, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
    if n < 2:
        return np.zeros_like(mask)
    area = stats[:, cv2.CC_STAT_AREA].copy()
    area[0] = 0
    if marked is not None and (marked > 0).any():
        meant = np.unique(label[(marked > 0) & (mask > 0)])
        if len(meant):
            area[np.setdiff1d(np.arange(n), meant)] = 0
    return np.asarray(label == int(np.argmax(area)), np.uint8)


def depth_mm(mask: Mask, scale: float) -> F32:
    """(h, w) distance of inner pixels from the mask's boundary, mm."""
    return np.asarray(cv2.distanceTransform(mask, cv2.DIST_L2, 3) / scale, np.float32)


def halve(a: NDArray[T]) -> NDArray[T]:
    """Every second pixel both ways."""
    return np.ascontiguousarray(a[::2, ::2])


def first_guess(seen: Evidence, subject: str) -> Mask | None:
    """The part, about: at half the window's resolution, without knowledge of its colours."""
    scale = seen.px_per_mm / 2
    blob, card = halve(seen.blob), halve(seen.card)
    crisp = halve(np.asarray(cv2.dilate(seen.crisp, np.ones((3, 3), np.uint8)), np.float32))
    marked = halve(seen.marked)
    core = enclosed_core(crisp, blob, card, scale, seen.noise, seen.loud)
    core[marked > 0], core[marked < 0] = 1, 0
    if not core.any():
        return None
    smooth = (halve(np.asarray(cv2.blur(a, (3, 3)), np.float32)) for a in (seen.strange, seen.lit, seen.untinted))
    strange, lit, untinted = smooth
    lit = np.where(core > 0, lit, untinted)  # what crisp edges fence off from the part may be table tinted by it
    own = bool(lit[core > 0].mean() > _OWN_COLOUR)
    doubt = (1 - lit) * np.clip(strange * _ODD[0] - _ODD[1], 0, 1)
    shadow = _SHADOW["opening" if subject == "opening" else "own" if own else "other"]
    gain = _COLOUR_GAIN * lit - _TABLE_LOSS * np.clip(1 - strange * _PLAIN_TABLE, 0, 1) + shadow * doubt
    gain += _QUIET_GAIN[own] * halve(np.clip(seen.quiet, _QUIET_LEAST[own], 1)) * doubt
    deep = depth_mm(core, scale)
    sigma = _NOISES * seen.noise + _FAINT
    gain *= _COST_MM / scale  # worth by area, cost by length
    known = np.zeros(core.shape, np.int8)
    flat = ((deep >= _DEEP * deep.max()) & (crisp < 2 * sigma)).astype(np.uint8)
    known[largest(flat) > 0] = 1
    known[(cv2.dilate(blob, disc(_REACH_MM * scale)) == 0) | (card > 0)] = -1
    known[marked != 0] = marked[marked != 0]
    known[[0, -1]] = -1
    known[:, [0, -1]] = -1
    cost = parting_cost(crisp, scale, sigma)
    region = filled(largest(cheapest_region(gain.astype(np.float32), cost, known), marked))
    h, w = seen.blob.shape
    return np.ascontiguousarray(np.repeat(np.repeat(region, 2, 0), 2, 1)[:h, :w])


def parting_cost(crisp: F32, scale: float, sigma: float) -> F32:
    """(h, w) cost 0…1 of a boundary through each pixel: least on the crest of a crisp edge."""
    crest = cv2.dilate(crisp, disc(_CREST_MM * scale))
    plain = np.exp(-((crisp / sigma) ** 2))
    cheap = _CREST_CHEAP * (1 - plain) * crisp / (crest + 1e-6)
    return np.asarray(np.maximum(plain, _LEAST_COST) * (1 - cheap) + _ANY_COST, np.float32)


def enclosed_core(crisp: F32, blob: Mask, card: Mask, scale: float, noise: float, loud: float) -> Mask:
    """What can't be reached from outside the blob without crossing a crisp edge.

    Flooding stops at edges over a level. Of several levels the one is taken whose core has crisp edges along most of
    its boundary, the largest such core.
    """
    outside = (cv2.dilate(blob, disc(_STROKES_APART * scale)) == 0) | (card > 0)
    outside[[0, -1]] = True
    outside[:, [0, -1]] = True
    plug = disc(_PLUG_MM * scale)
    crest = cv2.dilate(crisp, disc(_CREST_NEAR_MM * scale))

    def support(core: Mask) -> float:
        outlines, _ = cv2.findContours(core, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        line = max(outlines, key=len)[:, 0]
        return float(np.clip(crest[line[:, 1], line[:, 0]] / (_NOISES * loud), 0, 1).mean())

    whole = largest(blob)
    if not whole.any():
        return whole
    cores = [(support(whole), int(whole.sum()), whole)]
    most = max(_LEVEL_LOUD[0] * noise, _LEVEL_LOUD[1])
    for level in np.geomspace(_LEVEL_NOISE * noise + _LEAST_STRENGTH, most, _LEVELS):
        free = cv2.erode((crisp < level).astype(np.uint8), plug) | outside.astype(np.uint8)
        n, label = cv2.connectedComponents(free, connectivity=4)
        flooded = np.zeros(n, np.uint8)
        flooded[np.unique(label[outside])] = 1
        flooded[0] = 0
        core = cv2.morphologyEx(1 - cv2.dilate(flooded[label], plug), cv2.MORPH_OPEN, disc(_OPEN_MM * scale))
        core = filled(largest(core))
        area = int(core.sum())
        if area < _SHRUNK * cores[0][1]:
            break
        cores.append((support(core), area, core))
    best = max(c[0] for c in cores)
    return max((c for c in cores if c[0] > _NEARLY_BEST * best), key=lambda c: c[1])[2]


def refine(seen: Evidence, guess: Mask, subject: str, shifts: list[NDArray[np.float64]]) -> tuple[Mask, Mask]:
    """The part's boundary, in a band round the first guess, knowing the part's and the table's own colours.

    What is neither may be wall or shadow: it is taken for wall where the part's wall can be seen at all.

    Returns:
        (h, w) the part, its holes filled; and (h, w) holes round strokes that mark what is not the part.
    """
    scale = seen.px_per_mm
    sigma = _NOISES * seen.noise + _FAINT
    lit = np.where(guess > 0, seen.lit, seen.untinted)
    inner = depth_mm(guess, scale)
    summit = cv2.dilate(inner, disc(_SUMMIT_MM * scale))
    inside = inner > np.minimum(_SURE_MM, _SURE * summit)
    part, away = seen.marked > 0, seen.marked < 0
    if away.any():
        inside &= ~_other(seen, inside & ~away, away)
    sure = ((inside & _own_surface(seen, inside, sigma)) | part) & ~away
    outer = depth_mm(1 - guess, scale)
    blob = np.asarray(cv2.dilate(seen.blob, disc(1.0 * scale)), np.uint8)
    table = (blob == 0) & (guess == 0) & (cv2.dilate(seen.card, disc(2 * scale)) == 0)
    part_like, table_like = colour_shares(seen, sure, table)
    if part.any() or away.any():
        by_stroke = colour_shares(seen, part, away)
        part_like, table_like = np.maximum(part_like, by_stroke[0]), np.maximum(table_like, by_stroke[1])
    both = part_like + table_like + _UNKNOWN
    face = _face(part_like > 2 * table_like, guess, seen.crisp < 2 * sigma, shifts, scale)
    wall = wall_below(face, shifts) if shifts else np.zeros_like(face)
    # colours on an edge are mixtures and say little
    plain = np.maximum(np.exp(-((seen.crisp / (2 * sigma)) ** 2)), _ELSE[1])
    colour = _GAIN * (part_like - table_like) / both
    unknown = np.where(seen.strange > _ELSE[0], _GAIN * lit, -_QUIET) * _UNKNOWN / both
    shadow = -_GAIN if subject == "part" else _GAIN
    outside = np.where(seen.quiet > 0, shadow + (_QUIET - shadow) * seen.quiet, shadow) * (face == 0)
    foot = (wall > 0) & edge_runs(seen.crisp, face, wall, _FOOT * sigma, scale)
    shade = np.where(wall > 0, _WALL_GAIN, outside * np.maximum(plain, _PLAIN_LEAST)) * (1 - lit)
    shade = shade * (seen.strange > _ELSE[0]) * _UNKNOWN / both
    texture = _QUIET * np.where(lit > 0.5, np.maximum(seen.quiet, 0), seen.quiet)
    gain = _TRUST * ((colour + unknown + texture) * plain + shade)
    gain = np.where(foot, _WALL_GAIN, np.where(inside & ~sure, np.maximum(gain, _INSIDE), gain))
    known = np.zeros(guess.shape, np.int8)
    known[sure] = 1
    known[((outer > _ROOM_MM[0]) & (wall == 0)) | (outer > _ROOM_MM[1]) | (seen.card > 0)] = -1
    known[part], known[away] = 1, -1
    known[[0, -1]] = -1
    known[:, [0, -1]] = -1
    cost = parting_cost(seen.crisp, scale, sigma)
    cut = largest(cheapest_region(gain.astype(np.float32), cost, known), seen.marked)
    region = filled(largest(cv2.morphologyEx(filled(cut), cv2.MORPH_OPEN, disc(_CLEAN_MM * scale)), seen.marked))
    return region, touched(np.asarray(region & (1 - cut), np.uint8), away)


def _other(seen: Evidence, inside: NDArray[np.bool_], away: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(h, w) what has the colours of strokes that mark what is not the part, rather than those of its inside."""
    own, other = colour_shares(seen, inside, away)
    return np.asarray((other > _OTHER * own) & (other > _OTHER_SHARE))


def touched(mask: Mask, by: NDArray[np.bool_]) -> Mask:
    """(h, w) the connected pieces of a mask that something touches."""
    n, label = cv2.connectedComponents(mask, connectivity=4)
    there = np.zeros(n, np.uint8)
    there[np.unique(label[by])] = 1
    there[0] = 0
    return np.asarray(there[label], np.uint8)


def _own_surface(seen: Evidence, inside: NDArray[np.bool_], sigma: float) -> NDArray[np.bool_]:
    """(h, w) 0 on flat pieces, fenced off by crisp edges, that could as well be table in shadow: a notch perhaps."""
    scale = seen.px_per_mm
    flat = cv2.erode((seen.crisp < 2 * sigma).astype(np.uint8), disc(_FENCE_MM * scale)) & inside.astype(np.uint8)
    n, label, stats, _ = cv2.connectedComponentsWithStats(flat, connectivity=4)
    area = stats[:, cv2.CC_STAT_AREA].astype(float)
    shaded = ((seen.lit < _LIT) & (seen.quiet < 0.5)).astype(np.float32)
    share = np.bincount(label.ravel(), shaded.ravel(), minlength=n) / np.maximum(area, 1)
    own = (area >= 0.5 * area[1:].max(initial=0)) | (share < 0.5)
    own[0] = False
    near = cv2.dilate((own[label] & (flat > 0)).astype(np.uint8), disc(_PIECE_MM * scale))
    other = cv2.dilate((~own[label] & (flat > 0)).astype(np.uint8), disc(_PIECE_MM * scale))
    return np.asarray((near > 0) & (other == 0))


def _face(
    like: NDArray[np.bool_], guess: Mask, flat: NDArray[np.bool_], shifts: list[NDArray[np.float64]], scale: float
) -> Mask:
    """The upper face: flat pieces of the part's colours, less those that lie where the largest one's wall is seen.

    Edges are left out: the mixture of a dark wall and a light table looks like a grey face.
    """
    pieces = cv2.morphologyEx((like & (guess > 0) & flat).astype(np.uint8), cv2.MORPH_OPEN, disc(_FACE_MM * scale))
    n, label, stats, _ = cv2.connectedComponentsWithStats(pieces, connectivity=4)
    area = stats[:, cv2.CC_STAT_AREA]
    large = area > _LARGE * pieces.sum()
    large[0] = False
    if shifts and n > 2:
        main = cv2.dilate((label == 1 + int(np.argmax(area[1:]))).astype(np.uint8), disc(_FACE_MM * scale))
        as_wall = np.bincount(label.ravel(), wall_below(main, shifts).ravel(), minlength=n)
        large &= as_wall < _AS_WALL * area
    face = cv2.dilate(large[label].astype(np.uint8), disc(_GROWN_MM[0] * scale))
    return filled(cv2.erode(face, disc(_GROWN_MM[1] * scale)))


def edge_runs(crisp: F32, face: Mask, wall: Mask, least: float, scale: float) -> NDArray[np.bool_]:
    """(h, w) where a crisp edge runs along the outer boundary of an expected wall.

    A wall may have any colour, the table's as well; an edge at the place that thickness and view predict tells it.
    """
    both = face | wall
    line = ((both > 0) & (cv2.erode(both, disc(1)) == 0) & (depth_mm(1 - face, scale) > 0.5)).astype(np.float32)
    edge = cv2.dilate(crisp, disc(_RUNS_MM * scale)) > least
    window = (2 * round(_RUN_MM * scale) + 1,) * 2
    return np.asarray(cv2.blur(line * edge, window) > _RUNS * cv2.blur(line, window) + 1e-6)


def colour_shares(seen: Evidence, part: NDArray[np.bool_], table: NDArray[np.bool_]) -> tuple[F32, F32]:
    """(h, w) twice: the share of the part's and of the table's known pixels that have about a pixel's colour."""
    size = _BINS
    step = seen.step * np.float32(_STEPS)
    bins = np.zeros(part.shape, np.int32)
    for k, n in enumerate(size):
        i = np.rint(seen.colour[..., k] * (1 / step[k])).astype(np.int32) + n // 2
        bins = bins * n + np.clip(i, 0, n - 1)
    out = []
    for which in (part, table):
        count = np.bincount(bins[which], minlength=size[0] * size[1] * size[2]).astype(np.float32).reshape(size)
        for axis in range(3):
            count = _spread_along(count, axis)
        out.append((count / max(float(which.sum()), 1.0)).ravel()[bins])
    return out[0], out[1]


def _spread_along(a: F32, axis: int) -> F32:
    """Add to each bin three fifths of its neighbours along one axis."""
    out = a.copy()
    to, back = [slice(None)] * 3, [slice(None)] * 3
    to[axis], back[axis] = slice(1, None), slice(None, -1)
    out[tuple(to)] += _NEIGHBOURS * a[tuple(back)]
    out[tuple(back)] += _NEIGHBOURS * a[tuple(to)]
    return out

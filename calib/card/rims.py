"""A card's sides once more, by the model of what its rims look like: finer than any edge, and honest about doubt.

Which of a narrow wall's two rims was found before is not trusted: both are starting points, and where both explain the
photo nearly as well, half of the way between them is doubt.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.card.rim_fit import NOISE, RimFit, fit_rims
from calib.card.rim_model import INNER_SAMPLES, STEP_PX, Stretches, offsets
from calib.light.optics import Optics
from calib.light.profile import Light
from calib.rectangle.sides import BESIDE_CORNER_MM, CORNER_MARGIN_MM
from calib.view.view import Rectangle, SideEdges, Solution, project, shapes, side_points

STRETCHES, EACH = 10, 24
"""Into how many stretches a side is cut, each the mean of so many profiles across it."""
SHOWN_PX = 0.35
"""A wall that is seen less wide has one rim."""
ALIKE_PX, UNLIKE, FARTHEST_PX = 0.5, 0.4, 6.5
"""Starting points no farther apart are one; see `_unlike_face`; and how far off it is looked for."""
FAINT_PX, AROUND_PX = 0.15, (-6.0, -4.0, -2.5, 2.5, 4.0)
"""A side whose place has a larger standard deviation by noise is faint, and there may be another line beside it that
explains the photo nearly as well, a shadow's end for one: so far off it is looked for (of 122 rendered cards eleven had
one; two of these were off by 2 to 5 px, and a white card on white paper gave a scale that was wrong by 0.8 %)."""
LIGHT_DOUBT = 0.0035
"""What the model may be wrong by just at the rim, share of full code: the fainter the step there, the farther off the
rim may be. From rendered photos, whose steps of 2 to 60 hundredths bear it out."""
CLIPPED_DOUBT = 0.2
"""How much a side may be off where the face is overexposed, in some colour at least, in standard deviations of the
blur: how much more light there was, can only be guessed. From rendered photos."""
BURNT_DOUBT = 0.9
"""The same where all colours are cut off: no colour is left to tell how much (a rendered card with 5 times as much
light as a photo holds lay 0.5 to 0.9 px too far out on all sides)."""
LEAST_PX = np.array([0.05, 0.015, 0.02])
"""Least standard deviations of a side's offset, slope and bow. The first from rendered photos, the others chosen."""
LEAST_POINT_PX = 0.015
"""Least standard deviation of one stretch."""
ALONG_SHARE = np.array([1.0, 0.5, 0.15])
"""How much of an error of light is the same along a side, how much of it changes from one end to the other, and how
much from the middle to the ends. From rendered photos."""
THICKNESS_SHARE = 0.05
"""Relative standard deviation of a card's thickness, and so of how wide its wall is seen (ISO/IEC 7810)."""
SEEN_SHARPER = 0.2
"""By so much the sides of a card show sharpening too strong (60 rendered photos: 0.22 ± 0.14)."""
BROADEST_WALL_PX = 3.0
"""A wall seen wider than this has both rims in sight, and its width no more part in the doubt (chosen)."""


@dataclass(frozen=True, slots=True)
class Rims:
    """A card's sides.

    Attributes:
        edges: points along the upper rim of each side, which is what every stretch tells, be the rim or the wall's foot
            the more clearly seen.
        optics: how the photo's edges were softened and sharpened.
        burnt_out: share of the sides along which the face is overexposed in all colours.
    """

    edges: tuple[SideEdges, ...]
    optics: Optics
    burnt_out: float


def rims(light: Light, solution: Solution) -> Rims:
    """A card's four sides located by the model.

    Args:
        light: the photo around the card.
        solution: view and size by its sides as found before, right to about two pixels.
    """
    s, points, normals = _stretches(light, solution)
    fits = _fits(s)
    edges = tuple(_edges(s, k, _unlike(fits, s.side == k, k), points, normals) for k in range(4))
    likely = _likeliest(fits)
    return Rims(edges, Optics(max(likely.sharpening - SEEN_SHARPER, 0.0), likely.blur_px), float(s.burnt_out.mean()))


def _likeliest(fits: list[RimFit]) -> RimFit:
    return min(fits, key=lambda f: float(f.cost.sum()))


def _fits(s: Stretches) -> list[RimFit]:
    """From all that the upper rim may be; if a side is faint, from beside the likeliest as well."""
    fits = [fit_rims(s, start_px) for start_px in _starts(s)]
    likely = _likeliest(fits)
    if likely.shape_px2[:, 0, 0].max() > FAINT_PX**2:
        fits += [fit_rims(s, likely.offset_px + by) for by in AROUND_PX]
    return fits


def _starts(s: Stretches) -> list[Array]:
    """(m,) where the upper rim may lie: where it was found, where it is if the wall's foot was found there, and where,
    from within, it first looks unlike the face: a shadow beyond it may have been taken for the ground's beginning."""
    out = [np.zeros(len(s.side)), np.where(s.wall_px > SHOWN_PX, s.wall_px, 0.0), _unlike_face(s)]
    return [x for k, x in enumerate(out) if all(np.abs(x - o).max() > ALIKE_PX for o in out[:k])]


def _unlike_face(s: Stretches) -> Array:
    """Where, from within, the light of a side is first as unlike the face's as UNLIKE of the most."""
    apart = np.linalg.norm(s.light - s.light[:, :INNER_SAMPLES].mean(1, keepdims=True), axis=2)
    beyond = apart > UNLIKE * apart.max(1, keepdims=True)
    beyond[:, : INNER_SAMPLES // 2] = False
    at = offsets()[beyond.argmax(1)] - STEP_PX / 2
    sides = np.array([np.median(at[s.side == k]) for k in range(4)])
    return np.asarray(np.where(np.abs(sides) < FARTHEST_PX, sides, 0.0)[s.side])


def _unlike(fits: list[RimFit], on: NDArray[np.bool_], side: int) -> list[RimFit]:
    """Those that place a side differently, the likeliest first: what several starts lead to counts once."""
    out: list[RimFit] = []
    for f in sorted(fits, key=lambda f: float(f.cost[side])):
        if all(abs((f.offset_px - o.offset_px)[on].mean()) > ALIKE_PX for o in out):
            out.append(f)
    return out


def _edges(s: Stretches, side: int, fits: list[RimFit], points: Array, normals: Array) -> SideEdges:
    """One side: what all fits say, each as likely as it explains the photo, and what they differ in as doubt."""
    on = s.side == side
    worse = [max(float(f.misfit[side]) / float(NOISE[0]), 1.0) for f in fits]  # than the model was thought to be
    cost = np.array([f.cost[side] for f in fits])
    likely = np.exp((cost.min() - cost) / min(worse) ** 2)
    likely /= likely.sum()
    offsets_px = np.array([f.offset_px[on] for f in fits])
    offset = likely @ offsets_px
    as_shape = np.linalg.pinv(shapes(s.along[on]))
    shape = np.diag(LEAST_PX**2)
    for share, f, w, apart in zip(likely, fits, worse, (offsets_px - offset) @ as_shape.T, strict=True):
        by_light = f.light_px[side] * (LIGHT_DOUBT * np.tile(ALONG_SHARE, 3))
        shape += share * (f.shape_px2[side] * w**2 + by_light @ by_light.T + np.outer(apart, apart))
    blur = float(likely @ [f.blur_px for f in fits])
    doubt = np.where(s.burnt_out[on], BURNT_DOUBT, CLIPPED_DOUBT * s.overexposed[on])
    cut = as_shape @ (blur * doubt[:, None] * shapes(s.along[on])) * ALONG_SHARE
    wall = as_shape @ (THICKNESS_SHARE * np.clip(s.wall_px[on], 0, BROADEST_WALL_PX))
    shape += cut @ cut.T + np.outer(wall, wall)
    own = np.full(int(on.sum()), _scatter(s.along[on], offset))
    return SideEdges(side, s.along[on], True, points[on] + offset[:, None] * normals[on], normals[on], own, shape)


def _scatter(along: Array, offset_px: Array) -> float:
    """Standard deviation of points about the line with a bow through them, px."""
    rest = offset_px - np.polyval(np.polyfit(along, offset_px, 2), along)
    return max(float(np.sqrt((rest**2).sum() / (len(along) - 3))), LEAST_POINT_PX)


def _stretches(light: Light, solution: Solution) -> tuple[Stretches, Array, Array]:
    """Light across the four sides; where the upper rim is expected (m, 2), and the way outwards (m, 2), px."""
    view, r = solution.view.parameters, solution.rectangle
    larger = replace(r, width_mm=r.width_mm + 2, height_mm=r.height_mm + 2)
    middle = project(view, np.array([[0.0, 0.0, r.thickness_mm]]))
    out = []
    for k in range(4):
        edge = max(CORNER_MARGIN_MM, r.corner_mm + BESIDE_CORNER_MM) / (r.width_mm if k % 2 == 0 else r.height_mm)
        ends = np.linspace(edge - 0.5, 0.5 - edge, STRETCHES + 1)
        along = (ends[:-1, None] + (np.arange(EACH) + 0.5) / EACH * np.diff(ends)[:, None]).ravel()

        def rim(size: Rectangle, height_mm: float, k: int = k, along: Array = along) -> Array:
            return project(view, side_points(k, along, size.width_mm, size.height_mm, height_mm))

        upper = rim(r, r.thickness_mm)
        u = np.gradient(upper, axis=0)
        u /= np.hypot(*u.T)[:, None]
        n = np.c_[-u[:, 1], u[:, 0]]
        n = -n if ((upper - middle) * n).sum() < 0 else n
        wall, per_mm = ((x - upper) * n for x in (rim(r, 0.0), rim(larger, r.thickness_mm)))
        seen = light.sample(upper[:, None] + offsets()[:, None] * n[:, None])
        out.append(
            (
                seen.reshape(STRETCHES, EACH, -1, 3).mean(1),
                np.full(STRETCHES, k),
                _means(along),
                _means(wall.sum(1)),
                r.thickness_mm * _means(per_mm.sum(1)),
                np.stack([_means(upper[:, 0]), _means(upper[:, 1])], 1),
                n[EACH // 2 :: EACH],
            )
        )
    *light_and_place, points, normals = (np.concatenate(x) for x in zip(*out, strict=True))
    return Stretches(*light_and_place), points, normals


def _means(x: Array) -> Array:
    """(STRETCHES,) mean of each stretch's profiles."""
    return np.asarray(x.reshape(STRETCHES, EACH).mean(1))

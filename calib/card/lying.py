"""Whether a card lies on what the part lies on, and is a thing at all: what is seen beside its sides.

The scale holds for the card's own plane. A card on a box, a box that looks like a card, a card with one end propped up:
their upper faces are the right rectangle, only nearer to the camera. What gives them away is the shadow. That of a card
0.76 mm thick ends within three millimetres of its sides, however low the light; that of something higher does not.

A card's outline drawn on paper is betrayed by being a line: a dark one all round, with the same colour on either side.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import Rectangle, View, side_points

NEAR_MM, FAR_MM = (3.0, 5.0), (12.0, 18.0)
"""Distances from a side where only the shadow of something high falls, and where none is expected."""
BEYOND_MM = (8.0, 18.0)
"""How far past a side's ends the same strip of table is compared: stripes and seams go on there, shadows don't."""
MIDDLE, MOSTLY = 0.8, 70.0
"""The middle part of a side that is looked at; and the percentage of it that must be as dark as is said."""
DARK = -0.15
"""The two darkest sides together, natural logarithm of light. No flat card went beyond 0.06, in light from 14° up."""
STRIPED = 0.2
"""Of what the table itself shows farther off, so much may look like shade: a stripe beside a side goes on past its
ends, but not quite straight (chosen; flat cards on striped towels came to 0.3)."""
CLOSE_MM, PAST_MM = (1.0, 2.5), (8.0, 12.0)
"""A shadow that begins at a side is dark here too, and has ended there, or nearly: a stripe, a seam or another thing's
shadow that crosses the table beside the card does not do both."""
WINDOW, NEARLY = 0.2, 0.4
"""Share of a side over which such a shadow must be seen: that of a card with one side up is wedge-shaped and comes out
from under it somewhere; and how much of it may be left."""
CAST = -0.08
"""The darkest such shadow, natural logarithm of light, beyond what the table itself shows farther off: stripes, grain.
No flat card on any table went beyond 0.02."""
FARTHER_MM = ((10.0, 12.0), (15.0, 18.0))
"""Where the table's own stripes are looked for: between these distances."""
WEDGE_MM, WEDGE_PAST_MM = (1.5, 2.5), (6.0, 10.0)
"""A card with one end up throws a shadow that grows wider along its sides: this near to them it is dark at one end of a
side and light at the other, and it has ended here. A flat card's is as wide all along."""
WEDGE = 0.6
"""The least such difference that tells, beyond what the table itself shows farther off; natural logarithm of light. No
flat card of 86 photos went beyond 0.11, striped towels and grained wood among their tables."""
WEDGE_ENDS = (0.28, 0.48)
"""The two ends of a side that are compared for it: from its middle, of its length. A fifth each, its corners left
out."""
LEAST_PAIRS = 0.6
"""Share of a side's middle of which near and far must lie in the photo for a shadow to be judged (chosen)."""
LEAST_LIGHT = 1e-3
"""Darker light, share of full light, counts as this, so that its logarithm stays finite (chosen: code 3 of 255)."""
WEDGE_CHECKED_MM = ((5.0, 6.5), (7.0, 8.5), (9.0, 10.5))
"""Where the table itself is looked at for that."""
STEP_MM = 0.5
LINE_MM, CLEAR_MM, FINE_MM = 0.5, (1.2, 2.6), 0.1
"""Half the width that a drawn line is looked for in; where the colours beside it are taken; spacing."""
LINE_DARK, ALIKE = -0.6, 0.08
"""A drawn line against its surroundings; how much the colours on its two sides may differ; natural logarithms. Under an
open sky the foot of a card's wall gets half of the light, before blur."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What is seen beside a card's four sides.

    Attributes:
        shade: (4,) how much darker the table is at some distance than farther off and past the side's ends, as a
            natural logarithm, 0 where nothing can be said.
        cast: (4,) the same of the darkest stretch of it, if a shadow begins at the side there and ends farther on.
        stripes: what is like it on the table farther off: 0, or negative.
        wedge: how much darker the table close to a side is at one of its ends than at the other, of the side where that
            is most, beyond what the table shows farther off.
        line: (4,) how much darker the side is than what lies on either side of it, likewise.
        step: (4,) how much the colours on either side differ, likewise.
    """

    shade: Array
    cast: Array
    stripes: float
    wedge: float
    line: Array
    step: Array

    @property
    def raised(self) -> bool:
        """Whether a shadow falls where that of a card lying flat can't."""
        return (
            float(np.sort(self.shade)[:2].sum()) < DARK + STRIPED * self.stripes
            or float(self.cast.min()) < CAST + self.stripes
            or self.wedge > WEDGE
        )

    @property
    def drawn(self) -> bool:
        """Whether the card is only an outline."""
        return bool((self.line < LINE_DARK).all() and (self.step < ALIKE).all())


def beside(light: Light, view: View, card: Rectangle) -> Beside:
    """Look beside a card's sides.

    Args:
        light: the photo around the card, 2 cm of table included where there are.
        view: solved from the card.
        card: its size.
    """
    strips = [_strip(light, view, card, k) for k in range(4)]
    table = float(np.nanmedian(np.concatenate([s.far for s in strips])))
    line, step = np.array([_line(light, view, card, k) for k in range(4)]).T
    shade, cast = np.array([(_shade(s, table), _cast(s, table)) for s in strips]).T
    stripes = min(_darkest(-np.abs(s.stripes[s.beside])) for s in strips)
    wedge = max(s.wedge for s in strips) - max(s.uneven for s in strips)
    return Beside(shade, cast, stripes, wedge, line, step)


def surroundings(view: View, card: Rectangle) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of the part of the photo that `beside` looks at."""
    w, h = card.width_mm / 2 + FAR_MM[1], card.height_mm / 2 + FAR_MM[1]
    at = view.pixels(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]))
    low, high = np.floor(at.min(0)) - 2, np.ceil(at.max(0)) + 2
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])


@dataclass(frozen=True, slots=True)
class _Strip:
    """Logarithms of light beside a side, along it: close to it, near, past a shadow, far off, and how that differs from
    a little nearer; which lie beside its middle part, which beside any of it, which past either end. `wedge` and
    `uneven`: by how much its two ends differ, close to it and farther off."""

    close: Array
    near: Array
    past: Array
    far: Array
    stripes: Array
    middle: NDArray[np.bool_]
    beside: NDArray[np.bool_]
    ends: tuple[NDArray[np.bool_], NDArray[np.bool_]]
    wedge: float
    uneven: float


def _strip(light: Light, view: View, card: Rectangle, side: int) -> _Strip:
    length = card.width_mm if side % 2 == 0 else card.height_mm
    away = np.arange(CLOSE_MM[0], FAR_MM[1] + STEP_MM / 2, STEP_MM)
    along = np.arange(-length / 2 - BEYOND_MM[1], length / 2 + BEYOND_MM[1], 2 * STEP_MM)
    seen = _seen(light, view, card, side, along, away, 0.0)

    def mean(between: tuple[float, float]) -> Array:
        return np.asarray(seen[(away >= between[0]) & (away <= between[1])].mean(0))

    close, near, past, far, one, other = map(mean, (CLOSE_MM, NEAR_MM, PAST_MM, FAR_MM, *FARTHER_MM))
    before, after = ((s * along > length / 2 + BEYOND_MM[0]) & np.isfinite(near) for s in (-1, 1))
    off = np.abs(along) / (length / 2)
    shadow = np.minimum(mean(WEDGE_MM) - np.minimum(mean(WEDGE_PAST_MM), far), 0.0)
    wedge = abs(_ends_differ(shadow, along / length))
    uneven = max(abs(_ends_differ(mean(r) - far, along / length)) for r in WEDGE_CHECKED_MM)
    return _Strip(close, near, past, far, one - other, off < MIDDLE, off < 1, (before, after), wedge, uneven)


def _ends_differ(values: Array, by: Array) -> float:
    """How much more values along a side are in its last fifth than in its first; 0 where either is out of the photo."""
    low, high = WEDGE_ENDS
    first, last = (values[(s * by > low) & (s * by < high) & np.isfinite(values)] for s in (-1, 1))
    return float(np.median(last) - np.median(first)) if len(first) and len(last) else 0.0


def _shade(s: _Strip, table: float) -> float:
    """Darker than farther off, than past the ends, and than the table round the card: something light that lies beside
    the card makes no shadow of it."""
    both = s.middle & np.isfinite(s.near) & np.isfinite(s.far)
    if both.sum() < LEAST_PAIRS * s.middle.sum() or not any(p.any() for p in s.ends):
        return 0.0
    ends = max(float(np.median(s.near[p])) for p in s.ends if p.any())
    near = float(np.percentile(s.near[both], MOSTLY))
    return min(max(float(np.percentile((s.near - s.far)[both], MOSTLY)), near - ends, near - table), 0.0)


def _cast(s: _Strip, table: float) -> float:
    """How dark the darkest stretch of a side's surroundings is, of those where a shadow of the side may lie."""
    dark = np.minimum(np.maximum(np.maximum(s.near - s.far, s.near - table), s.close - s.far), 0)[s.beside]
    over = (s.past - s.far)[s.beside] >= NEARLY * dark
    return _darkest(np.where(over, dark, 0.0))


def _darkest(dark: Array) -> float:
    """The least that most of any window along a side is darker by; what is not in the photo is not darker."""
    dark = np.nan_to_num(dark)
    windows = np.lib.stride_tricks.sliding_window_view(dark, max(round(WINDOW * len(dark)), 1))
    return float(np.percentile(windows, MOSTLY, axis=1).min())


def _line(light: Light, view: View, card: Rectangle, side: int) -> tuple[float, float]:
    length = card.width_mm if side % 2 == 0 else card.height_mm
    away = np.arange(-CLEAR_MM[1], CLEAR_MM[1] + FINE_MM / 2, FINE_MM)
    along = np.arange(-MIDDLE * length / 2, MIDDLE * length / 2, STEP_MM)
    seen = _seen(light, view, card, side, along, away, card.thickness_mm)
    inner, outer = (seen[(s * away >= CLEAR_MM[0]) & (s * away <= CLEAR_MM[1])].mean(0) for s in (-1, 1))
    darkest = seen[np.abs(away) <= LINE_MM].min(0)
    if not np.isfinite(inner + outer + darkest).any():
        return 0.0, np.inf
    line = np.nanpercentile(darkest - np.minimum(inner, outer), MOSTLY)
    return float(line), float(np.nanpercentile(np.abs(inner - outer), MOSTLY))


def _seen(
    light: Light, view: View, card: Rectangle, side: int, along_mm: Array, away_mm: Array, height_mm: float
) -> Array:
    """(away, along) logarithm of light beside a side; NaN outside the photo."""
    w, h = card.width_mm, card.height_mm
    length = w if side % 2 == 0 else h
    on = side_points(side, along_mm / length, w, h, 0.0)[:, :2]
    out = side_points(side, np.zeros(1), w, h, 0.0)[0, :2]
    points = on + away_mm[:, None, None] * out / np.hypot(*out)
    at = view.pixels(points.reshape(-1, 2), height_mm)
    value = np.log(np.maximum(light.sample(at).mean(1), LEAST_LIGHT))
    whole = ((at >= 0) & (at <= np.array(view.size_px) - 1)).all(1)
    return np.where(whole, value, np.nan).reshape(len(away_mm), len(along_mm))

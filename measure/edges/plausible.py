"""Whether an outline runs along the part's edge: second thoughts once it has been found.

An edge of the part is crisp. Where an outline shows hardly any edge while a much stronger one lies a few millimetres
inside it, it may run along a shadow; where the edge is far weaker than the rest of the outline, it may run along
nothing. The visible wall's other rim is no such edge: view and thickness tell where it lies.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.errors import PartRefused
from calib.light.profile import Light, take
from calib.reference.found import Caution
from calib.view.view import View
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import Estimate
from measure.geometry.polylines import arc_lengths, at_lengths

FAINT_MM = 0.08
"""A quarter of the outline's points less sure than this mean that there is hardly an edge: in photos of light parts on
white paper and of black parts on dark wood that can be measured they stay below 0.022 mm."""
STEP_MM = 0.25  # between samples along the outline
INSIDE_MM, OUTSIDE_MM = 3.2, 0.5  # how far a profile reaches
WEAK, WEAK_RUN_MM = 0.2, 2.0  # share of the outline's usual edge, and over which length a weaker one is doubtful
BETTER, BETTER_RUN_MM = 1.5, 1.4  # how many times stronger an edge inside must be, and over which length
OUT_OF_REACH_MM = 0.6  # an edge this near to the outline, or to its other rim, is no other edge

_NO_EDGE = (
    "Hardly an edge can be seen between the part and what it lies on; lay it on a ground of quite another colour, "
    "or in light from one side, and take the photo again."
)


def require_edges(loops: Sequence[EdgeLoop]) -> None:
    """Check that the outer boundary was seen.

    Raises:
        PartRefused: a quarter of its points hang on next to nothing.
    """
    sigma = loops[0].sigma_mm
    sigma = sigma[np.isfinite(sigma)]
    if not len(sigma) or float(np.percentile(sigma, 75)) > FAINT_MM:
        raise PartRefused(_NO_EDGE, "faint-edge")


def doubtful_edges(
    light: Light, view: View, found: Estimate, seen_px: Sequence[Array], thickness_mm: float
) -> tuple[Caution, ...]:
    """A caution that names the features of the outer boundary that may run along a shadow, or along nothing.

    Args:
        light: the photo around the part.
        found: the features; seen_px: for each in order, (n, 2) points along it as the photo shows it.
        thickness_mm: of the part; 0 for an opening or if it is unknown.
    """
    outer = [k for k, f in enumerate(found.features) if f.loop == 0]
    scale = view.mm_per_px(np.asarray(view.plane(seen_px[outer[0]]).mean(0)))
    samples = [_sampled(seen_px[k], STEP_MM / scale) for k in outer]
    points, normals = (np.concatenate([s[i] for s in samples]) for i in (0, 1))
    owner = np.repeat(outer, [len(s[0]) for s in samples])
    p = take(light, points, normals, INSIDE_MM / scale, OUTSIDE_MM / scale, 1)
    at = p.offsets_px * scale
    edge = _edges(p.light)
    foot = view.pixels(view.centre_mm[None, :2])[0]
    rise = thickness_mm / float(view.centre_mm[2])
    wall = np.maximum(-((points - foot) * normals).sum(1) * rise, 0.0) * scale
    here = np.where(np.abs(at) < 2.5 * scale + 0.03, edge, 0).max(1)
    rim = np.abs(at[None, :] + wall[:, None])
    own = np.maximum(here, np.where((rim < 0.35) & (wall[:, None] > 0.15), edge, 0).max(1))
    inside = np.where((at[None, :] < -OUT_OF_REACH_MM) & (rim > OUT_OF_REACH_MM), edge, 0).max(1)
    weak = _mean_along(own) < WEAK * float(np.median(here))
    better = _mean_along((inside > BETTER * own).astype(float)) > 0.7
    doubtful = _long_runs(weak, WEAK_RUN_MM) | _long_runs(better, BETTER_RUN_MM)
    if not doubtful.any():
        return ()
    names = ", ".join(found.features[k].label for k in np.unique(owner[doubtful]))
    text = f"The part's edge is hardly seen along {names}: a shadow may be taken for it; look at it in the picture."
    return (Caution("faint-edge", text),)


def _sampled(line_px: Array, step_px: float) -> tuple[Array, Array]:
    """(n, 2) points in equal steps along a polyline, and (n, 2) unit normals out of the part, whose upright photo has
    y down."""
    along = arc_lengths(line_px)
    n = max(2, int(along[-1] / step_px))
    t = (np.arange(n) + 0.5) / n * along[-1]
    i = np.clip(np.searchsorted(along, t) - 1, 0, len(line_px) - 2)
    u = line_px[i + 1] - line_px[i]
    u = u / np.maximum(np.hypot(*u.T), 1e-9)[:, None]
    return at_lengths(line_px, along, t), np.stack([-u[:, 1], u[:, 0]], 1)


def _edges(light: Array) -> Array:
    """(b, s) step of light between half a pixel and two and a half either side of each sample, strongest channel."""
    sums = np.cumsum(np.pad(light, ((0, 0), (6, 5), (0, 0)), mode="edge"), axis=1)
    n = light.shape[1]
    outer, inner = sums[:, 11 : 11 + n] - sums[:, 6 : 6 + n], sums[:, 5 : 5 + n] - sums[:, 0:n]
    return np.asarray(np.abs(outer - inner).max(2) / 5)


def _mean_along(values: Array) -> Array:
    """Mean over six samples and more, round the closed outline."""
    k = round(1.5 / STEP_MM)
    return np.asarray(np.convolve(np.r_[values[-k:], values, values[:k]], np.ones(k) / k, "same")[k:-k])


def _long_runs(flags: NDArray[np.bool_], least_mm: float) -> NDArray[np.bool_]:
    """The flags that belong to runs of at least a length, round the closed outline."""
    if flags.all() or not flags.any():
        return flags
    start = int(np.argmin(flags))
    turned = np.roll(flags, -start)
    edges = np.flatnonzero(np.diff(np.r_[False, turned, False].astype(int)))
    out = np.zeros_like(turned)
    for a, b in edges.reshape(-1, 2):
        out[a:b] = (b - a) * STEP_MM >= least_mm
    return np.roll(out, start)

"""Edge points once more, along the features that the first ones gave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.light.profile import Light
from calib.view.view import View
from measure.edges import upper_edges
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rough import Rough, resampled
from measure.edges.rounded import Rim
from measure.edges.sight import Body
from measure.edges.upper_edges import LOOSE, STIFF, Seen
from measure.geometry.features import Feature, by_loop, flatten
from measure.geometry.polylines import arc_lengths


def along_features(
    light: Light,
    view: View,
    features: tuple[Feature, ...],
    seen: Seen,
    rim: Rim,
) -> list[EdgeLoop]:
    """Edge points along features already found: exact normals, and one offset for each whole feature.

    Points at sharp corners, where the blur rounds the edge, are left out.
    """
    loops = by_loop(features)
    outlines = [np.concatenate([flatten(f)[:-1] for f in loop]) for loop in loops.values()]
    step = view.mm_per_px(outlines[0].mean(0))
    body = Body.of(view, outlines, seen.wall, seen.opening)
    search = upper_edges.searches(step)[-1]
    blur_mm = seen.sigma_px * step
    walked = [_walked(loop, step, search.width, CORNER_PX * blur_mm) for loop in loops.values()]
    firm = []
    for _, first, _, bend in walked:
        stiffness = np.where(np.abs(bend) > 1 / TIGHT_MM, LOOSE, STIFF)
        stiffness[first] = LOOSE / 4
        firm.append(stiffness)
    roughs = [rough.turned(seen.flip) for rough, _, _, _ in walked]
    found, _ = upper_edges.along(light, view, roughs, seen, body, search, rim, firm)
    return [
        replace(
            e,
            points_mm=e.points_mm + (0.5 * blur_mm**2 * bend)[:, None] * e.normals,
            sigma_mm=np.where(corner, np.inf, e.sigma_mm),
        )
        for e, (_, _, corner, bend) in zip(found, walked, strict=True)
    ]


def along_path(
    light: Light, view: View, number: int, path_mm: Array, others: Sequence[Array], seen: Seen, rim: Rim
) -> EdgeLoop:
    """Edge points of one loop along a path that is nearly its outline, more finely than features are followed.

    Where the edge lies as far off as it is looked for, it is none.

    Args:
        number: of the loop; path_mm: (n, 2) closed.
        others: (n, 2) outlines of all loops.
    """
    step = view.mm_per_px(path_mm.mean(0))
    search = replace(upper_edges.searches(step)[-1], width=FINE_POINTS)
    outlines = [path_mm if k == number else o for k, o in enumerate(others)]
    body = Body.of(view, outlines, seen.wall, seen.opening)
    rough = resampled(path_mm, step, FINE_MM, FINE_POINTS).turned(seen.flip)
    (found,), _ = upper_edges.along(light, view, [rough], seen, body, search, rim, LOOSE, [number])
    middle = rough.points_mm.reshape(-1, FINE_POINTS, 2).mean(1)
    off = np.abs(((found.points_mm - middle) * found.normals).sum(1))
    return replace(found, sigma_mm=np.where(off > LIMIT * search.reach_px * step, np.inf, found.sigma_mm))


FINE_POINTS, FINE_MM, LIMIT = 2, 0.08, 0.9
"""Points a stretch, smoothing of the path, and share of the search from which its end is reached (chosen: a coarser
walk rounds fillets of half a millimetre)."""
TIGHT_MM = 1.6
"""Arcs of a smaller radius are known too little beforehand to be held to their shape (chosen)."""
FOLLOWED_MM = 0.0005
"""How far chords may lie from the arc along which light is looked at: a hundredth of a pixel and less."""
CORNER_RAD = np.radians(15)
"""Where an outline turns by more it has a corner."""
CORNER_PX = 2.0
"""How far from a sharp corner, in units of the blur, an edge is still straight."""


def _walked(
    loop: list[Feature], step_mm: float, width: int, clear_mm: float
) -> tuple[Rough, list[int], NDArray[np.bool_], Array]:
    """A loop's features sampled in whole blocks; the block each feature starts at; blocks too near a sharp corner; and
    how the outline bends at each, 1/mm, positive round material.

    Blur moves a bent edge inwards of its bend, by half its variance over the radius.
    """
    points, normals, first, corner, bends = [], [], [], [], []
    at = 0
    for k, f in enumerate(loop):
        path = flatten(f, FOLLOWED_MM)
        run = arc_lengths(path)
        blocks = max(int(run[-1] / step_mm / width), 1)
        t = (np.arange(blocks * width) + 0.5) * run[-1] / (blocks * width)
        i = np.clip(np.searchsorted(run, t, side="right") - 1, 0, len(path) - 2)
        u = path[i + 1] - path[i]
        long = np.maximum(np.hypot(*u.T), 1e-12)
        points.append(path[i] + u * ((t - run[i]) / long)[:, None])
        normals.append(np.c_[u[:, 1], -u[:, 0]] / long[:, None])
        middle = t.reshape(-1, width).mean(1)
        before, after = loop[k - 1], loop[(k + 1) % len(loop)]
        near_start = (middle < clear_mm) & (f.kind != "circle") & _is_corner(before, f)
        near_end = (middle > run[-1] - clear_mm) & (f.kind != "circle") & _is_corner(f, after)
        corner.append(near_start | near_end)
        first.append(at)
        at += blocks
        bends.append(np.full(blocks, _bend(f)))
    return Rough(np.concatenate(points), np.concatenate(normals)), first, np.concatenate(corner), np.concatenate(bends)


def _bend(f: Feature) -> float:
    """Curvature of a feature, 1/mm, positive where it bends to the left in travel."""
    if f.kind == "arc":
        return (1 if f.turn == "ccw" else -1) / f.radius
    return (-1 if f.loop else 1) / f.radius if f.kind == "circle" else 0.0


def _is_corner(a: Feature, b: Feature) -> bool:
    """Whether the outline turns sharply from one feature to the next."""
    p, q = flatten(a, FOLLOWED_MM), flatten(b, FOLLOWED_MM)
    u, v = p[-1] - p[-2], q[1] - q[0]
    return bool(u @ v < np.cos(CORNER_RAD) * np.hypot(*u) * np.hypot(*v))

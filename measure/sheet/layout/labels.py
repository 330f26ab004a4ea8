"""Feature labels, small and light, beside what they name."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from calib.arrays import Array
from measure.geometry.features import COARSE_MM, Feature, flatten, length, sweep_rad
from measure.geometry.polylines import arc_lengths, at_lengths
from measure.sheet.layout.board import Board, boxes_of
from measure.sheet.lettering import TINY_MM, width_mm
from measure.sheet.marks import Mark, Text

CLEAR_MM = 0.5
"""Farther from any line than the half of an arrowhead that sits on it."""
GREY = 0.35


def lay_labels(features: Sequence[Feature], board: Board, height_mm: float = TINY_MM) -> tuple[list[Mark], list[str]]:
    """Label features where there is room, the large ones first; and the labels for which there was none."""
    marks: list[Mark] = []
    left = []
    for f in sorted(features, key=lambda f: (f.kind != "circle", -length(f))):
        starts, cost = _places(f, height_mm)
        order = np.argsort(cost, kind="stable")
        room = width_mm(f.label, height_mm)
        boxes = boxes_of(starts - [room / 2, height_mm / 2], room, height_mm, 0.0, CLEAR_MM)[order]
        free = np.flatnonzero(board.box_free(boxes))
        if not len(free):
            left.append(f.label)
            continue
        k = int(free[0])
        board.write(boxes[k : k + 1])
        x, y = starts[order[k]] - [room / 2, height_mm / 2]
        marks.append(Text((float(x), float(y)), f.label, height_mm, "LABELS", grey=GREY))
    return marks, left


def _places(f: Feature, height_mm: float) -> tuple[Array, Array]:
    """Middles where a label may stand and how willingly, nearest to the feature and on its material side first."""
    room = width_mm(f.label, height_mm)
    if f.kind == "circle":
        angle = np.radians(np.arange(22.5, 382.5, 22.5))
        u = np.stack([np.cos(angle), np.sin(angle)], 1)
        reach = _reach(u, room, height_mm)
        places = [np.array(f.centre) + u * (f.radius + reach + d)[:, None] for d in (0.9, 2.0, 3.5)]
        costs = [np.full(len(u), c) for c in (0.0, 1.0, 2.0)]
        if f.radius > 4.5:
            places.append(np.array(f.centre) + u * (0.55 * f.radius))
            costs.append(np.full(len(u), 0.5))
        return np.concatenate(places), np.concatenate(costs)
    path = flatten(f, COARSE_MM)
    at = arc_lengths(path)
    share = np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.12, 0.88])
    p = at_lengths(path, at, share * at[-1])
    ahead = at_lengths(path, at, share * at[-1] + 0.05)
    behind = at_lengths(path, at, share * at[-1] - 0.05)
    d = ahead - behind
    d = d / np.maximum(np.hypot(*d.T), 1e-9)[:, None]
    left = np.stack([-d[:, 1], d[:, 0]], 1)  # towards material
    reach = _reach(left, room, height_mm)
    centre_side = f.kind == "arc" and sweep_rad(f) > 0
    places, costs = [], []
    for sign, dear in ((1.0, 0.0 if centre_side or f.kind != "arc" else 0.3), (-1.0, 0.25)):
        for gap, more in ((0.8, 0.0), (1.8, 0.6), (3.0, 1.2), (4.5, 2.0), (6.0, 3.0)):
            places.append(p + sign * left * (reach + gap)[:, None])
            costs.append(dear + more + 0.1 * np.arange(len(share)))
    return np.concatenate(places), np.concatenate(costs)


def _reach(u: Array, room: float, height_mm: float) -> Array:
    """How far a label's box reaches in each direction (n, 2)."""
    out: Array = np.abs(u[:, 0]) * room / 2 + np.abs(u[:, 1]) * height_mm / 2
    return np.minimum(out, math.hypot(room, height_mm) / 2)

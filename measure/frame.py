"""The part's own frame: edges level and upright, the outline's lower left corner at the origin."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from scipy.linalg import block_diag

from measure.features import PARAMETERS, Array, Estimate, Feature, direction, flatten, length, moved


def squared_up(estimate: Estimate, photo_turn_rad: float = 0.0) -> tuple[Estimate, float, tuple[float, float]]:
    """The estimate in the part's own frame, turned as little as can be from how the photo shows it.

    Args:
        estimate: in any frame.
        photo_turn_rad: angle of the photo's horizontal in that frame.

    Returns:
        The estimate, and the turn (rad) and shift (mm) that lead from the old frame to the new one.
    """
    turn = -_main_direction(estimate.features, photo_turn_rad)
    turned = [moved(f, turn, (0.0, 0.0)) for f in estimate.features]
    corner = np.concatenate([flatten(f) for f in turned]).min(0)
    shift = (-float(corner[0]), -float(corner[1]))
    c, s = math.cos(turn), math.sin(turn)
    round_one = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    blocks = [round_one if PARAMETERS[f.kind] == 3 else np.eye(2) for f in turned if f.kind != "curve"]
    T = block_diag(*blocks) if blocks else np.zeros((0, 0))
    features = tuple(moved(f, 0.0, shift) for f in turned)
    white = T @ estimate.white @ T.T
    return replace(estimate, features=features, white=white, sensitivity=T @ estimate.sensitivity), turn, shift


def _main_direction(features: tuple[Feature, ...], photo_turn_rad: float) -> float:
    """Angle of the direction that most of the straight edges follow or stand square to, nearest to the photo's own."""
    lines = [f for f in features if f.kind == "line" and f.loop == 0] or [f for f in features if f.kind == "line"]
    if lines:
        longest = max(lines, key=length)
        near = math.radians(2.0)
        quarter = math.pi / 2

        def agreeing(a: float) -> list[tuple[float, float]]:
            """Turn from angle a, within a quarter, and length of the lines that follow it."""
            off = [((_angle(f) - a + quarter / 2) % quarter - quarter / 2, length(f)) for f in lines]
            return [(o, w) for o, w in off if abs(o) < near]

        total = sum(w for _, w in agreeing(_angle(longest)))
        best = max(lines, key=lambda f: (sum(w for _, w in agreeing(_angle(f))), length(f)))
        first = best if sum(w for _, w in agreeing(_angle(best))) > 1.2 * total else longest
        with_it = agreeing(_angle(first))
        angle = _angle(first) + sum(o * w for o, w in with_it) / sum(w for _, w in with_it)
    else:
        angle = _between_round_features(features, photo_turn_rad)
    step = math.pi / 2
    return angle + step * round((photo_turn_rad - angle) / step)


def _angle(f: Feature) -> float:
    u = direction(f)
    return math.atan2(u[1], u[0])


def _between_round_features(features: tuple[Feature, ...], otherwise: float) -> float:
    """Angle of the line through the two round features farthest apart; the photo's own where there are none."""
    centres: Array = np.array([f.centre for f in features if f.centre is not None], float).reshape(-1, 2)
    if len(centres) < 2:
        return otherwise
    d = centres[:, None] - centres[None]
    i, j = np.unravel_index(int((d**2).sum(2).argmax()), d.shape[:2])
    if np.hypot(*d[i, j]) < 1.0:
        return otherwise
    return math.atan2(d[i, j, 1], d[i, j, 0])

"""The part's own frame: mirror axis or main edges level or upright, the outline's lower left corner at the origin."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from measure.dimensioning.dimensioning import datum_turn
from measure.geometry.features import PARAMETERS, Estimate, flatten
from measure.geometry.motion import Motion


def squared_up(estimate: Estimate, photo_turn_rad: float = 0.0) -> tuple[Estimate, Motion]:
    """The estimate in the part's own frame, turned as little as can be from how the photo shows it.

    Args:
        estimate: in any frame.
        photo_turn_rad: angle of the photo's horizontal in that frame.

    Returns:
        The estimate, and the motion from the old frame to the new one.
    """
    as_photographed = [Motion(-photo_turn_rad).of(f) for f in estimate.features]
    turn = datum_turn(as_photographed) - photo_turn_rad
    turned = [Motion(turn).of(f) for f in estimate.features]
    corner = np.concatenate([flatten(f) for f in turned]).min(0)
    shift = (-float(corner[0]), -float(corner[1]))
    c, s = math.cos(turn), math.sin(turn)
    round_one = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    T = np.eye(len(estimate.white))
    for f, at in zip(turned, estimate.slices().values(), strict=True):
        if PARAMETERS[f.kind] == 3:
            T[at, at] = round_one
    features = tuple(Motion(0.0, shift).of(f) for f in turned)
    white = T @ estimate.white @ T.T
    return replace(estimate, features=features, white=white, sensitivity=T @ estimate.sensitivity), Motion(turn, shift)

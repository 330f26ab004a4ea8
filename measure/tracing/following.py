"""From a rough contour to an outline that keeps to its points: edges located, cut into features, and located again
along those."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.errors import PartRefused
from calib.light.profile import Light
from calib.view.view import View
from measure.edges.edge_blur import blur_of_edges
from measure.edges.edge_loop import EdgeLoop
from measure.edges.edges import SHARED_NAMES, locate
from measure.edges.plausible import require_edges
from measure.edges.retrace import along_features
from measure.edges.sight import Wall
from measure.geometry.features import Estimate
from measure.outline.outline import outline
from measure.tracing import parts
from measure.tracing.stages import Stage, Watch

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Followed:
    """A part's outline in the plane of its reference.

    Attributes:
        estimate: its features.
        loops: the points that they were fitted to, the outer boundary first.
        located: points found before there were features: they follow a fracture more closely.
    """

    estimate: Estimate
    loops: tuple[EdgeLoop, ...]
    located: tuple[EdgeLoop, ...]


def followed(
    light: Light,
    view: View,
    contours_px: Sequence[Array],
    wall: Wall,
    shared: Array,
    *,
    opening: bool = False,
    watch: Watch = lambda stage: None,
) -> Followed:
    """The outline of a part, or of an opening's rim.

    Args:
        light: the photo around it.
        view: the solved view.
        contours_px: rough closed contours (n, 2), the outer boundary first.
        wall: heights of the part's edges.
        shared: covariance of the terms that all points share.
        opening: whether it is an opening's rim.
        watch: is told what is done.

    Raises:
        PartRefused: hardly an edge is seen, or it can't be followed all the way round.
    """
    blur_px = blur_of_edges(light, contours_px)
    loops = locate(light, view, list(contours_px), wall, opening=opening)
    require_edges(loops)
    watch(Stage.FEATURES)
    found = outline(loops, SHARED_NAMES, shared, passes=0)
    used = loops
    if parts.fits(found, loops):
        watch(Stage.AGAIN)
        again = along_features(light, view, found.features, wall, opening=opening, sigma_px=blur_px)
        better = outline(again, SHARED_NAMES, shared)
        astray = parts.misfits(better, again) | parts.misfits(better, loops)
        if astray and 0 not in astray:  # an outer boundary that can't be followed is no reason to try harder
            again = [loops[k] if k in astray else e for k, e in enumerate(again)]
            better = outline(again, SHARED_NAMES, shared)
        if parts.fits(better, again) and parts.sound(better):
            found, used = better, again
        else:
            found = outline(loops, SHARED_NAMES, shared)
    else:
        found = outline(loops, SHARED_NAMES, shared)
    if not parts.fits(found, loops) or not parts.sound(found):
        raise PartRefused(parts.NO_OUTLINE, "no-outline")
    return Followed(found, tuple(used), tuple(loops))

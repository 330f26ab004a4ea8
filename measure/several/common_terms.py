"""What several photos of one part have wrong together, and what each has wrong for itself.

Each photo's features carry terms that they share: the view, the thickness, doubt about rims. Between photos the view's
errors are independent but for what was known beforehand: the size of the card is the same if it is the same card, and
focal length and lens are the same if it is the same camera. The view's covariance is therefore split into what those
do to it and the rest, and every term gets a name: terms of one name are one error.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array, root_of
from calib.view.terms import view_root
from calib.view.view import PRIOR_NAMES, View
from measure.edges.shared_terms import DIRECTIONS
from measure.geometry.features import Estimate
from measure.geometry.local_form import base_of, by_parameters
from measure.tracing.parts import VIEW_TERMS

OF_THE_PART = ("thickness", "spread", "rim")
"""Terms that are the same in all photos: one caliper took the thickness; what makes edges look too far out is the
part's rim and the camera's sharpening."""
LIGHT_SD_MM = 0.01
"""What edges that face the same way have wrong together in one photo: light falls on them, and shadow lies before
them, alike. Like `measure.adjustment.equations.EDGE_SD_MM`, which each edge has for itself, found with rendered
photos."""
OF_THE_CAMERA = ("focal", "radial")


@dataclass(frozen=True, slots=True)
class Contribution:
    """A photo's features, as they are joined with others.

    Attributes:
        estimate: its shared terms named so that terms of one name are one error throughout.
        view_by_term: (10, s) what each of them does to the photo's view.
    """

    estimate: Estimate
    view_by_term: Array


def contributions(
    estimates: Sequence[Estimate], views: Sequence[View], sources: Sequence[tuple[str, Hashable]]
) -> list[Contribution]:
    """Photos' features with their terms named.

    Args:
        estimates: as `measure.tracing.tracing` gives them: ten independent terms of the view first.
        views: with what was known beforehand.
        sources: of each, the reference's name, and its camera. Equal ones are taken for the same card and camera: if
            they are not, the result is rather surer than it says.
    """
    cameras = list(dict.fromkeys(camera for _, camera in sources))
    out = []
    for number, (e, view, (reference, camera)) in enumerate(zip(estimates, views, sources, strict=True), 1):
        root = view_root(view.covariance)
        known = _in_plain_terms(view, root)
        rest = root_of(np.eye(VIEW_TERMS) - known @ known.T)
        by_view = e.sensitivity[:, :VIEW_TERMS]
        names = [
            f"{n} of camera {cameras.index(camera)}" if n in OF_THE_CAMERA else f"{n} of the {reference}"
            for n in PRIOR_NAMES
        ]
        names += [f"view {k} of photo {number}" for k in range(VIEW_TERMS)]
        names += [f"light {k} of photo {number}" for k in range(DIRECTIONS)]
        names += [n if n in OF_THE_PART else f"{n} of photo {number}" for n in e.shared_names[VIEW_TERMS:]]
        own = np.c_[known, rest]
        others = len(e.shared_names) - VIEW_TERMS
        shared = np.eye(len(names))
        shared[-others:, -others:] = e.shared[VIEW_TERMS:, VIEW_TERMS:]
        sensitivity = np.c_[by_view @ own, LIGHT_SD_MM * by_light(e), e.sensitivity[:, VIEW_TERMS:]]
        named = replace(e, shared_names=tuple(names), sensitivity=sensitivity, shared=shared)
        out.append(Contribution(named, np.c_[root @ own, np.zeros((VIEW_TERMS, DIRECTIONS + others))]))
    return out


def by_light(e: Estimate) -> Array:
    """(m, 8) change of features' parameters when all edges that face one of eight directions lie a millimetre out.

    Between two directions an edge goes with both, the nearer one more.
    """
    out = np.zeros((len(e.white), DIRECTIONS))
    for f, at in zip(e.features, e.slices().values(), strict=True):
        if f.kind == "circle":
            angle = np.linspace(0, 2 * np.pi, 8 * DIRECTIONS, endpoint=False)
            ring = np.stack([2 * np.cos(angle), 2 * np.sin(angle), np.ones_like(angle)], 1)
            way = 1.0 if f.loop == 0 else -1.0
            out[at] = way * ring.T @ _facing(angle + (0.0 if f.loop == 0 else np.pi)) / len(angle)
        elif f.kind != "curve":
            base = base_of(f)
            outwards = np.arctan2(-base.along[0], base.along[1])
            out[at] = np.linalg.inv(by_parameters(f, base))[:, :1] @ _facing(np.array([outwards]))
    return out


def _facing(angle_rad: Array) -> Array:
    """(n, 8) how much a direction goes with each of the eight."""
    place = (angle_rad / (2 * np.pi) * DIRECTIONS)[:, None] - np.arange(DIRECTIONS)
    off = np.abs((place + DIRECTIONS / 2) % DIRECTIONS - DIRECTIONS / 2)
    return np.asarray(np.maximum(1 - off, 0.0))


def _in_plain_terms(view: View, root: Array) -> Array:
    """(10, 5) what a standard deviation of each thing known beforehand is in the view's independent terms.

    Where that is not known, as much of the covariance as may be a scale counts as the reference's own size.
    """
    scale = np.sqrt((root**2).sum(0))
    there = scale > 0
    inverse = np.zeros((VIEW_TERMS, VIEW_TERMS))
    inverse[there] = np.linalg.pinv(root[:, there] / scale[there], rcond=1e-10) / scale[there, None]
    if view.by_prior is not None:
        out = inverse @ view.by_prior
        return np.asarray(out / max(float(np.linalg.norm(out, 2)), 1.0))  # never more than all of it, for rounding
    grown = inverse @ np.r_[np.zeros(3), view.parameters[3:6], np.zeros(4)]
    out = np.zeros((VIEW_TERMS, len(PRIOR_NAMES)))
    out[:, PRIOR_NAMES.index("width")] = grown / max(float(np.linalg.norm(grown)), 1e-300)
    return out

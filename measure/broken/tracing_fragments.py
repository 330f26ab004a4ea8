"""A part broken in two, photo -> `Trace`: each piece's edges, the pieces put together, and the joined outline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.errors import PartRefused
from calib.light.profile import Light
from calib.reference.found import Caution
from calib.view.view import View
from calib.words import Words
from measure.broken.fragments import PLACING_NAMES, JoinedLoops, as_points, put_together
from measure.dimensioning.frame import squared_up
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rounded import RIM, Rim
from measure.edges.shared_terms import SHARED_NAMES
from measure.edges.sight import Wall
from measure.geometry.features import FINEST_MM, Curve, Estimate, Feature, flatten
from measure.geometry.polylines import evenly
from measure.outline.outline import outline
from measure.silhouette.silhouette import NoSilhouette
from measure.tracing import parts
from measure.tracing.following import Followed, followed_part
from measure.tracing.request import Request
from measure.tracing.sighted import Sighted, as_seen, frame_back
from measure.tracing.values import Trace
from measure.tracing.whereabouts import find_pieces, require_same_surface

if TYPE_CHECKING:
    from calib.lens.lens import Profile
    from calib.photo.photo import Photo

SPACING_MM = 0.2
"""Of points along a feature that may run over both pieces."""


def trace_fragments(photo: Photo, request: Request, lens: Profile | None = None) -> Trace:
    """Measure a part that is broken in two, both pieces in one photo with a reference.

    Args:
        photo: upright.
        request, lens: see `measure.tracing.tracing.trace`.

    Raises:
        ReferenceRefused: there is no reference, or none that can be trusted.
        PhotoRefused: it is too blurred.
        PartRefused: the pieces can't be told from what surrounds them, or don't fit each other.
    """
    thickness_mm = request.height_mm
    reference = parts.reference_of(photo, lens, request)
    view = reference.view
    pieces = find_pieces(photo.rgb, reference, thickness_mm)
    if isinstance(pieces, NoSilhouette):
        raise PartRefused.of(pieces.message)
    for piece in pieces:
        require_same_surface(reference, piece)
    every = [c for piece in pieces for c in piece.contours_px]
    light = Light.of(photo.rgb, parts.box_around(every, view, thickness_mm), reference.optics)
    wall, known = Wall(thickness_mm, 0.0), Rim.known(request.rim if thickness_mm > 0 else "sharp")
    both: list[Followed] = []
    for own, other in (pieces, pieces[::-1]):
        taken = (*reference.taken_px, other.contours_px[0])
        both.append(followed_part(light, view, own.contours_px, wall, known, taken, settled=bool(both)))
        view = both[-1].view
    reference = replace(reference, view=view)
    rim = Rim.together([f.rim for f in both])
    first, second = (_reckoned(f, rim) for f in both)
    shared = parts.shared_covariance(view, thickness_mm, opening=False, rim=rim)
    joined = put_together(first, second)
    found = outline(joined.loops, (*SHARED_NAMES, *PLACING_NAMES), _with_placing(shared))
    if not parts.fits(found, joined.loops) or not parts.sound(found):
        raise PartRefused(_NOT_JOINED, "no-outline")
    seen, also = _as_seen(view, found, joined, wall)
    scale = parts.scale_of(reference, found, lens)
    estimate, motion = squared_up(parts.with_plain_view(found), parts.horizontal_rad(view, found))
    broken = tuple(motion.of(f) for f in _broken(found, joined))
    cautions = (*reference.cautions, Caution("joined", joined.gap.in_words()))
    if across := joined.across():
        names = ", ".join(f.label for f in estimate.features if f.loop in across)
        cautions += (Caution("hole-at-break", f"{_HOLE} ({names})."),)
    if thickness_mm == 0:
        cautions += (parts.NO_THICKNESS,)
    return Trace(
        estimate,
        scale,
        "part",
        thickness_mm,
        cautions,
        reference,
        seen,
        Sighted(view, frame_back(motion), wall, opening=False),
        rim=rim if thickness_mm > 0 else None,
        broken=broken,
        gap=joined.gap,
        also_px=also,
        break_px=_break_px(view, joined, wall),
    )


_HOLE = Words("The break runs through a hole: if the part has none there, a piece of it is lost")
_NOT_JOINED = Words(
    "The edges of the two pieces put together make no outline that can be followed all the "
    "way round: trace the larger piece alone and complete it, or glue them and take the "
    "photo again."
)


def _reckoned(piece: Followed, rim: Rim) -> Followed:
    """A piece as it is with another rim: the law is linear in the radius."""
    at, by = SHARED_NAMES.index(RIM), rim.radius_mm - piece.rim.radius_mm

    def moved(loops: Sequence[EdgeLoop]) -> tuple[EdgeLoop, ...]:
        return tuple(replace(e, points_mm=e.points_mm + by * e.sensitivity[:, at, None] * e.normals) for e in loops)

    return replace(piece, loops=moved(piece.loops), located=moved(piece.located), rim=rim)


def _with_placing(shared: Array) -> Array:
    """The covariance of the shared terms with the placing's three."""
    n = len(shared)
    out = np.eye(n + len(PLACING_NAMES))
    out[:n, :n] = shared
    return out


def _broken(found: Estimate, joined: JoinedLoops) -> tuple[Feature, ...]:
    """The break as it was seen on the first piece, labelled on from the outline's curves."""
    used = sum(f.kind == "curve" for f in found.features)
    out = []
    for k, line in enumerate(joined.breaks, used + 1):
        points = as_points(line)
        out.append(Curve(f"C{k}", 0, points=points))
    return tuple(out)


def _break_px(view: View, joined: JoinedLoops, wall: Wall) -> tuple[Array, ...]:
    """(n, 2) pixels along the break, on the first piece and then on the second."""
    return tuple(as_seen(view, line, 0, wall, opening=False) for line in (*joined.breaks, *joined.faces))


def _as_seen(
    view: View, found: Estimate, joined: JoinedLoops, wall: Wall
) -> tuple[tuple[Array, ...], tuple[tuple[int, Array], ...]]:
    """(n, 2) pixels along each feature where most of it is seen, and the rest of those that run over both pieces."""
    from scipy.spatial import cKDTree

    trees = [cKDTree(e.points_mm) for e in joined.loops]
    seen: list[Array] = []
    also: list[tuple[int, Array]] = []
    for k, f in enumerate(found.features):
        path = evenly(flatten(f, FINEST_MM), SPACING_MM, 3)
        second = joined.of_second[f.loop][trees[f.loop].query(path)[1]]
        stretches = []
        for a, b in _stretches(second):
            own = path[a : b + 1] if not second[a] else joined.mating.motion.back().points(path[a : b + 1])
            stretches.append(as_seen(view, own, f.loop, wall, opening=False))
        stretches.sort(key=lambda s: -len(s))
        seen.append(stretches[0])
        also += [(k, s) for s in stretches[1:]]
    return tuple(seen), tuple(also)


def _stretches(second: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last point of each stretch on one piece; a single point is no stretch."""
    cuts = np.flatnonzero(np.diff(second.astype(int))) + 1
    ends = [0, *cuts.tolist(), len(second)]
    out = [(a, b - 1) for a, b in pairwise(ends) if b - a >= 3]
    return out or [(0, len(second) - 1)]

"""Small steps of a trace: what is known of the camera, what all edge points share, where things are seen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from calib.arrays import Array
from calib.errors import ReferenceRefused
from calib.finding.finding import find_reference
from calib.lens.lens import Profile
from calib.lens.prior import prior_by
from calib.messages import Remedy
from calib.photo.photo import Photo
from calib.rectangle.refusals import Failure
from calib.reference.found import Caution, Found
from calib.tools.budget import K95
from calib.view.terms import view_root
from calib.view.view import Prior, View, camera_prior
from calib.words import Words
from measure.edges.blur import require_sharp
from measure.edges.edge_loop import EdgeLoop
from measure.edges.rounded import Rim
from measure.edges.shared_terms import SHARED_NAMES
from measure.geometry.features import Estimate, Feature, flatten
from measure.geometry.motion import Motion
from measure.tracing.request import Request
from measure.tracing.values import Scale

VIEW_TERMS = 10
"""How many of the shared terms are the view's; they come first."""
THICKNESS_SD_MM = 0.025
"""Standard uncertainty of a thickness as given: the caliper, the hand, and a part that does not lie quite flat."""
UNKNOWN_THICKNESS_SD_MM = 6.0
"""The same where it is not known: nearly all flat parts are thinner than twice that (common practice)."""
NO_THICKNESS = Caution(
    "no-thickness",
    Words(
        "The part's thickness is not known, and so not how much nearer to the camera its upper "
        "edge lies than what gives the scale: measure it and trace again."
    ),
)
BESIDE = Caution(
    "something-beside", Words("Something else lies beside the part and is not measured"), (Remedy("trace-in-two"),)
)
UNCHECKED = Caution(
    "unchecked-file",
    Words(
        "The photo is a WebP without loss, which has no checksums: whether every byte of it is as it was taken can't "
        "be told; if something looks odd, send it as the camera saved it"
    ),
)
MARGIN_PX, MARGIN_MM = 60, 8
"""How far round a contour edges are looked for: px for the blur and the search, and mm with two thicknesses for the
wall and its shadow."""
EXTENT_MM, LENGTH_SHARE = 1.5, (0.8, 1.2)
"""An outline keeps to its points within so much in extent, and within these shares in length (chosen)."""
MOSTLY_CLIPPED = 0.3
"""Share of a visible wall at the sensor's limit from which it can't be told from a face that is there as well; and of a
face's boundary at the limit in two colours, where a rounded rim is as bright as the face (of 12 rendered photos with
half of it and more four were wrong by 0.21 to 0.5 mm, all others came to nothing). If the third colour shows the rim,
and makes it no likelier rounded than most are, that is no matter, unless it is cut off as well."""
MOSTLY_BURNT_OUT, WALL_OF_WHITE = 0.8, 10.0
"""The same of the face, see `measure.edges.plausible.burnt_out`; and how plainly the wall of such a face must be told,
see `PLAINLY_WALL`: of 20 rendered photos whose face came to more than a half, or to more than this, 12 were wrong by
0.16 mm or more and told it less plainly, or not at all; two of 0.65 and 0.75 were right, 126 came to less than 0.1."""
BURNT_OUT = Words(
    "The part is so bright in the photo that its face and its walls can't be told from each other: "
    "take the photo again with less light on it."
)
OVEREXPOSED = Caution(
    "overexposed",
    Words(
        "The part is so bright in the photo that its face and its walls can't be told from "
        "each other everywhere: take the photo again with less light on it, or look at every "
        "edge in the picture."
    ),
)
PLAINLY_WALL = 4.5
"""What is taken for the part's wall is likelier wall than ground by this much at least (log likelihood; of 109 rendered
photos two came to less, and both were wrong by 0.24 mm; three of the next seven were)."""
WALL_OR_SHADOW = Caution(
    "wall-or-shadow",
    Words(
        "The part's wall can hardly be told from the shadow beside it: the outline may be off "
        "by the wall's width on the side that faces the camera: look at it in the picture, and "
        "measure across."
    ),
)
PLAINLY_DEEP = 10.0
"""The depth of an opening's wall is likelier by this much than any with which its rim would lie elsewhere: by 16 at the
least in photos that came out right (log likelihood, of every fourth line of sight; 27 rendered photos)."""
WALL_OR_PANEL = Caution(
    "wall-or-shadow",
    Words(
        "The opening's wall can hardly be told from what lies round it or below: the rim may "
        "be off by the wall's width on the side that faces the camera: look at it in the "
        "picture, and measure across."
    ),
)


def spike(depth_mm: float) -> Caution:
    """What is said of a spike that was left out."""
    text = Words(
        "Something thin that sticks out of the part by {depth_mm:.1f} mm lies on its wall in "
        "the photo and was left out as a reflection: if it belongs to the part, mark it in the "
        "picture.",
        depth_mm=depth_mm,
    )
    return Caution("spike", text)


WALL_CONTRADICTS = Caution(
    "wall-contradicts",
    Words(
        "The wall that the photo shows of the part does not go with its thickness: measure "
        "that again. Or a shadow was taken for the wall's foot."
    ),
)
STEPPED_FACE = Caution(
    "stepped-face",
    Words(
        "The part's face has steps, or mirrors what is round it: the outline keeps to the outermost edge. A raised "
        "rim, a boss or a figure inside it is not measured, and a slot of a millimetre or less would be taken for one: "
        "look at the outline in the picture."
    ),
)
NO_OUTLINE = Words(
    "The part's edges can't be followed all the way round: take the photo again in even "
    "light, with the part on a plain ground of another colour."
)


def prior_of(photo: Photo, lens: Profile | None) -> Prior:
    """What is known of the camera: from EXIF, and from its profile."""
    h, w = photo.rgb.shape[:2]
    plain = camera_prior((w, h), photo.focal_35mm)
    return plain if lens is None else prior_by(lens, plain, photo)


def reference_of(photo: Photo, lens: Profile | None, request: Request) -> Found:
    """The reference in a photo that is sharp enough to measure in.

    Args:
        photo: upright.
        lens, request: see `measure.tracing.tracing.trace`.

    Raises:
        ReferenceRefused: there is no reference, or none that can be trusted.
        PhotoRefused: it is too blurred.
    """
    found = find_reference(photo.rgb, prior_of(photo, lens), request.reference, request.corners_px)
    if isinstance(found, Failure):
        raise ReferenceRefused.of(found)
    require_sharp(photo.rgb, found)
    return found


def box_around(contours_px: Sequence[Array], view: View, thickness_mm: float) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of the part of the photo in which edges are looked for."""
    points = np.concatenate(contours_px)
    margin = MARGIN_PX + (2 * thickness_mm + MARGIN_MM) / view.mm_per_px(np.zeros(2))
    low, high = points.min(0) - margin, points.max(0) + margin
    return int(low[0]), int(low[1]), int(high[0]) + 1, int(high[1]) + 1


def shared_covariance(view: View, thickness_mm: float, opening: bool, rim: Rim | None = None) -> Array:
    """(s, s) covariance of the terms that all edge points share (`measure.edges.shared_terms.SHARED_NAMES`)."""
    out = np.eye(len(SHARED_NAMES))
    out[:VIEW_TERMS, :VIEW_TERMS] = view.covariance
    known = thickness_mm > 0 or opening
    at = SHARED_NAMES.index("thickness")
    out[at, at] = (THICKNESS_SD_MM if known else UNKNOWN_THICKNESS_SD_MM) ** 2
    if rim is not None:
        at = SHARED_NAMES.index("rim")
        out[at, at] = rim.sd_mm**2
    return out


def fits(e: Estimate, loops: Sequence[EdgeLoop]) -> bool:
    """Whether an outline keeps to the points it was fitted to: see `misfits`."""
    return not misfits(e, loops)


def misfits(e: Estimate, loops: Sequence[EdgeLoop]) -> set[int]:
    """The loops of an outline that don't keep to the points they were fitted to.

    They should keep to them in extent within 1.5 mm, in length within a fifth, and be nowhere away from them for longer
    than a sharp corner takes, as an arc is that runs the wrong way round, or a spike. Nor should a hole's outline meet
    another one.
    """
    import shapely

    out, rings = set(), {}
    for k, loop in enumerate(loops):
        pieces = [flatten(f) for f in e.features if f.loop == k]
        if not pieces or not all(np.all(np.isfinite(p)) for p in pieces):
            out.add(k)
            continue
        drawn, seen = np.concatenate(pieces), loop.points_mm
        rings[k] = shapely.LinearRing(drawn)
        extent = max(np.abs(drawn.min(0) - seen.min(0)).max(), np.abs(drawn.max(0) - seen.max(0)).max())
        length = float(np.hypot(*np.diff(drawn, axis=0).T).sum())
        around = float(np.hypot(*(np.roll(seen, -1, 0) - seen).T).sum())
        even = LENGTH_SHARE[0] < length / around < LENGTH_SHARE[1]
        if extent > EXTENT_MM or not even or away_mm(drawn, seen) > MOST_AWAY_MM:
            out.add(k)
    return out | {k for j, k in combinations(rings, 2) if rings[j].intersects(rings[k])}


def farthest_mm(a: Sequence[Feature], b: Sequence[Feature]) -> float:
    """How far two outlines lie apart where they do most."""
    import shapely

    one, other = (shapely.MultiLineString([flatten(f) for f in x]) for x in (a, b))
    return float(shapely.hausdorff_distance(one, other))


FAR_MM, MOST_AWAY_MM = 0.5, 1.5
"""An outline is away from its points when they are farther than this; it may be so over this length."""


def away_mm(drawn: Array, seen: Array) -> float:
    """Length of a closed outline (n, 2) that lies farther than FAR_MM from a closed line through points (m, 2)."""
    import shapely

    path = shapely.LinearRing(drawn)
    near = shapely.LinearRing(seen).buffer(FAR_MM, quad_segs=4)
    return float(shapely.difference(path, near).length)


CROSSES = (
    "The outline that was found crosses itself, so it is none: show in the picture what is part and what is not, or "
    "take the photo again with the part on a plain ground of another colour."
)
CROSSING_MM = 0.05
"""Joints that overlap by less are no crossing: arithmetic, and blunt arcs beside each other (chosen)."""


def crosses_itself(e: Estimate) -> bool:
    """Whether the outer boundary crosses itself by more than joints overlap."""
    import shapely

    ring = np.concatenate([flatten(f)[:-1] for f in e.features if f.loop == 0])
    return not bool(shapely.LinearRing(ring).simplify(CROSSING_MM).is_simple)


def sound(e: Estimate) -> bool:
    """Whether the covariance is one, but for rounding: if not, the outline hangs on too little."""
    values = np.linalg.eigvalsh((e.white + e.white.T) / 2)
    return bool(values.min() > -max(1e-10, ROUNDING * float(values.max())))


ROUNDING = 1e-13
"""Of a covariance's largest eigenvalue, what the last digits of a double may take off the others."""


def with_plain_view(e: Estimate) -> Estimate:
    """The same estimate with the view's ten terms replaced by as many independent ones of unit variance.

    Pose and focal length are so strongly correlated that sums over their raw covariance lose half of a double's digits.
    """
    root = view_root(e.shared[:VIEW_TERMS, :VIEW_TERMS])
    sensitivity = np.c_[e.sensitivity[:, :VIEW_TERMS] @ root, e.sensitivity[:, VIEW_TERMS:]]
    shared = e.shared.copy()
    shared[:VIEW_TERMS, :VIEW_TERMS] = np.eye(VIEW_TERMS)
    names = (*(f"view_{k}" for k in range(VIEW_TERMS)), *e.shared_names[VIEW_TERMS:])
    return replace(e, sensitivity=sensitivity, shared=shared, shared_names=names)


def with_plain_terms(edge: EdgeLoop, e: Estimate) -> EdgeLoop:
    """Edge points with the view's ten terms replaced as `with_plain_view` does it of their outline."""
    root = view_root(e.shared[:VIEW_TERMS, :VIEW_TERMS])
    return replace(edge, sensitivity=np.c_[edge.sensitivity[:, :VIEW_TERMS] @ root, edge.sensitivity[:, VIEW_TERMS:]])


def in_frame(edge: EdgeLoop, motion: Motion) -> EdgeLoop:
    """Edge points where a motion takes them."""
    return replace(edge, points_mm=motion.points(edge.points_mm), normals=edge.normals @ motion.matrix().T)


def _span(e: Estimate) -> tuple[Array, Array]:
    """(2,) lower left and upper right of an outline, mm."""
    points = np.concatenate([flatten(f) for f in e.features])
    return points.min(0), points.max(0)


def scale_of(found: Found, e: Estimate, lens: Profile | None) -> Scale:
    """The scale at the part, with the uncertainty that the view's covariance gives the part's own length and width."""
    view = found.view
    low, high = _span(e)
    return Scale(
        reference=found.name,
        mm_per_px=view.mm_per_px((low + high) / 2),
        u95_relative=scale_u95(view, low, high),
        camera_height_mm=float(view.centre_mm[2]),
        tilt_deg=view.tilt_deg,
        lens=lens.name if lens else "estimated",
    )


def too_bright(burnt_out: float, wall_told: float | None) -> bool:
    """Whether a face has lost its light, and its wall is not plain all the same."""
    return burnt_out > MOSTLY_BURNT_OUT and (wall_told is None or wall_told < WALL_OF_WHITE)


def said_of(reference: Found, scale: Scale) -> tuple[Caution, ...]:
    """What is said of a reference, but that one of its sides is faint where the scale at the part is known all the
    same."""
    known = scale.u95_relative < FAINT_U95
    return tuple(c for c in reference.cautions if not (known and c.code == "faint-side"))


FAINT_U95 = 0.005
"""A scale that is known better than this, of itself, is good enough whatever a side looks like: a quarter of a
millimetre on a part of 50 mm (chosen)."""


def scale_u95(view: View, low: Array, high: Array) -> float:
    """Relative half-width of the interval that holds the true scale of a part, 19 times in 20.

    Args:
        view: with its covariance.
        low, high: (2,) lower left and upper right of the part on the reference's plane, mm.
    """
    middle = (low + high) / 2
    ends = np.array([[low[0], middle[1]], [high[0], middle[1]], [middle[0], low[1]], [middle[0], high[1]]])
    change = view.plane_sensitivity(view.pixels(ends))
    along = (change[1, 0] - change[0, 0]) / (high - low)[0], (change[3, 1] - change[2, 1]) / (high - low)[1]
    return K95 * max(math.sqrt(float(g @ view.covariance @ g)) for g in along)


def horizontal_rad(view: View, e: Estimate) -> float:
    """Angle of the photo's horizontal in the card's plane, at the part."""
    low, high = _span(e)
    at = view.pixels(((low + high) / 2)[None])[0]
    a, b = view.plane(np.array([at, at + np.array([10.0, 0.0])]))
    return math.atan2(b[1] - a[1], b[0] - a[0])

"""From a rough contour to an outline that keeps to its points: edges located, cut into features, and located again
along those."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from calib.arrays import Array
from calib.errors import PartRefused
from calib.light.profile import Light
from calib.view.view import View
from calib.words import Words
from measure.edges.edge_blur import blur_of_edges
from measure.edges.edge_loop import EdgeLoop
from measure.edges.light_steps import WallLight
from measure.edges.plausible import contrast_along, require_edges
from measure.edges.retrace import along_features, along_path
from measure.edges.rounded import Rim
from measure.edges.shared_terms import SHARED_NAMES
from measure.edges.sight import Wall
from measure.edges.standpoint import Standpoint, apart_mm, by_walls, feet_as_expected
from measure.edges.upper_edges import Located, Seen, locate
from measure.geometry.features import Estimate, Feature
from measure.outline.odd_teeth import MISFIT, misfit
from measure.outline.outline import outline
from measure.outline.teeth import even_teeth
from measure.rim import RimWord
from measure.silhouette.explaining import Explained, explain
from measure.silhouette.explaining_opening import explain_opening
from measure.silhouette.strokes import NO_STROKES, Strokes
from measure.tracing import parts
from measure.tracing.stages import Stage, Watch


@dataclass(frozen=True, slots=True)
class Followed:
    """The outline of a part, or of an opening, in the plane of its reference.

    Attributes:
        estimate: its features.
        loops: the points that they were fitted to, the outer boundary first.
        located: points found before there were features: they follow a fracture more closely.
        rim: what is known of the upper rim.
        wall: heights of its edges; of an opening as they were found.
        view: the camera, as a part's walls have it too.
        faces_mm: (n, 2) boundary of the face's colour of each loop.
        clipped, wall_told, spike_mm: see `measure.silhouette.explaining.Explained`; of an opening
            `measure.silhouette.explaining_opening.ExplainedOpening`. A wall that could be a shadow is nothing to tell
            of where its feet bear it out.
        contradicted: whether walls speak against the thickness, see `measure.edges.standpoint.Standpoint`.
        stepped: whether the face has steps inside its boundary.
        rim_shown: whether the light across the upper rim told of that.
    """

    estimate: Estimate
    loops: tuple[EdgeLoop, ...]
    located: tuple[EdgeLoop, ...]
    rim: Rim
    wall: Wall
    view: View
    faces_mm: tuple[Array, ...] = ()
    clipped: float = 0.0
    wall_told: float | None = None
    spike_mm: float = 0.0
    contradicted: bool = False
    stepped: bool = False
    rim_shown: bool = False


def followed_part(
    light: Light,
    view: View,
    contours_px: Sequence[Array],
    wall: Wall,
    rim: Rim,
    taken_px: Sequence[Array] = (),
    strokes: Strokes = NO_STROKES,
    watch: Watch = lambda stage: None,
    *,
    settled: bool = False,
) -> Followed:
    """The outline of a part: its face's, found by explaining the picture, then its edges.

    Args:
        light: the photo around it.
        view: the solved view.
        contours_px: rough closed contours (n, 2), the outer boundary first.
        wall: heights of the part's edges.
        rim: what is known of the upper rim.
        taken_px: areas (n, 2) that something else lies on.
        strokes: what a person has marked.
        watch: is told what is done.
        settled: whether the view has heard of walls already.

    Raises:
        PartRefused: hardly an edge is seen, or it can't be followed all the way round.
    """

    def explained(seen_from: View) -> tuple[Explained, float]:
        return _explained(light, seen_from, contours_px, wall, taken_px, strokes)

    face, blur_px = explained(view)
    stand = Standpoint(view)
    if not (settled or face.uneven):
        face, blur_px, stand = _walls_heard(light, view, (face, blur_px), explained, wall, rim.told)
    outer, inner = (ANY_WALL if w is None else WallLight(*w.light) for w in face.walls)
    seen = Seen(face.outlines_mm, wall, blur_px, (outer, inner), uneven=face.uneven)
    told = face.wall_told
    if (
        told is not None
        and told < parts.PLAINLY_WALL
        and feet_as_expected(light, stand.view, face.outlines_mm, wall, blur_px)
    ):
        told = None
    estimate, loops, found = _followed(light, stand.view, seen, rim, watch, stand.rounded)
    return Followed(
        estimate,
        loops,
        found.loops,
        found.rim,
        wall,
        stand.view,
        face.outlines_mm,
        face.clipped,
        told,
        face.spike_mm,
        stand.contradicted,
        face.stepped,
        found.rim_shown,
    )


COARSER = (1.5, 2.5)
"""Times its noise that a tooth is cut by where a finer cut does not keep to its points: its pieces are too short to
meet (chosen)."""
ANY_WALL = WallLight(0.84, 0.79)
"""Light of a wall of which nothing was learned: mean and standard deviation of the lognormal that it is reckoned with
at first (`measure.silhouette.appearance.WALL_FIRST`)."""
MOST_HOLES = 350
"""So many loops are located and cut into features within a quarter of a minute on one core, 40 ms each (measured)."""
TOO_MANY = Words(
    "The part has {holes} holes, more than the {most} that are measured in one "
    "photo: photograph a piece of it at a time.",
)
AGAIN_MM, MOST_TURNS = 0.1, 4
"""A view that has moved the part's upper edge by more asks for the picture to be explained again: as much as edges are
looked for beside the outline (chosen). A wrong view draws walls too wide, and so the face too small: what its walls
tell is then wrong as well, and so they are asked again, until nothing moves or so often: of 156 rendered photos all
whose walls were right settled within three turns."""


def _walls_heard(
    light: Light,
    view: View,
    first: tuple[Explained, float],
    explained: Callable[[View], tuple[Explained, float]],
    wall: Wall,
    told: RimWord,
) -> tuple[Explained, float, Standpoint]:
    """Face, blur and where the camera stood, which go with one another; the first ones, contradicted, if they never do.

    Args:
        first: face and blur as `view` has them; explained: the same as another view has them.
    """
    (face, blur_px), stand = first, Standpoint(view)
    for _ in range(MOST_TURNS):
        before, as_known = stand, face.seen_by(view, stand.view, wall.upper_mm)
        stand = by_walls(light, view, as_known.outlines_mm, wall, blur_px, told)
        if apart_mm(before.view, stand.view, as_known.outlines_mm[0], wall) < AGAIN_MM:
            return as_known.seen_by(stand.view, view, wall.upper_mm), blur_px, stand
        face, blur_px = explained(stand.view)
    return *first, Standpoint(view, contradicted=True)


def _explained(
    light: Light, view: View, contours_px: Sequence[Array], wall: Wall, taken_px: Sequence[Array], strokes: Strokes
) -> tuple[Explained, float]:
    """The part's face, and the blur of its edges, px.

    Raises:
        PartRefused: it can't be followed all the way round.
    """
    face = explain(light, view, contours_px, wall.upper_mm, wall.lower_mm, taken_px, strokes)
    if face is None:
        raise PartRefused(parts.NO_OUTLINE, "no-outline")
    if len(face.loops_mm) > MOST_HOLES:
        raise PartRefused(Words(TOO_MANY, holes=len(face.loops_mm) - 1, most=MOST_HOLES), "too-many-holes")
    return face, blur_of_edges(light, [view.pixels(loop, wall.upper_mm) for loop in face.loops_mm])


def followed_opening(
    light: Light,
    view: View,
    contour_px: Array,
    rim: Rim,
    taken_px: Sequence[Array] = (),
    strokes: Strokes = NO_STROKES,
    watch: Watch = lambda stage: None,
) -> Followed:
    """The outline of an opening's rim in the plane of the reference: how far down its wall goes is found as well.

    Args:
        light: the photo around it.
        view: the solved view.
        contour_px: rough closed contour (n, 2).
        rim: what is known of its upper edge.
        taken_px, strokes, watch: see `followed_part`.

    Raises:
        PartRefused: hardly an edge is seen, or it can't be followed all the way round.
    """
    hole = explain_opening(light, view, contour_px, taken_px, strokes)
    if hole is None:
        raise PartRefused(parts.NO_OUTLINE, "no-outline")
    blur_px = blur_of_edges(light, [view.pixels(hole.rim_mm)])
    wall, colour = Wall(0.0, -hole.depth_mm), None if hole.wall is None else WallLight(*hole.wall.light)
    seen = Seen((hole.rim_mm,), wall, blur_px, (None, colour), opening=True)
    estimate, loops, found = _followed(light, view, seen, rim, watch)
    rim, wall = found.rim, found.seen.wall
    return Followed(estimate, loops, found.loops, rim, wall, view, (hole.rim_mm,), hole.clipped, hole.wall_told)


def _followed(
    light: Light, view: View, seen: Seen, rim: Rim, watch: Watch, rounded: float | None = None
) -> tuple[Estimate, tuple[EdgeLoop, ...], Located]:
    """Features, the points that they keep to, and the points and the rim that were located before."""
    found = locate(light, view, seen, rim, rounded)
    seen = found.seen
    shared = parts.shared_covariance(view, seen.wall.upper_mm, opening=seen.opening, rim=found.rim)

    def again(features: tuple[Feature, ...]) -> list[EdgeLoop]:
        return along_features(light, view, features, seen, found.rim)

    contrast = partial(contrast_along, light, view, seen.wall.upper_mm)
    loops = [_along_mean_teeth(light, view, k, found.loops, seen, found.rim) for k in range(len(found.loops))]
    return *_settled(loops, shared, again, contrast, watch), found


MEAN_TEETH = 2
"""Times that edges are located along the mean tooth, each time nearer to its fillets (chosen)."""


def _along_mean_teeth(
    light: Light, view: View, number: int, loops: Sequence[EdgeLoop], seen: Seen, rim: Rim
) -> EdgeLoop:
    """A loop's points; of even teeth those along the mean of them, where its fillets are seen less rounded."""
    loop = loops[number]
    others = [e.points_mm for e in loops]
    for _ in range(MEAN_TEETH):
        teeth = even_teeth(loop)
        if teeth is None:
            break
        fine = along_path(light, view, number, teeth.loop.points_mm, others, seen, rim)
        if even_teeth(fine) is None:
            break
        loop = fine
    return loop


def _but_for_teeth(again: Sequence[EdgeLoop], loops: Sequence[EdgeLoop]) -> list[EdgeLoop]:
    """Points located again, but the first ones of even teeth.

    Those lie at other places of each tooth, so that all teeth together show their fillets; points along the features
    lie at the same ones.
    """
    return [first if even_teeth(first) else e for e, first in zip(again, loops, strict=True)]


def _expected(loops: Sequence[EdgeLoop]) -> list[EdgeLoop]:
    """The points that an outline has to keep to: of even teeth the mean ones, since single edges may be mistaken."""
    return [t.loop if (t := even_teeth(loop)) else loop for loop in loops]


def _teeth_fit(found: Estimate, loops: Sequence[EdgeLoop]) -> bool:
    """Whether teeth are drawn as the mean of them was seen."""
    return all(misfit(found, k, t) < MISFIT for k, loop in enumerate(loops) if (t := even_teeth(loop)))


MORE_LOOKS, STAYS_MM = 2, 0.05
"""An outline that moves by more somewhere as it is looked along is looked along again, but so often (chosen: a pixel of
a photo that the part fills). Where a wall comes into sight, and which way a fillet faces there, hangs on the shape that
it is looked along with: a chord shows its foot for its edge."""

Looked = tuple[Estimate, list[EdgeLoop]]


def _until_it_stays(first: Estimate, looked: Looked, look: Callable[[Estimate], Looked | None]) -> Looked:
    """An outline and its points, located along itself."""
    before = first
    for _ in range(MORE_LOOKS):
        if parts.farthest_mm(before.features, looked[0].features) < STAYS_MM:
            break
        before, more = looked[0], look(looked[0])
        if more is None:
            break
        looked = more
    return looked


def _looked_along(
    found: Estimate,
    loops: Sequence[EdgeLoop],
    expected: Sequence[EdgeLoop],
    shared: Array,
    look_again: Callable[[tuple[Feature, ...]], list[EdgeLoop]],
) -> Looked | None:
    """Features and points that were located along features; None if these do not keep to them.

    Args:
        found: whose features are looked along.
        loops: the points located first; expected: those of them that an outline has to keep to.
        shared, look_again: see `_settled`.
    """
    again = _but_for_teeth(look_again(found.features), loops)
    better = outline(again, SHARED_NAMES, shared)
    astray = parts.misfits(better, _expected(again)) | parts.misfits(better, expected)
    if astray and 0 not in astray:  # an outer boundary that can't be followed is no reason to try harder
        again = [loops[k] if k in astray else e for k, e in enumerate(again)]
        better = outline(again, SHARED_NAMES, shared)
    keeps = parts.fits(better, _expected(again)) and parts.fits(better, expected) and parts.sound(better)
    return (better, again) if keeps else None


def _settled(
    loops: Sequence[EdgeLoop],
    shared: Array,
    look_again: Callable[[tuple[Feature, ...]], list[EdgeLoop]],
    contrast: Callable[[Array], float],
    watch: Watch,
) -> tuple[Estimate, tuple[EdgeLoop, ...]]:
    """Features of located points, and the points: located once more along the first features, where that serves."""
    require_edges(loops, contrast)
    watch(Stage.FEATURES)
    found = outline(loops, SHARED_NAMES, shared, passes=0)
    used, expected, looked = list(loops), _expected(loops), None
    look = partial(_looked_along, loops=loops, expected=expected, shared=shared, look_again=look_again)
    if parts.fits(found, expected):
        watch(Stage.AGAIN)
        looked = look(found)
    if looked is None:
        found = outline(loops, SHARED_NAMES, shared)
    else:
        found, used = _until_it_stays(found, looked, look)
    if any(even_teeth(loop) for loop in loops) and not (parts.fits(found, expected) and _teeth_fit(found, loops)):
        tries = (outline(loops, SHARED_NAMES, shared, even=coarser) for coarser in COARSER)
        kept = next((t for t in tries if parts.fits(t, expected) and _teeth_fit(t, loops)), None)
        found, used = kept or found, list(loops)
        if kept is None:  # what looks like teeth may be none
            found, expected = outline(loops, SHARED_NAMES, shared, even=0.0), list(loops)
    if not parts.fits(found, expected) or not parts.sound(found):
        raise PartRefused(parts.NO_OUTLINE, "no-outline")
    return found, tuple(used)

"""What a photo alone tells of a part: its features, and the scale that they were measured by."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib.errors import PartRefused
from measure.tracing.request import Request
from measure.tracing.stages import Stage, Watch
from measure.tracing.values import Trace

if TYPE_CHECKING:
    from calib.lens.lens import Profile
    from calib.photo.photo import Photo
    from calib.reference.found import Found


def trace(photo: Photo, request: Request, lens: Profile | None = None, watch: Watch = lambda stage: None) -> Trace:
    """Find the reference in a photo, and measure a part, or an opening's rim, by it.

    Args:
        photo: upright.
        request: what is known of the part, and which reference to look for.
        lens: profile of the camera, if there is one.
        watch: see there.

    Raises:
        ReferenceRefused: there is no reference, or none that can be trusted.
        PhotoRefused: it is too blurred.
        PartRefused: the part can't be told from what surrounds it.
    """
    from measure.tracing import parts

    watch(Stage.CARD)
    return trace_by(photo, parts.reference_of(photo, lens, request), request, lens, watch)


def trace_by(
    photo: Photo, reference: Found, request: Request, lens: Profile | None = None, watch: Watch = lambda stage: None
) -> Trace:
    """Measure a part, or an opening's rim, by a reference that was found in the photo.

    Args:
        photo: upright.
        reference: what gives the view.
        request: what is known of the part.
        lens: profile of the camera, if there is one.
        watch: see there.

    Raises:
        ReferenceRefused: the part does not lie on what the reference lies on.
        PartRefused: the part can't be told from what surrounds it.
    """
    import numpy as np

    from calib.light.profile import Light
    from measure.dimensioning.frame import squared_up
    from measure.edges.half_seen import half_seen_holes
    from measure.edges.plausible import burnt_out, doubtful_edges
    from measure.edges.rounded import COMMON, Rim
    from measure.edges.sight import Wall
    from measure.outline.odd_teeth import teeth_that_differ
    from measure.outline.teeth import even_teeth
    from measure.silhouette.silhouette import NoSilhouette
    from measure.tracing import parts, pixels
    from measure.tracing.doubt import doubtful_outline
    from measure.tracing.following import followed_opening, followed_part
    from measure.tracing.sighted import Sighted, as_seen, frame_back, path_of
    from measure.tracing.whereabouts import find_part, require_same_surface

    subject, thickness_mm = request.subject, request.height_mm
    view = reference.view
    px_mm = view.mm_per_px(np.zeros(2))
    watch(Stage.PART)
    opening = subject == "opening"
    rough = find_part(photo.rgb, reference, subject, thickness_mm, request.strokes)
    if isinstance(rough, NoSilhouette):
        raise PartRefused.of(rough.message)
    require_same_surface(reference, rough)
    watch(Stage.EDGES)
    box = parts.box_around(rough.contours_px, view, thickness_mm)
    light = Light.of(photo.rgb, box, reference.optics)
    rounded = Rim.known(request.rim if thickness_mm > 0 or opening else "sharp")
    taken, strokes = reference.taken_px, request.strokes
    try:
        if opening:
            follow = followed_opening(light, view, rough.contours_px[0], rounded, taken, strokes, watch)
        else:
            wall = Wall(thickness_mm, 0.0)
            follow = followed_part(light, view, rough.contours_px, wall, rounded, taken, strokes, watch)
    except PartRefused as why:
        raise pixels.cause(why, px_mm) from None
    found, view = follow.estimate, follow.view
    if parts.crosses_itself(found):
        raise PartRefused(parts.CROSSES, "no-outline")
    burnt = 0.0 if opening else burnt_out(light, view, thickness_mm, follow.loops[0].points_mm)
    if parts.too_bright(burnt, follow.wall_told):
        raise PartRefused(parts.BURNT_OUT, "overexposed")
    reference = replace(reference, view=view)
    seen = tuple(as_seen(view, path_of(f), f.loop, follow.wall, opening) for f in found.features)
    scale = parts.scale_of(reference, found, lens)
    estimate, motion = squared_up(parts.with_plain_view(found), parts.horizontal_rad(view, found))
    sighted = Sighted(view, frame_back(motion), follow.wall, opening)
    toothed = {k for k, loop in enumerate(follow.loops) if even_teeth(loop)}
    cautions = parts.said_of(reference, scale) + pixels.caution(px_mm)
    cautions += doubtful_edges(found, follow.loops, follow.faces_mm, toothed)
    if not opening:
        cautions += half_seen_holes(found, follow.faces_mm, view, follow.wall)
    washed_out = 0.0
    if not opening and rounded.told != "sharp":
        washed_out = burnt
        if not follow.rim_shown or follow.rim.rounded >= COMMON:
            washed_out = burnt_out(light, view, thickness_mm, follow.loops[0].points_mm, colours=2)
    if max(follow.clipped, washed_out) > parts.MOSTLY_CLIPPED:
        cautions += (parts.OVEREXPOSED,)
    plainly, otherwise = (
        (parts.PLAINLY_DEEP, parts.WALL_OR_PANEL) if opening else (parts.PLAINLY_WALL, parts.WALL_OR_SHADOW)
    )
    if follow.wall_told is not None and follow.wall_told < plainly:
        cautions += (otherwise,)
    if follow.spike_mm:
        cautions += (parts.spike(follow.spike_mm),)
    if follow.contradicted:
        cautions += (parts.WALL_CONTRADICTS,)
    if follow.stepped:
        cautions += (parts.STEPPED_FACE,)
    cautions += doubtful_outline(found)
    if photo.unchecked:
        cautions += (parts.UNCHECKED,)
    cautions += teeth_that_differ(follow.located, follow.loops)
    if rough.beside and not opening:
        cautions += (parts.BESIDE,)
    if thickness_mm == 0 and not opening:
        cautions += (parts.NO_THICKNESS,)
    rim = follow.rim if thickness_mm > 0 or opening else None
    edges = tuple(parts.in_frame(parts.with_plain_terms(e, found), motion) for e in follow.loops)
    return Trace(estimate, scale, subject, thickness_mm, cautions, reference, seen, sighted, rim, edges=edges)

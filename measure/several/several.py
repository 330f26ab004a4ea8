"""Several photos of one part made one trace: the same part, each photo with a view of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Array
from calib.errors import PartRefused
from calib.photo.photo import Photo
from calib.reference.found import Caution
from calib.words import Words
from measure.adjustment.least_squares import chi2_limit
from measure.dimensioning.frame import squared_up
from measure.edges.rounded import RIM, Rim
from measure.geometry.features import PARAMETERS
from measure.geometry.motion import Motion
from measure.geometry.rejoin import joints, rejoined, shifted_all
from measure.geometry.symmetry import outer_loop
from measure.several.common_terms import Contribution, contributions
from measure.several.joint import JoinedOutlines, LaidOutline, joined
from measure.several.matching import covered, partners
from measure.several.registration import registrations
from measure.tracing.doubt import doubtful_outline
from measure.tracing.parts import scale_u95
from measure.tracing.values import Trace

LEAST_SHARE = 0.6
"""Photos show the same part when so much of both outlines, by length, is found in the other."""
WORST_MISFIT = 50.0
"""No feature tells more against a placing than this, chi-square; one without a partner tells as much."""
TELLING, CLEARLY, NARROWER = 25.0, 1.5, 0.8
"""The faces are told apart when features fit better by this much, and so many times as well, and the gap between the
outlines is no more than this share of the other's."""
CONTRADICTED = 1e-4
"""Photos whose views contradict each other so much that this is the chance of it are refused."""


@dataclass(frozen=True, slots=True)
class TracedPhoto:
    """One photo of several.

    Attributes:
        name: the file's.
        trace: what it shows.
        camera: what took it; equal for photos by the same one, as far as the files tell.
    """

    name: str
    trace: Trace
    camera: tuple[str | None, float | None, tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Several:
    """Photos made one.

    Attributes:
        trace: of the part as the first photo shows its face, with the first one's labels and picture.
        found_again: for each further photo, how many of its features were found in the first, and how many it has.
        turned_over: for each further photo, whether it shows the other face.
    """

    trace: Trace
    found_again: tuple[tuple[int, int], ...]
    turned_over: tuple[bool, ...]


def shown(photo: Photo, trace: Trace) -> TracedPhoto:
    """A traced photo, as one of several."""
    camera = (photo.camera, photo.focal_35mm, tuple(sorted(photo.rgb.shape[:2])))
    return TracedPhoto(photo.name, trace, camera)


def combined(photos: Sequence[TracedPhoto]) -> Several:
    """Photos of one part made one trace.

    Args:
        photos: two or more, traced with the same thickness; the first decides which face is seen, and the labels.

    Raises:
        PartRefused: they don't show the same part, or not of the same size.
    """
    photos = _with_one_rim(photos)
    every = contributions(
        [p.trace.estimate for p in photos],
        [p.trace.reference.view for p in photos],
        [(p.trace.reference.name, p.camera) for p in photos],
    )
    first, laid = photos[0], []
    cautions = [c for c in first.trace.cautions if c.code != "unsure-size"]
    for p, contribution in zip(photos[1:], every[1:], strict=True):
        lying, unsure = _lying(first, every[0], p, contribution)
        laid.append(lying)
        said = [c.after(f"{p.name}: ") for c in p.trace.cautions]
        cautions += [c for c in said if c.code not in ("no-thickness", "unsure-size")]
        if lying.motion.mirrored:
            cautions.append(Caution("other-face", _face(p.name, first.name, sure=True)))
        elif unsure:
            cautions.append(Caution("either-face", _face(p.name, first.name, sure=False)))
    joint = joined(every[0].estimate, laid)
    _check_views(photos, joint)
    if joint.apart:
        cautions.append(Caution("photos-differ", _differing(joint)))
    cautions += doubtful_outline(joint.estimate)
    trace = _trace(first.trace, every[0], joint, cautions)
    counts = tuple((len(o.pairs), sum(PARAMETERS[f.kind] > 0 for f in o.estimate.features)) for o in laid)
    return Several(trace, counts, tuple(o.motion.mirrored for o in laid))


def _with_one_rim(photos: Sequence[TracedPhoto]) -> list[TracedPhoto]:
    """The same photos, all reckoned with one radius of the upper rim: each may have shown it otherwise."""
    rims = [p.trace.rim for p in photos]
    known = [r for r in rims if r is not None]
    if len(known) < len(rims):
        return list(photos)
    one = Rim.together(known)
    return [replace(p, trace=_reckoned(p.trace, r, one)) for p, r in zip(photos, known, strict=True)]


def _reckoned(trace: Trace, was: Rim, rim: Rim) -> Trace:
    """A trace as it is with another rim: the law is linear in the radius."""
    e = trace.estimate
    at = e.shared_names.index(RIM)
    now = shifted_all(e.features, e.sensitivity[:, at] * (rim.radius_mm - was.radius_mm))
    shared = e.shared.copy()
    shared[at, at] = rim.sd_mm**2
    return replace(
        trace, rim=rim, estimate=replace(e, features=tuple(rejoined(now, joints(e.features))), shared=shared)
    )


# ----------------------------------------------------------------------------------------------- one laid on the other
def _lying(
    first: TracedPhoto, target: Contribution, other: TracedPhoto, contribution: Contribution
) -> tuple[LaidOutline, bool]:
    """Another photo's outline laid on the first one's, and whether it would lie as well turned over."""
    best: dict[bool, tuple[float, float, LaidOutline]] = {}
    for r in registrations(first.trace.estimate.features, other.trace.estimate.features):
        p = r.motion
        laid = _with_partners(target, contribution, p)
        if laid is not None:
            against = _against(target, laid)
            if p.mirrored not in best or against < best[p.mirrored][0]:
                best[p.mirrored] = (against, r.gap_mm, laid)
    if not best:
        raise PartRefused(_not_the_same(first.name, other.name), "different-parts")
    if len(best) == 1:
        return next(iter(best.values()))[2], False
    (plain, gap, lying), (over, gap_over, turned_over) = best[False], best[True]
    if plain > CLEARLY * over + TELLING and gap_over < NARROWER * gap:
        return turned_over, False
    return lying, not (over > CLEARLY * plain + TELLING and gap < NARROWER * gap_over)


def _with_partners(target: Contribution, contribution: Contribution, p: Motion) -> LaidOutline | None:
    """An outline with the partners of its features, if it has enough of them."""
    a, b = target.estimate.features, contribution.estimate.features
    pairs = partners(a, [p.of(f) for f in b])
    share = min(covered(a, [i for i, _ in pairs]), covered(b, [j for _, j in pairs]))
    return LaidOutline(contribution.estimate, p, tuple(pairs)) if share >= LEAST_SHARE else None


def _against(target: Contribution, laid: LaidOutline) -> float:
    """What tells against a placing: misfit of its pairs, and features that are left without a partner."""
    misfits = np.minimum(joined(target.estimate, [laid]).misfits[0], WORST_MISFIT)
    alone = len(target.estimate.features) + len(laid.estimate.features) - 2 * len(laid.pairs)
    return float(misfits.sum()) + WORST_MISFIT * alone


# -------------------------------------------------------------------------------------------------- what is made of it
def _check_views(photos: Sequence[TracedPhoto], joint: JoinedOutlines) -> None:
    """Refuse photos that show the part larger or smaller, or more from the side, than their references allow."""
    against = [chi2 / max(chi2_limit(freedom, CONTRADICTED), 1e-9) for chi2, freedom in joint.views]
    worst = int(np.argmax(against))
    if against[worst] > 1:
        others = [p for i, p in enumerate(photos) if i != worst]
        growth = _size(photos[worst]) / float(np.mean([_size(p) for p in others])) - 1
        told = {"photo": photos[worst].name, "growth": abs(growth)}
        rest = others[0].name if len(others) == 1 else Words("the other photos")
        larger = Words("{growth:.1%} larger", **told) if growth > 0 else Words("{growth:.1%} smaller", **told)
        text = Words(
            "{photo} and {other} contradict each other: by its own card the first shows the part {larger} than the "
            "second. In one of them card and part do not lie on the same plane, or the cards are not of one size: take "
            "the photo again, or use one photo and a reading.",
            photo=photos[worst].name,
            other=rest,
            larger=larger,
        )
        raise PartRefused(text, "photos-contradict")


def _size(p: TracedPhoto) -> float:
    """A length that goes with the part's size: the root of the area in its outer boundary."""
    import shapely

    return math.sqrt(shapely.Polygon(outer_loop(p.trace.estimate.features)).area)


def _trace(first: Trace, contribution: Contribution, joint: JoinedOutlines, cautions: Sequence[Caution]) -> Trace:
    """The first photo's trace with what all of them say."""
    estimate, _ = squared_up(joint.estimate)
    at = [joint.names.index(n) for n in contribution.estimate.shared_names]
    by = contribution.view_by_term
    view = replace(first.reference.view, covariance=by @ joint.covariance[np.ix_(at, at)] @ by.T)
    points: Array = view.plane(np.concatenate(first.seen_px))
    scale = replace(first.scale, u95_relative=scale_u95(view, points.min(0), points.max(0)))
    thickness = first.thickness_mm
    if thickness > 0:
        thickness = max(thickness + float(joint.terms[joint.names.index("thickness")]), 0.0)
    rim = first.rim
    if rim is not None:
        k = joint.names.index(RIM)
        rim = replace(
            rim, radius_mm=rim.radius_mm + float(joint.terms[k]), sd_mm=math.sqrt(max(joint.covariance[k, k], 0.0))
        )
    return replace(
        first,
        edges=(),
        estimate=estimate,
        rim=rim,
        scale=scale,
        thickness_mm=round(thickness, 4),
        cautions=tuple(dict.fromkeys(cautions)),
        sighted=first.sighted.laid_anew(first.estimate.features, estimate.features),
    )


def _differing(joint: JoinedOutlines) -> str:
    few = ", ".join(joint.apart[:6]) + (" …" if len(joint.apart) > 6 else "")
    return Words(
        "The photos do not show {few} alike: what they differ by is in the uncertainty; look in the labelled picture "
        "whether the outline lies on the edge there, or take a reading.",
        few=few,
    )


def _not_the_same(first: str, second: str) -> str:
    return Words(
        "{first} and {second} don't show the same part: less than {least:.0%} of one outline is found in the other. "
        "Trace each by itself, or take the photo again if they should be the same.",
        first=first,
        second=second,
        least=LEAST_SHARE,
    )


def _face(photo: str, first: str, sure: bool) -> str:
    if sure:
        return Words(
            "{photo} shows the other face of the part: what it shows was mirrored to go with {first}, and the result "
            "is as seen from the face in {first}.",
            photo=photo,
            first=first,
        )
    return Words(
        "The part is so nearly its own mirror image that {photo} might show either face: it is taken to show the same "
        "face as {first}.",
        photo=photo,
        first=first,
    )

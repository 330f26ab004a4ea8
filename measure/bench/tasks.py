"""What the workers do: trace a photo, or check one. They read and write in a place of their own, never in a job."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import ReferenceRefused
from calib.words import Words
from measure.bench import kept
from measure.bench.phrases import for_owner
from measure.job import job
from measure.tracing.stages import Stage

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from calib.lens.lens import Profile
    from calib.photo.photo import Photo
    from calib.rectangle.refusals import Failure
    from calib.reference.found import Found
    from measure.silhouette.strokes import Strokes

Say = Callable[[Any], None]


@dataclass(frozen=True, slots=True)
class TraceOrder:
    """A photo to be traced.

    Attributes:
        photo: the file: an original, or the kept copy.
        out: an empty folder for the files that come of it.
        part: the part's name.
        asked: how.
        known: what is remembered of it; None for an original.
        hidden: whether the card's face is hidden in it already.
        name: by which the photo is known.
        further: more photos of the same part: kept copies, and what is remembered of them.
        adding: one more original, and its name.
    """

    photo: Path
    out: Path
    part: str
    asked: kept.TraceChoices
    known: kept.KeptPhoto | None
    hidden: bool
    name: str
    further: tuple[tuple[Path, kept.KeptPhoto], ...] = ()
    adding: tuple[Path, str] | None = None


@dataclass(frozen=True, slots=True)
class StepBegins:
    """Said when a step begins: what is done, and how far the trace has come, about."""

    words: str
    share: float


ADDED = "added.png"
OPENING, LOOKING = StepBegins(Words("opening the photo"), 0.02), StepBegins(Words("looking for the card"), 0.1)
DURING = {
    Stage.CARD: StepBegins(Words("finding the card"), 0.3),
    Stage.PART: StepBegins(Words("finding the part"), 0.5),
    Stage.EDGES: StepBegins(Words("locating its edges"), 0.6),
    Stage.FEATURES: StepBegins(Words("fitting lines and arcs"), 0.7),
    Stage.AGAIN: StepBegins(Words("looking once more along them"), 0.8),
}
DRAWING = StepBegins(Words("drawing the outline"), 0.9)


@dataclass(frozen=True, slots=True)
class Copied:
    """Said when the copy and the picture of it, `kept.PHOTO` and `job.PHOTO`, are in `out`.

    Attributes:
        photo: what is remembered of the photo.
        may_be_kept: whether the card's face is hidden in both; if not, only the picture is, wholly blurred.
    """

    photo: kept.KeptPhoto
    may_be_kept: bool


@dataclass(frozen=True, slots=True)
class TraceAnswer:
    """What came of a trace: files in `out`, with `ADDED` the copy of the photo that was added, and what it is."""

    files: tuple[str, ...]
    added: kept.KeptPhoto | None = None


@dataclass(frozen=True, slots=True)
class CheckOrder:
    """An owner's photo to be checked; `out` as for a trace."""

    photo: Path
    out: Path
    name: str


def trace(order: TraceOrder, say: Say) -> TraceAnswer:
    """Trace a photo.

    Raises:
        JawlineError: it can't be traced.
    """
    from calib.finding.finding import find_reference
    from measure.steps.photos import traced
    from measure.steps.trace import files_of
    from measure.tracing.parts import prior_of
    from measure.tracing.request import Request

    say(OPENING)
    photo, lens = opened(order.photo, order.known, order.name)
    strokes, corners = marked(order.asked, order.known.scale if order.known else 1.0)
    if not order.hidden:
        say(LOOKING)
        found = find_reference(photo.rgb, prior_of(photo, lens), order.asked.scale.wanted(), corners)
        photo = replace(photo, rgb=copied(photo, found, lens, order.out, say))
    others = [opened(path, known, known.name) for path, known in order.further]
    added = None
    if order.adding:
        one, added = _added(order)
        others.append(one)
    lenses = {photo.name: lens} | {p.name: profile for p, profile in others}
    request = Request(
        order.asked.thickness_mm,
        order.asked.subject,
        order.asked.scale.wanted(),
        in_two=order.asked.fragments == 2,
        strokes=strokes,
        corners_px=corners,
        rim=order.asked.rim,
    )
    paths = (order.photo, *(path for path, _ in order.further), *((order.adding[0],) if order.adding else ()))
    photos = traced(
        photo,
        paths,
        request,
        lambda p: lenses.get(p.name),
        watch=lambda stage: say(DURING[stage]),
        others=[p for p, _ in others] if others else None,
    )
    say(DRAWING)
    _, files = files_of(photos, order.part)
    for name, content in files.items():
        (order.out / name).write_bytes(content)
    return TraceAnswer(tuple(files), added)


def _added(order: TraceOrder) -> tuple[tuple[Photo, Profile | None], kept.KeptPhoto]:
    """One more photo of the part, and what is remembered of its copy, which is in `out` then.

    Raises:
        ReferenceRefused: there is no card in it whose face could be hidden.
    """
    from calib.finding.finding import find_reference
    from calib.rectangle.refusals import Failure
    from measure.bench.photo_copy import as_png, cleaned
    from measure.tracing.parts import prior_of

    path, name = order.adding or (order.photo, order.name)
    photo, lens = opened(path, None, _free(name, [order.name, *(known.name for _, known in order.further)]))
    found = find_reference(photo.rgb, prior_of(photo, lens), order.asked.scale.wanted())
    if isinstance(found, Failure):
        raise ReferenceRefused.of(found).after(f"{photo.name}: ")
    rgb = cleaned(photo.rgb, found.faces_px)
    (order.out / ADDED).write_bytes(as_png(rgb))
    height, width = rgb.shape[:2]
    facts = kept.KeptPhoto(
        focal_35mm=photo.focal_35mm,
        orientation=photo.orientation,
        name=photo.name,
        lens=lens.name if lens else None,
        width=width,
        height=height,
        scale=1.0,
    )
    return (replace(photo, rgb=rgb), lens), facts


def _free(name: str, taken: Sequence[str]) -> str:
    """A photo's name, with a number where another one is called so."""
    names = (name, *(f"{name} ({n})" for n in range(2, len(taken) + 2)))
    return next(n for n in names if n not in taken)


def marked(asked: kept.TraceChoices, scale: float) -> tuple[Strokes, NDArray[np.float64] | None]:
    """What was marked by hand on the shown picture, in pixels of the photo.

    Args:
        asked: with the marks.
        scale: pixels of the picture to one of the photo's.
    """
    import numpy as np

    from measure.silhouette.strokes import Strokes

    def in_photo(points: Sequence[tuple[float, float]]) -> NDArray[np.float64]:
        return np.array(points, float).reshape(-1, 2) / scale - 0.5

    part, away = (tuple(in_photo(s) for s in lines if s) for lines in (asked.strokes.part, asked.strokes.away))
    return Strokes(part, away), None if asked.card_corners is None else in_photo(asked.card_corners)


def check(order: CheckOrder, say: Say) -> dict[str, Any]:
    """Check a photo; where it can be measured from, the copy to be kept is put into `out`, which is said.

    Returns:
        verdict, reasons and reply.
    """
    from calib.lens.store import profile_for
    from measure.steps.check import check_photo
    from measure.tracing.request import Request

    seen: list[tuple[Photo, Found | Failure]] = []
    found = check_photo(order.photo, Request(), lambda photo, reference: seen.append((photo, reference)))
    if found.verdict != "retake":
        photo, reference = seen[0]
        copied(replace(photo, name=order.name), reference, profile_for(photo), order.out, say)
    return {"verdict": found.verdict, "reasons": found.reasons(for_owner), "reply": found.reply}


def opened(path: Path, known: kept.KeptPhoto | None, name: str) -> tuple[Photo, Profile | None]:
    """A photo and the lens profile that is kept for its camera.

    Args:
        path: the file.
        known: what the job remembers of it, if it is a kept copy.
        name: by which it is known.
    """
    from calib.lens.store import profile_for, profile_named
    from calib.photo.photo import load

    photo = load(path)
    if known is None:
        return replace(photo, name=name), profile_for(photo)
    photo = replace(photo, focal_35mm=known.focal_35mm, orientation=known.orientation, name=name)
    return photo, profile_named(known.lens) if known.lens else None


def copied(photo: Photo, found: Found | Failure, lens: Profile | None, out: Path, say: Say) -> NDArray[np.uint8]:
    """Put the copy that may be kept into a folder, and say so; what is measured is measured in that copy.

    Args:
        photo: the original.
        found: the reference in it, or why there is none.
        lens: the profile that is kept for its camera.
        out: the folder.
        say: is told.

    Returns:
        (h, w, 3) its pixels.

    Raises:
        ReferenceRefused: there is no card whose face could be hidden. Then the photo, which nobody else is to see, and
            a blurred picture of it are in the folder.
    """
    from calib.rectangle.refusals import Failure
    from measure.bench.photo_copy import as_png, blurred, cleaned
    from measure.drawing.framing import plain_picture

    refused = isinstance(found, Failure)
    rgb = photo.rgb if isinstance(found, Failure) else cleaned(photo.rgb, found.faces_px)
    jpeg, frame = plain_picture(blurred(rgb) if refused else rgb, ())
    (out / kept.PHOTO).write_bytes(as_png(rgb))
    (out / job.PHOTO).write_bytes(jpeg)
    facts = kept.KeptPhoto(
        focal_35mm=photo.focal_35mm,
        orientation=photo.orientation,
        name=photo.name,
        lens=lens.name if lens else None,
        width=frame.pixels.shape[1],
        height=frame.pixels.shape[0],
        scale=frame.scale,
    )
    say(Copied(facts, may_be_kept=not refused))
    if isinstance(found, Failure):
        raise ReferenceRefused.of(found)
    return rgb

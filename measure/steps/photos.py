"""The photos of a part: loaded and traced one by one, and made one where there are several."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import JawlineError, WrongUsage
from calib.messages import Remedy
from calib.photo.photo import Photo, load
from calib.reference.found import Caution
from calib.words import Words
from calib.written import printable
from measure.tracing import tracing
from measure.tracing.request import Request
from measure.tracing.stages import Stage, Watch
from measure.tracing.values import Trace

if TYPE_CHECKING:
    from calib.lens.lens import Profile

_THICKNESS = Words("Several photos can be made one only when the part's thickness is known")


@dataclass(frozen=True, slots=True)
class Traced:
    """Traced photos.

    Attributes:
        photo: the first one, whose face and labels count.
        trace: what all of them say.
        names: of the photos that were used.
        lines: for people, what became of the others.
        lens: profile of the camera that took the first one, if there is one.
        request: what was asked.
    """

    photo: Photo
    trace: Trace
    names: tuple[str, ...]
    lines: tuple[str, ...]
    lens: Profile | None
    request: Request


def traced(
    photo: Photo,
    paths: Sequence[Path],
    request: Request,
    profile_of: Callable[[Photo], Profile | None],
    watch: Watch = lambda stage: None,
    others: Sequence[Photo] | None = None,
) -> Traced:
    """Trace one photo of a part, whole or in two pieces, or several of a whole one.

    Args:
        photo: the first of them, loaded.
        paths: the files; one that is there twice is used once, and that is said.
        request: what is known of the part; what has been marked is marked in the first photo.
        profile_of: the profile of the camera that took a photo, if there is one.
        watch: is told what is done to a photo that is alone.
        others: all of them but the first, where they are loaded and named already.

    Raises:
        WrongUsage: no such photo; or several, and no thickness.
        Untrustworthy: one of them can't be measured, or they don't show the same part.
    """
    if request.in_two:
        from measure.broken.tracing_fragments import trace_fragments

        watch(Stage.PART)
        lens = profile_of(photo)
        return Traced(photo, trace_fragments(photo, request, lens), (photo.name,), (), lens, request)
    if len(paths) == 1:
        lens = profile_of(photo)
        alone = tracing.trace(photo, request, lens, watch)
        return Traced(photo, alone, (photo.name,), (), lens, request)
    from calib.photo.same_view import Views
    from measure.several.several import TracedPhoto, combined, shown

    if request.height_mm == 0 and request.subject == "part":
        raise WrongUsage(_THICKNESS, "thickness", Remedy("give-thickness"), Words("trace one photo alone"))
    views = Views()
    photos: list[TracedPhoto] = []
    lenses: list[Profile | None] = []
    repeats: list[Caution] = []
    known = None if others is None else (photo, *others)
    for number, (path, name) in enumerate(zip(paths, _names(paths), strict=True)):
        one = known[number] if known else replace(load(path) if number else photo, name=name)
        name = one.name
        twin = views.twin(one.rgb, name)
        if twin is not None:
            what = Words("is given twice") if twin == name else Words("is the same photo as {twin}", twin=twin)
            repeats.append(Caution("same-photo", Words("{name} {what}: it counts once.", name=name, what=what)))
            continue
        try:
            lenses.append(profile_of(one))
            found = tracing.trace(one, request.unmarked() if number else request, lenses[-1])
            photos.append(shown(one, found))
        except JawlineError as why:
            raise why.after(f"{name}: ") from None
    if len(photos) == 1:
        alone = photos[0].trace
        return Traced(
            photo, replace(alone, cautions=(*alone.cautions, *repeats)), (photo.name,), (), lenses[0], request
        )
    together = combined(photos)
    lines = []
    for p, (again, of), over in zip(photos[1:], together.found_again, together.turned_over, strict=True):
        face = ", which shows the other face and was mirrored" if over else ""
        lines.append(f"{p.name}{face}: {again} of its {of} features are found again in {photos[0].name}.")
    trace = replace(together.trace, cautions=(*together.trace.cautions, *repeats))
    return Traced(photo, trace, tuple(p.name for p in photos), tuple(lines), lenses[0], request)


def _names(paths: Sequence[Path]) -> list[str]:
    """The files' names, with the folder's where files of one name lie in several."""
    where = {p.absolute() for p in paths}
    alike = {p.name for p in paths if sum(q.name == p.name for q in where) > 1}
    return [printable(f"{p.absolute().parent.name}/{p.name}" if p.name in alike else p.name) for p in paths]

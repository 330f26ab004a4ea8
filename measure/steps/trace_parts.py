"""Several parts in one photo, with one card: each traced by itself, into a job of its own."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calib.errors import JawlineError, PartRefused
from calib.lens.lens import read_profile
from calib.lens.store import profile_for
from calib.photo.photo import load
from calib.written import printable
from measure.job import job, records
from measure.job.history import recording
from measure.job.lock import held
from measure.silhouette.silhouette import NoSilhouette, Silhouette
from measure.steps import Done, counted
from measure.steps.photos import Traced
from measure.steps.trace import NO_LENS, OUTDATED, files_of, of_breaks
from measure.tracing import parts
from measure.tracing.request import Request
from measure.tracing.tracing import trace_by
from measure.tracing.whereabouts import find_pieces

if TYPE_CHECKING:
    from calib.reference.found import Found


def trace_parts(
    photo: Path,
    folder: Path,
    request: Request,
    thicknesses_mm: Sequence[float],
    *,
    lens: Path | None = None,
    name: str | None = None,
    force: bool = False,
) -> Done:
    """Trace every part in a photo into a job of its own: FOLDER-1, FOLDER-2 and so on, from left to right.

    Args:
        photo: the file.
        folder: what the jobs' names begin with.
        request: what holds for all of them.
        thicknesses_mm: of each, from left to right: as many as there are.
        lens, force: see `measure.steps.trace.trace`.
        name: of all of them; a number is put behind it. The photo's by default.

    Raises:
        WrongUsage: no such photo, or a folder can't be written to.
        Untrustworthy: the photo, its reference or one of the parts can't be measured, or there are not so many.
    """
    count = len(thicknesses_mm)
    folders = [folder.with_name(f"{folder.name}-{n}") for n in range(1, count + 1)]
    for each in folders:
        job.check_writable(each, job.TRACED, force)
    taken = load(photo)
    given = read_profile(lens) if lens and str(lens) != NO_LENS else None
    if given:
        given.check(taken)
    profile = given or (None if lens else profile_for(taken))
    reference = parts.reference_of(taken, profile, request)
    silhouettes = _from_left_to_right(taken.rgb, reference, max(thicknesses_mm), count)
    title = printable(name or photo.stem)
    made: list[tuple[records.JobRecord, dict[str, bytes]]] = []
    lines, cautions = [], []
    for n, height_mm in enumerate(thicknesses_mm, 1):
        others = (s.contours_px[0] for k, s in enumerate(silhouettes, 1) if k != n)
        alone = replace(reference, taken_px=(*reference.taken_px, *others))
        own = replace(request, thickness_mm=height_mm)
        try:
            found = trace_by(taken, alone, own, profile)
        except JawlineError as why:
            raise why.after(f"Part {n} from the left: ") from None
        photos = Traced(taken, found, (taken.name,), (), profile, own)
        made.append(files_of(photos, f"{title} {n}"))
        features = counted(len(found.estimate.features), "feature")
        lines.append(f"  {n} from the left: {features}, {height_mm:g} mm thick, in {folders[n - 1]}")
        lines += [f"    {asked}" for asked in of_breaks(folders[n - 1], found)]
        cautions += [replace(c, what=f"Part {n}: {c.what}") for c in found.cautions]
    written: list[Path] = []
    with ExitStack() as all_held:
        for each in folders:
            all_held.enter_context(held(each))
        for each, (_, files) in zip(folders, made, strict=True):
            with recording(each, {*job.TRACED, job.SEEN}):
                written += job.write(each, files, force=force, outdated=OUTDATED)
    said = (f"{counted(count, 'part')} in {taken.name}:", *lines, f"Next: jawline next {folders[0]}")
    result = {"jobs": [str(f) for f in folders], "parts": [records.for_scripts(r) for r, _ in made]}
    return Done("trace", tuple(written), said, result, tuple(dict.fromkeys(cautions)))


def _from_left_to_right(rgb: NDArray[np.uint8], reference: Found, height_mm: float, count: int) -> list[Silhouette]:
    """Where the parts are.

    Raises:
        PartRefused: there are fewer, or more.
    """
    found = find_pieces(rgb, reference, height_mm, count)
    if isinstance(found, NoSilhouette):
        if found.reason == "one-piece":
            text = f"Only {counted(found.things, 'part')} can be told from the table, not {count}"
            raise PartRefused(f"{text}: lay all of them on a plain ground of another colour.", "fewer-parts")
        if found.reason == "more-pieces":
            raise PartRefused(f"More than {counted(count, 'part')} lie there: say how many.", "more-parts")
        raise PartRefused.of(found.message)
    return sorted(found, key=lambda s: float(s.contours_px[0][:, 0].mean()))

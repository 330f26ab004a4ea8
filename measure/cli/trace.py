"""jawline trace: photo -> trace.json, trace.png, outline.dxf."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.out import at_work
from measure.cli.show import show
from measure.rim import rim_word
from measure.subject import subject_of
from measure.tracing.thickness import thickness_mm


def trace(
    photos: options.Photos,
    thickness: options.Thickness = None,
    rim: options.RimOption = None,
    reference: options.Reference = None,
    reference_tolerance: options.Tolerance = None,
    bar_x: options.BarX = None,
    bar_y: options.BarY = None,
    lens: options.Lens = None,
    subject: options.SubjectOption = "part",
    job: Annotated[
        Path | None,
        typer.Option("--job", metavar="DIR", readable=False, help="The job's folder; PHOTO-job by default."),
    ] = None,
    fragments: options.Fragments = None,
    parts: options.Parts = None,
    marks: Annotated[
        Path | None,
        typer.Option(
            "--marks",
            metavar="FILE.json",
            readable=False,
            help="Strokes over the (first) photo that say what is part and what is not, and the card's corners.",
        ),
    ] = None,
    name: options.Name = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Measure a photo, or several of the same part: outline, features and scale."""
    kind = subject_of(subject)
    folder = job or Path(f"{photos[0].stem}-job")
    if parts is not None:
        alone = len(photos) == 1 and marks is None and fragments is None
        heights = options.thicknesses_mm(thickness, parts, kind, alone)
        wanted = options.reference_of(reference, reference_tolerance, bar_x, bar_y)
        at_work(f"Measuring the parts in {photos[0].name}")
        from measure.steps.trace_parts import trace_parts
        from measure.tracing.request import Request

        request = Request(None, kind, wanted, rim=rim_word(rim))
        show(trace_parts(photos[0], folder, request, heights, lens=lens, name=name, force=force), json)
        return
    height_mm = thickness_mm(thickness, kind)
    upper = rim_word(rim)
    in_two = options.broken_in_two(fragments, kind, len(photos))
    wanted = options.reference_of(reference, reference_tolerance, bar_x, bar_y)
    at_work(f"Measuring {photos[0].name}")
    from measure.steps import trace as step
    from measure.tracing.request import Request

    show(
        step.trace(
            photos[0],
            folder,
            Request(height_mm, kind, wanted, in_two, rim=upper),
            further=photos[1:],
            lens=lens,
            name=name,
            marks=marks,
            force=force,
        ),
        json,
    )

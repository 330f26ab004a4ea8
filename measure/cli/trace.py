"""jawline trace: photo -> trace.json, trace.png, outline.dxf."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def trace(
    photo: options.Photo,
    thickness: options.Thickness = None,
    reference: options.Reference = None,
    bar_x: options.BarX = None,
    bar_y: options.BarY = None,
    lens: options.Lens = None,
    subject: options.SubjectOption = "part",
    job: Annotated[
        Path | None,
        typer.Option("--job", metavar="DIR", readable=False, help="The job's folder; PHOTO-job by default."),
    ] = None,
    name: options.Name = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Measure a photo: outline, features and scale."""
    kind = options.subject_of(subject)
    height_mm = options.thickness_mm(thickness, kind)
    wanted = options.reference_of(reference)
    measured = options.bar_mm("x", bar_x), options.bar_mm("y", bar_y)
    from calib.target import Bars
    from measure.steps import trace as step
    from measure.tracing import Looking

    looking = Looking(wanted, Bars(*measured))
    folder = job or Path(f"{photo.stem}-job")
    show(step.trace(photo, folder, height_mm, kind, lens=lens, looking=looking, name=name, force=force), json)

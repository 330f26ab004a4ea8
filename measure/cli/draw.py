"""jawline draw: the whole job in one command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def draw(
    photo: options.Photo,
    thickness: options.Thickness = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", readable=False, help="Caliper readings, CSV.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", readable=False, help="The job's folder; PHOTO-job by default."),
    ] = None,
    reference: options.Reference = None,
    bar_x: options.BarX = None,
    bar_y: options.BarY = None,
    lens: options.Lens = None,
    subject: options.SubjectOption = "part",
    name: options.Name = None,
    tools: options.Tools = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Photo and readings to the finished sketch, in one go."""
    kind = options.subject_of(subject)
    height_mm = None if thickness is None and readings else options.thickness_mm(thickness, kind)
    wanted = options.reference_of(reference)
    measured = options.bar_mm("x", bar_x), options.bar_mm("y", bar_y)
    from calib.target import Bars
    from measure.steps.draw import Drawing
    from measure.steps.draw import draw as all_steps
    from measure.tracing import Looking

    folder = out or Path(f"{photo.stem}-job")
    looking = Looking(wanted, Bars(*measured))
    drawing = Drawing(photo, height_mm, kind, readings=readings, lens=lens, name=name, tools=tools, looking=looking)
    show(all_steps(drawing, folder, force=force), json)

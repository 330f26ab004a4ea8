"""jawline draw: the whole job in one command."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calib.languages import language_of
from measure.cli import options
from measure.cli.out import at_work
from measure.cli.show import show
from measure.rim import rim_word
from measure.subject import subject_of
from measure.tracing.thickness import thickness_mm


def draw(
    photos: options.Photos,
    thickness: options.Thickness = None,
    readings: Annotated[
        Path | None, typer.Option("--readings", metavar="FILE", readable=False, help="Caliper readings, CSV.")
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", readable=False, help="The job's folder; PHOTO-job by default."),
    ] = None,
    rim: options.RimOption = None,
    reference: options.Reference = None,
    reference_tolerance: options.Tolerance = None,
    bar_x: options.BarX = None,
    bar_y: options.BarY = None,
    lens: options.Lens = None,
    subject: options.SubjectOption = "part",
    name: options.Name = None,
    tools: options.Tools = None,
    language: options.Language = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Photo and readings to the finished sketch, in one go.

    The thickness may stand among the readings.
    """
    kind = subject_of(subject)
    height_mm = None if thickness is None and readings else thickness_mm(thickness, kind)
    upper, spoken = rim_word(rim), language_of(language)
    scale_by = options.reference_of(reference, reference_tolerance, bar_x, bar_y)
    at_work(f"Measuring {photos[0].name} and drawing it")
    from measure.steps.draw import JobOrder
    from measure.steps.draw import draw as all_steps
    from measure.tracing.request import Request

    folder = out or Path(f"{photos[0].stem}-job")
    wanted = JobOrder(
        photos[0],
        Request(height_mm, kind, scale_by, rim=upper),
        readings=readings,
        lens=lens,
        name=name,
        tools=tools,
        further=tuple(photos[1:]),
        language=spoken,
    )
    show(all_steps(wanted, folder, force=force), json)

"""jawline sketch: measured.json -> sketch.dxf, sketch.svg, sketch.pdf."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.languages import language_of
from measure.cli import options
from measure.cli.show import show


def sketch(
    job: options.Folder,
    name: options.Name = None,
    owner: Annotated[str, typer.Option("--owner", help="Whose the part is, to stand in the title block.")] = "",
    thin: Annotated[bool, typer.Option("--thin", help="Show the thin places too, by short dashes.")] = False,
    language: options.Language = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Draw the dimensioned sketch, true to size."""
    from measure.steps import sketch as step

    spoken = language_of(language)
    show(step.sketch(job, name=name, owner=owner, force=force, thin=thin, language=spoken), json)

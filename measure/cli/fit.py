"""jawline fit: the drawing with room left."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.languages import language_of
from measure.cli import options
from measure.cli.gauge import Printer
from measure.cli.show import show


def fit(
    job: options.Folder,
    name: Annotated[str, typer.Option("--as", metavar="FIT", help=f"Room on each side: {options.FIT_WORDS}.")],
    printer: Printer = None,
    language: options.Language = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Draw the part with room for a fit: fit.dxf, fit.svg and fit.pdf."""
    from measure.steps import fit as step

    show(step.fit(job, name=name, printer=printer, language=language_of(language), force=force), json)

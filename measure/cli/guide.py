"""jawline guide: the page that tells owners how to take the photo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calib.languages import language_of
from measure.cli import options
from measure.cli.show import show


def guide(
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", readable=False, help="guide.pdf to print, guide.html to send.")
    ] = Path("guide.pdf"),
    language: options.Language = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Write a page that tells owners how to take the photo."""
    from measure.steps import guide as step

    show(step.guide(out, language=language_of(language), force=force), json)

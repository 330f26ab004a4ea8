"""jawline bench: the whole job in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calib.languages import NAMES, language_of

DEFAULT = Path("jawline-jobs")


def bench(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", readable=False, help="The jobs are in it; jawline-jobs by default.")
    ] = DEFAULT,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Where to listen; 0 for any free one.")] = 8765,
    host: Annotated[
        str | None,
        typer.Option("--host", metavar="ADDRESS", help="Let others in, 0.0.0.0 for all; only this machine by default."),
    ] = None,
    intake: Annotated[bool, typer.Option("--intake", help="A page where owners send photos, too.")] = False,
    language: Annotated[
        str | None,
        typer.Option(
            "--language",
            metavar="|".join(NAMES),
            help="Speak this language to everybody; by default each browser's own, where jawline speaks it.",
        ),
    ] = None,
    no_open: Annotated[bool, typer.Option("--no-open", help="Open no browser.")] = False,
) -> None:
    """Work on jobs in a browser: photo, readings and sketch on one page, served by this machine alone."""
    from measure.bench.serve import serve

    spoken = "" if language is None else language_of(language)
    serve(folder, port=port, host=host, intake=intake, language=spoken, show=not no_open)

"""jawline lens: photos of the printed sheet -> a lens profile."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def lens(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...", readable=False, help="Photos of the printed reference sheet.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="PROFILE.json", readable=False, help="The profile; by default it is kept for the camera."
        ),
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="The profile's name; the camera's by default.")] = None,
    bar_x: options.BarX = None,
    bar_y: options.BarY = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Find a phone's lens from photos of the printed reference sheet."""
    measured = options.bar_mm("x", bar_x), options.bar_mm("y", bar_y)
    from calib.target import Bars
    from measure.steps import lens as step

    show(step.lens(photos, out, name=name, bars=Bars(*measured), force=force), json)

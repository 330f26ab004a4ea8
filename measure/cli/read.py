"""jawline read: caliper readings into the job."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def read(
    job: options.Folder,
    readings: Annotated[
        list[str],
        typer.Argument(
            metavar="FILE_OR_READINGS...",
            help="A CSV file; or words: width E1 E3 24.31; or by number on the worksheet: 2=24.31",
        ),
    ],
    replace: Annotated[bool, typer.Option("--replace", help="Instead of the readings that are there already.")] = False,
    tools: options.Tools = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Take caliper readings into the job."""
    from measure.steps import read as step

    show(step.read(job, readings, tools=tools, replace=replace, force=force), json)

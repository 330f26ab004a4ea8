"""jawline read: caliper readings into the job."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.errors import WrongUsage
from measure.cli import options
from measure.cli.show import show


def read(
    job: options.Folder,
    readings: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[FILE_OR_READINGS...]",
            help="A CSV file; or words: width E1 E3 24.31; or by number on the worksheet: 2=24.31. Without any, the "
            "readings that are there are listed.",
        ),
    ] = None,
    remove: Annotated[
        list[int] | None,
        typer.Option("--remove", metavar="N", help="Take out the reading of this number in the list; again for more."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Instead of the readings that are there already.")] = False,
    tools: options.Tools = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Take caliper readings into the job, list them, or take some out."""
    from measure.steps import read as step

    if remove and readings:
        raise WrongUsage("--remove takes readings out and takes none in: do one after the other.", "usage")
    if remove:
        show(step.remove(job, remove, force=force), json)
        return
    if not readings:
        show(step.present(job), json)
        return
    show(step.read(job, readings, tools=tools, replace=replace, force=force), json)

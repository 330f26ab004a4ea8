"""jawline trial and jawline compare: after a trial print."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def trial(
    job: options.Folder,
    said: Annotated[
        list[str],
        typer.Argument(
            metavar="SAID...",
            help="How it went: “tight at E2”, “gap 0.4 at E5”, “would not go in”, loose, rubs, fits, too long 0.3, "
            "too short 0.3.",
        ),
    ],
    of: Annotated[
        int | None, typer.Option("--of", metavar="N", min=1, help="The revision that was printed; by default the last.")
    ] = None,
    fit: Annotated[
        str | None,
        typer.Option(
            "--as", metavar="FIT", help="What it was drawn for, or none; by default the last fit, gauge or solid."
        ),
    ] = None,
    printer: Annotated[
        str | None, typer.Option("--printer", metavar="NAME", help="The printer it was drawn for.")
    ] = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Take in how a trial print fits, and draw the next revision."""
    from measure.steps import trial as step

    show(step.trial(job, said, of=of, fit=fit, printer=printer, force=force), json)


def compare(
    job: options.Folder,
    one: Annotated[int | None, typer.Argument(metavar="[N", min=1, help="A revision.")] = None,
    two: Annotated[int | None, typer.Argument(metavar="M]", min=1, help="Another; by default the last two.")] = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Show two revisions over each other: compare-N-M.svg and .pdf."""
    from measure.steps import revisions as step

    show(step.compare(job, one, two, force=force), json)

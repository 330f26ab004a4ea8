"""jawline target: the reference sheet, to print."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def target(
    paper: Annotated[str, typer.Option("--paper", metavar="a4|letter|a5", help="Size of the paper.")] = "a4",
    out: Annotated[Path, typer.Option("--out", metavar="FILE", readable=False, help="The PDF file.")] = Path(
        "target.pdf"
    ),
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Write the reference sheet that a part is laid on, as PDF to print."""
    from measure.steps import target as step

    show(step.target(paper, out, force=force), json)

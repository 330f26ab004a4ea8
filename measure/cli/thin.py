"""jawline thin: the thin places of an outline, and what helps."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show
from measure.steps.numbers import number


def thin(
    job: options.Folder,
    line: Annotated[str, typer.Option("--line", metavar="MM", help="Extrusion width of the printer.")] = "0.42",
    limit: Annotated[str, typer.Option("--limit", metavar="MM", help="Sections below this are called weak.")] = "3",
    json: options.Json = False,
) -> None:
    """Find the thin places of a part, and what helps."""
    from measure.steps import thin as step

    line_mm, limit_mm = number(line, "--line", *step.LINES_MM), number(limit, "--limit", *step.LIMITS_MM)
    show(step.thin(job, line_mm=line_mm, limit_mm=limit_mm), json)

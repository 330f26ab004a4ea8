"""jawline caliper: how far the caliper at hand reaches, and what its jaws go into."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def caliper(
    reach: Annotated[float | None, typer.Option("--reach", metavar="MM", help="The longest length it takes.")] = None,
    inside: Annotated[
        float | None, typer.Option("--inside", metavar="MM", help="The narrowest hole its inside jaws go into.")
    ] = None,
    tip: Annotated[
        float | None, typer.Option("--tip", metavar="MM", help="The narrowest that an outside jaw's tip goes into.")
    ] = None,
    json: options.Json = False,
) -> None:
    """Tell of your caliper, once for all jobs: no reading is proposed that it can't take."""
    from measure.steps import caliper as step

    show(step.caliper(reach_mm=reach, inside_mm=inside, tip_mm=tip), json)

"""jawline next: which reading to take next."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.languages import language_of
from measure.cli import options
from measure.cli.show import show


def next_readings(
    job: options.Folder,
    count: Annotated[int, typer.Option("--count", min=1, max=12, help="How many readings at most.")] = 3,
    goal: Annotated[
        float, typer.Option("--goal", metavar="MM", min=0.01, max=5.0, help="u95 that is certain enough.")
    ] = 0.1,
    tool: Annotated[str, typer.Option("--tool", metavar="NAME", help="The caliper at hand.")] = "caliper",
    gauge: Annotated[bool, typer.Option("--gauge", help="Radius gauges are at hand as well.")] = False,
    tools: options.Tools = None,
    language: options.Language = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Say which readings are worth taking next, and write a worksheet for them."""
    from measure.steps import next as step

    spoken = language_of(language)
    done = step.next_readings(
        job, count=count, goal_mm=goal, tool=tool, gauge=gauge, tools=tools, language=spoken, force=force
    )
    show(done, json)

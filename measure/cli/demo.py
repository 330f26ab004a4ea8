"""jawline demo: the whole job on a sample."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.out import at_work, line
from measure.cli.show import show


def demo(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", readable=False, help="Where the job goes.")] = Path(
        "jawline-demo"
    ),
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Run the whole job on a sample, with readings."""
    at_work("The whole job on a sample photo")
    from measure.job import sample
    from measure.steps.draw import JobOrder
    from measure.steps.draw import draw as all_steps
    from measure.tracing.request import Request

    wanted = JobOrder(sample.photo(), Request(sample.THICKNESS_MM), readings=sample.readings(), name=sample.NAME)
    show(all_steps(wanted, out, force=force, say=None if json else line), json)

"""jawline printer: a printer's own figures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def printer(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What you call the printer (and its material).")],
    readings: Annotated[
        list[str] | None, typer.Argument(metavar="N=VALUE...", help="What the caliper reads on the printed test piece.")
    ] = None,
    coupon: Annotated[bool, typer.Option("--coupon", help="Write the test piece and its sheet.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", readable=False, help="Where to; NAME-coupon by default.")
    ] = None,
    tool: Annotated[
        str, typer.Option("--tool", metavar="NAME", help="The caliper: caliper, vernier, plastic.")
    ] = "caliper",
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Learn how a printer errs, from a small test piece, and take that out of what is drawn."""
    from calib.errors import WrongUsage
    from measure.steps import printer as step

    if coupon == bool(readings):
        raise WrongUsage(
            "Give --coupon for the test piece, or its readings, like: jawline printer bench 1=50.08", "usage"
        )
    if coupon:
        show(step.make_coupon(name, out or Path(f"{name}-coupon"), force=force), json)
    else:
        show(step.measure_printer(name, readings or [], tool=tool, force=force), json)

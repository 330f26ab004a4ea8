"""jawline gauge and jawline solid: the outline as something to print."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show

Fit = Annotated[
    str | None, typer.Option("--as", metavar="FIT", help=f"Room on each side: {options.FIT_WORDS}. None by default.")
]
Printer = Annotated[
    str | None,
    typer.Option(
        "--printer", metavar="NAME", help="Take out what this printer does: figures that `jawline printer` has kept."
    ),
]


def gauge(
    job: options.Folder,
    fit: Fit = None,
    printer: Printer = None,
    thick: Annotated[float, typer.Option("--thick", metavar="MM", min=0.3, max=5.0, help="Of the plate.")] = 0.8,
    rim: Annotated[
        float | None, typer.Option("--rim", metavar="MM", min=0.8, max=50.0, help="Only a rim so broad.")
    ] = None,
    around: Annotated[
        list[str] | None, typer.Option("--around", metavar="LABEL", help="Only around this feature; may be repeated.")
    ] = None,
    margin: Annotated[
        float, typer.Option("--margin", metavar="MM", min=1.0, max=100.0, help="How far around it.")
    ] = 8.0,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Make a thin plate that proves the fit in minutes: gauge.3mf and gauge.stl."""
    from measure.printing.solids import Cut
    from measure.steps import gauge as step

    labels = tuple(x.strip().upper() for x in around or ())
    cut = Cut(rim, labels, margin)
    show(step.gauge(job, fit=fit, printer=printer, thick_mm=thick, cut=cut, force=force), json)


def solid(
    job: options.Folder,
    fit: Fit = None,
    printer: Printer = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Make the whole part as a solid: solid.3mf and solid.stl, and solid.step where a CAD kernel is installed."""
    from measure.steps import gauge as step

    show(step.whole(job, fit=fit, printer=printer, force=force), json)

"""The commands, put together."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import (
    advice,
    bench,
    caliper,
    check,
    clip,
    complete,
    demo,
    draw,
    fit,
    gauge,
    guide,
    jobs,
    lens,
    mend,
    printer,
    read,
    reconcile,
    sketch,
    target,
    thin,
    trace,
    trial,
    undo,
)
from measure.cli import next as next_

app = typer.Typer(
    name="jawline",
    help=(
        "One photo of a flat part beside a bank-size card, and a few caliper readings, become a dimensioned sketch "
        "that says how sure it is of each number.\n\nIn steps: trace, read, reconcile, sketch. All in one: draw. "
        "A whole example: demo."
    ),
    add_completion=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command("trace")(trace.trace)
app.command("complete")(complete.complete)
app.command("mend")(mend.mend)
app.command("read")(read.read)
app.command("next")(next_.next_readings)
app.command("caliper")(caliper.caliper)
app.command("reconcile")(reconcile.reconcile)
app.command("sketch")(sketch.sketch)
app.command("printer")(printer.printer)
app.command("fit")(fit.fit)
app.command("gauge")(gauge.gauge)
app.command("solid")(gauge.solid)
app.command("trial")(trial.trial)
app.command("compare")(trial.compare)
app.command("draw")(draw.draw)
app.command("target")(target.target)
app.command("lens")(lens.lens)
app.command("demo")(demo.demo)
app.command("thin")(thin.thin)
app.command("clip")(clip.clip)
app.command("advice")(advice.advice)
app.command("check")(check.check)
app.command("guide")(guide.guide)
app.command("bench")(bench.bench)
app.command("jobs")(jobs.jobs)
app.command("undo")(undo.undo)


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import PackageNotFoundError, version

        try:
            typer.echo(f"jawline {version('jawline')}")
        except PackageNotFoundError:
            typer.echo("jawline, from a checkout that is not installed")
        raise typer.Exit


@app.callback()
def common(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Say which version.")
    ] = False,
) -> None:
    """Options before the command."""

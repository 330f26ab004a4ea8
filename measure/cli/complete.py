"""jawline complete: a broken part's outline, completed from what is left of it."""

from __future__ import annotations

from typing import Annotated, Literal

import typer

from calib.errors import WrongUsage
from measure.cli import options
from measure.cli.show import show

Way = Literal["mirror", "turn", "extend", "open", "seen"]
WAYS: tuple[Way, ...] = ("mirror", "turn", "extend", "open", "seen")


def complete(
    job: options.Folder,
    broken: Annotated[
        str | None,
        typer.Option(
            "--broken",
            metavar="FIRST-LAST",
            help="Where it is broken: labels in order of travel, counter-clockwise; by default free curves.",
        ),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option(
            "--by",
            metavar="|".join(WAYS),
            help="One way only; open keeps a marked break as broken; seen brings back what was seen.",
        ),
    ] = None,
    draw: Annotated[
        str | None,
        typer.Option(
            "--draw",
            metavar="STEPS",
            help="What was there, in steps from where the break begins: on 12 (straight on), on to E3, to 30,12, "
            "arc 5 to 30,12, arc through 28,9 to 30,12, as E5-R7 (as on the other side).",
        ),
    ] = None,
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Complete the outline where the part is broken."""
    way = _way(by)
    from measure.steps import complete as step

    show(step.complete(job, broken=broken, by=way, drawn=draw, force=force), json)


def _way(words: str | None) -> Way | None:
    for way in WAYS:
        if words is not None and words.strip().lower() == way:
            return way
    if words is not None:
        raise WrongUsage(f"--by is {', '.join(WAYS[:-1])} or {WAYS[-1]}, not “{words}”.", "by")
    return None

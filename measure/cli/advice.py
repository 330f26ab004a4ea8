"""jawline advice: what else to try for a part that a printer serves badly."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.errors import WrongUsage
from measure.cli import options
from measure.cli.show import show


def advice(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="WORD...", help="What the part is asked to do; none lists the words."),
    ] = None,
    json: options.Json = False,
) -> None:
    """Say what else to try where a print serves badly."""
    from dataclasses import asdict

    from calib.reference.found import Caution
    from measure.printing import advice as table
    from measure.printing.light_parts import LIGHT_PARTS
    from measure.steps import Done

    asked, unknown = table.advice_for(words or [])
    if unknown:
        known = ", ".join(table.ADVICE)
        raise WrongUsage(f"There is no advice on “{unknown[0]}”: it is on {known}.", "advice-word")
    shown = asked or list(table.ADVICE.values())
    result = {"advice": [asdict(a) for a in shown], "caution": LIGHT_PARTS}
    lines = table.lines(asked) if asked else table.topics()
    show(Done("advice", (), lines, result, (Caution("guide-only", LIGHT_PARTS),)), json)

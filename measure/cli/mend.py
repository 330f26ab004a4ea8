"""jawline mend: features that a trace got wrong are what a person says."""

from __future__ import annotations

from typing import Annotated

import typer

from measure.cli import options
from measure.cli.show import show


def mend(
    job: options.Folder,
    said: Annotated[
        list[str],
        typer.Argument(
            metavar="LABELS SAY …",
            help="Such as “E3-E5 straight”: one label, or the first and the last in order of travel; then straight "
            "(one straight edge), arc (one arc), round (a round hole), smooth (no corner there) or ignore.",
        ),
    ],
    force: options.Force = False,
    json: options.Json = False,
) -> None:
    """Mend features by hand: fitted at once to the same edge points."""
    from measure.steps import mend as step

    show(step.mend(job, said, force=force), json)

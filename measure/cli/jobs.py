"""jawline jobs: the jobs of a folder, the last changed first."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from measure.cli import options
from measure.cli.bench import DEFAULT
from measure.cli.out import line, plain_json


def jobs(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", readable=False, help="The jobs are in it; jawline-jobs by default.")
    ] = DEFAULT,
    find: Annotated[
        str, typer.Option("--find", metavar="WORDS", help="Only those with all these words in name, owner or ticket.")
    ] = "",
    json: options.Json = False,
) -> None:
    """List the jobs of a folder, the last changed first."""
    from measure.bench.listing import Listed, listed

    found = listed(folder, find)
    if json:
        plain_json({"step": "jobs", "files": [], "jobs": [j.plain() for j in found]})
        return
    if not found:
        line(f"There are no jobs in {folder}{f' with “{find}”' if find else ''}.", sys.stdout)
        return
    rows = [Listed.HEADING, *(j.row() for j in found)]
    widths = [max(len(r[k]) for r in rows) for k in range(len(Listed.HEADING))]
    for row in rows:
        line("  ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip())

"""jawline check: is this photo good enough?"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import WrongUsage
from calib.languages import NAMES, language_of
from measure.cli import options
from measure.cli.out import line, plain_json
from measure.rim import rim_word
from measure.subject import subject_of
from measure.tracing.thickness import thickness_mm

MOST_JOBS = 64


def check(
    photos: Annotated[
        list[Path], typer.Argument(metavar="PHOTO...|FOLDER", readable=False, help="Photos, or a folder of them.")
    ],
    thickness: options.Thickness = None,
    rim: options.RimOption = None,
    reference: options.Reference = None,
    reference_tolerance: options.Tolerance = None,
    bar_x: options.BarX = None,
    bar_y: options.BarY = None,
    subject: options.SubjectOption = "part",
    jobs: Annotated[
        int | None, typer.Option("--jobs", metavar="N", help="How many photos at a time; as many as cores by default.")
    ] = None,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print a table for spreadsheets.")] = False,
    language: Annotated[
        str | None,
        typer.Option("--language", metavar="|".join(NAMES), help="Language of the replies; English by default."),
    ] = None,
    json: options.Json = False,
) -> None:
    """Say whether photos are good enough, why not, and what to answer.

    Each is called good, usable or retake. Exit code 1 if any must be taken again. Nothing is written.
    """
    kind = subject_of(subject)
    height_mm = None if thickness is None else thickness_mm(thickness, kind)
    upper = rim_word(rim)
    wanted = options.reference_of(reference, reference_tolerance, bar_x, bar_y)
    if as_csv and json:
        raise WrongUsage("--csv and --json exclude each other: choose one.", "usage")
    if jobs is not None and not 1 <= jobs <= MOST_JOBS:
        raise WrongUsage(f"--jobs is a number from 1 to {MOST_JOBS}, not {jobs}.", "usage")
    from measure.steps import check as step
    from measure.steps.many import cores
    from measure.tracing.request import Request

    spoken = language_of(language)
    files = step.photos_of(photos)
    say = (lambda text: line(text, sys.stderr)) if len(files) > 1 else None
    try:
        done = step.check(files, Request(height_mm, kind, wanted, rim=upper), jobs or cores(), say, spoken)
    except step.Stopped as stopped:
        if stopped.done and not json:
            print(step.table(stopped.done, as_csv), end="")
        raise
    if json:
        plain_json({"step": "check", **step.counted(done), "photos": [x.plain() for x in done]})
    else:
        print(step.table(done, as_csv), end="")
    if any(x.verdict == "retake" for x in done):
        raise typer.Exit(1)

"""Options that several commands share, and how their words become values."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal, get_args

import typer

from calib.errors import WrongUsage

Subject = Literal["part", "opening"]
REFERENCES = ("id-1", "a4", "letter", "sheet")
KNOWN_REFERENCES = ("id-1", "sheet")

MAX_THICKNESS_MM = 60.0

Photo = Annotated[
    Path, typer.Argument(metavar="PHOTO", readable=False, help="The photo: JPEG, PNG, WebP, TIFF or HEIC.")
]
Folder = Annotated[Path, typer.Argument(metavar="JOB", readable=False, help="The job's folder.")]
Thickness = Annotated[
    str | None,
    typer.Option(
        "--thickness",
        metavar="MM",
        help="Height of the part's upper edge over the table, 0.0 to 60. With 0 it goes on without, and is less sure.",
    ),
]
Reference = Annotated[
    str | None,
    typer.Option("--reference", metavar="NAME", help="What gives the scale: id-1, the bank-size card, or sheet."),
]
BarX = Annotated[
    str | None,
    typer.Option("--bar-x", metavar="MM", help="Length of the printed sheet's level check bar, by the caliper."),
]
BarY = Annotated[str | None, typer.Option("--bar-y", metavar="MM", help="The same of the upright check bar.")]
Lens = Annotated[
    Path | None,
    typer.Option("--lens", metavar="PROFILE.json", readable=False, help="A lens profile of the phone, or none."),
]
SubjectOption = Annotated[
    str, typer.Option("--subject", metavar="part|opening", help="Whether a part is measured, or an opening's rim.")
]
Name = Annotated[str | None, typer.Option("--name", help="The part's name in the title block.")]
Tools = Annotated[
    Path | None, typer.Option("--tools", metavar="FILE.toml", readable=False, help="Your own measuring tools.")
]
Force = Annotated[bool, typer.Option("--force", help="Overwrite files that jawline did not write itself.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on standard output, nothing else there.")]


def thickness_mm(words: str | None, subject: Subject) -> float:
    """The thickness as given.

    Raises:
        WrongUsage: it is missing for a part, no number, or outside 0 to 60 mm.
    """
    if words is None:
        if subject == "opening":
            return 0.0
        raise WrongUsage(
            "The part's thickness is missing: measure it with the caliper and give it as --thickness 4.2 "
            "(--thickness 0 goes on without it, with wider uncertainties).",
            "thickness",
        )
    text = words.strip().lower().removesuffix("mm").strip().replace(",", ".")
    try:
        value = float(text)
    except ValueError:
        raise WrongUsage(f"The thickness “{words}” is not a number: write millimetres like 4.2.", "thickness") from None
    if not math.isfinite(value) or value < 0:
        raise WrongUsage(f"The thickness can't be {words}: write millimetres like 4.2.", "thickness")
    if value > MAX_THICKNESS_MM:
        raise WrongUsage(
            f"A thickness of {words} mm is beyond {MAX_THICKNESS_MM:g} mm, up to which flat parts can be measured: "
            "look at the decimal point.",
            "thickness",
        )
    return value


def subject_of(words: str) -> Subject:
    """Part or opening.

    Raises:
        WrongUsage: neither.
    """
    for subject in get_args(Subject):
        if words.strip().lower() == subject:
            return subject  # type: ignore[no-any-return]
    raise WrongUsage(f"--subject is part or opening, not “{words}”.", "subject")


def reference_of(words: str | None) -> str | None:
    """The reference to look for; None for whichever is there.

    Raises:
        WrongUsage: one that this version does not know.
    """
    if words is None:
        return None
    name = {"id1": "id-1"}.get(words.strip().lower(), words.strip().lower())
    if name in KNOWN_REFERENCES:
        return name
    if name in REFERENCES:
        raise WrongUsage(
            f"--reference {words} is not available in this version: lay a bank-size card (id-1) beside the part.",
            "reference",
        )
    raise WrongUsage(
        f"--reference {words} is not known: this version looks for id-1, the bank-size card, and sheet, the printed "
        "reference sheet.",
        "reference",
    )


def bar_mm(axis: str, words: str | None) -> float | None:
    """A check bar of the printed sheet as measured.

    Raises:
        WrongUsage: no number.
    """
    if words is None:
        return None
    try:
        value = float(words.strip().lower().removesuffix("mm").strip().replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value) or value <= 0:
        raise WrongUsage(f"--bar-{axis} “{words}” is no length: write millimetres like 99.6.", "bars")
    return value

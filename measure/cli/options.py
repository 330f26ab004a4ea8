"""Options that several commands share, and how their words become values."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated, Literal, get_args

import typer

from calib.errors import WrongUsage

Subject = Literal["part", "opening"]
REFERENCES = ("id-1", "a4", "letter", "sheet")

MAX_THICKNESS_MM = 60.0

Photos = Annotated[
    list[Path],
    typer.Argument(
        metavar="PHOTO",
        readable=False,
        help="The photo: JPEG, PNG, WebP, TIFF or HEIC. Or several of the same part: the first one's face is drawn.",
    ),
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
    str | None, typer.Option("--reference", metavar="NAME", help="What gives the scale: id-1, the bank-size card.")
]
Lens = Annotated[
    Path | None, typer.Option("--lens", metavar="PROFILE.json", readable=False, help="A lens profile of the phone.")
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


def reference_of(words: str | None) -> Literal["id-1"]:
    """The reference to look for.

    Raises:
        WrongUsage: one that this version does not know.
    """
    if words is None or words.strip().lower() in ("id-1", "id1"):
        return "id-1"
    if words.strip().lower() in REFERENCES:
        raise WrongUsage(
            f"--reference {words} is not available in this version: lay a bank-size card (id-1) beside the part.",
            "reference",
        )
    raise WrongUsage(f"--reference {words} is not known: this version looks for id-1, the bank-size card.", "reference")

"""Options that several commands share, and how their words become values."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from calib.errors import WrongUsage
from calib.languages import NAMES
from calib.reference.wanted import Bars, Wanted, bar_mm, wanted
from calib.tools.fits import FITS
from calib.written import plain_number
from measure.subject import Subject

MOST_PARTS = 12
"""More do not lie beside a card with a finger's width between them (chosen)."""

FIT_WORDS = ", ".join(f"{f.name} {f.side_mm:g}" for f in FITS.values()) + " mm"
"""The fits, with the room that each leaves."""

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
    str | None,
    typer.Option(
        "--reference",
        metavar="NAME|WxH",
        help="What gives the scale: id-1 (the bank-size card), a4, letter, sheet (the printed one), or a rectangle of "
        "your own in millimetres, such as 120x80 (120x80x3 if it is 3 mm thick). By default the card, and the "
        "sheet under it.",
    ),
]
Tolerance = Annotated[
    str | None,
    typer.Option(
        "--reference-tolerance",
        metavar="MM",
        help="How far your own rectangle's sides may be off; 0.1 by default.",
    ),
]
BarX = Annotated[
    str | None,
    typer.Option("--bar-x", metavar="MM", help="Length of the printed sheet's level check bar, by the caliper."),
]
BarY = Annotated[str | None, typer.Option("--bar-y", metavar="MM", help="The same of the upright check bar.")]
Lens = Annotated[
    Path | None,
    typer.Option(
        "--lens",
        metavar="PROFILE.json",
        readable=False,
        help="A lens profile of the phone, or none. By default the one that is kept for the photo's camera.",
    ),
]
SubjectOption = Annotated[
    str, typer.Option("--subject", metavar="part|opening", help="Whether a part is measured, or an opening's rim.")
]
RimOption = Annotated[
    str | None,
    typer.Option(
        "--rim",
        metavar="sharp|little|clear",
        help="Is the part's upper edge rounded: not at all, a little (about 0.15 mm), or clearly (about 0.3)? Left "
        "out, nobody knows, and sizes are less sure.",
    ),
]
Name = Annotated[str | None, typer.Option("--name", help="The part's name in the title block.")]
Fragments = Annotated[
    str | None,
    typer.Option(
        "--fragments", metavar="2", help="The part is broken in two, and both pieces lie beside the card: join them."
    ),
]
Parts = Annotated[
    str | None,
    typer.Option(
        "--parts",
        metavar="N",
        help="So many parts lie in the photo beside one card: each is traced into a job of its own, JOB-1, JOB-2 and "
        "so on from left to right. Of unlike thickness: --thickness '4.2 3 6.5'.",
    ),
]
Tools = Annotated[
    Path | None, typer.Option("--tools", metavar="FILE.toml", readable=False, help="Your own measuring tools.")
]
Language = Annotated[
    str | None,
    typer.Option(
        "--language",
        metavar="|".join(NAMES),
        help="Language of what is written: English, German, French, Spanish or Dutch. English by default.",
    ),
]
Force = Annotated[
    bool, typer.Option("--force", help="Overwrite files that jawline did not write itself, or that were changed since.")
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON object on standard output, nothing else there.")]


def reference_of(
    words: str | None, tolerance: str | None = None, bar_x: str | None = None, bar_y: str | None = None
) -> Wanted:
    """The reference to look for, see `calib.reference.wanted.wanted`."""
    return wanted(words, tolerance, bars_of(bar_x, bar_y))


def bars_of(x: str | None, y: str | None) -> Bars:
    """The printed sheet's check bars as measured."""
    return Bars(bar_mm("x", x), bar_mm("y", y))


def thicknesses_mm(words: str | None, count: str, subject: Subject, alone: bool) -> list[float]:
    """How thick each of several parts in a photo is, from left to right.

    Args:
        words: one thickness for all, or one for each with spaces between.
        count: how many parts there are, as written.
        subject: part or opening.
        alone: whether the photo is the only one, and nothing is said that holds for one part only.

    Raises:
        WrongUsage: the number or a thickness makes no sense, or goes with something that is for one part.
    """
    from measure.tracing.thickness import thickness_mm

    number = plain_number(count)
    if number is None or number != int(number) or not 2 <= number <= MOST_PARTS:
        raise WrongUsage(f"--parts is 2 to {MOST_PARTS}, not “{count}”.", "parts")
    if subject == "opening" or not alone:
        raise WrongUsage("--parts takes one photo of whole parts, and no marks.", "parts")
    each: list[str | None] = [*(words or "").split()] or [None]
    if len(each) not in (1, int(number)):
        raise WrongUsage(f"{len(each)} thicknesses are given for {number:g} parts: give one, or one for each.", "parts")
    known = [thickness_mm(w, subject) for w in each]
    return known * int(number) if len(known) == 1 else known


def broken_in_two(words: str | None, subject: Subject, photos: int) -> bool:
    """Whether the two pieces of a broken part are to be joined.

    Raises:
        WrongUsage: another number of pieces, an opening, or several photos.
    """
    if words is None:
        return False
    count = plain_number(words)
    if count == 1:
        raise WrongUsage("A part in one piece needs no --fragments: leave it out.", "fragments")
    if count != 2:
        raise WrongUsage(
            f"--fragments is 2, not “{words}”: two pieces can be joined; of more, glue all but two and take the photo "
            "again.",
            "fragments",
        )
    if subject == "opening":
        raise WrongUsage("--fragments joins pieces of a part; an opening has none.", "fragments")
    if photos > 1:
        raise WrongUsage("--fragments takes one photo, with both pieces in it.", "fragments")
    return True

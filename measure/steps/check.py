"""Is this photo good enough? Photos, or a folder of them, to a verdict each, with reasons and a reply to the owner."""

from __future__ import annotations

import csv
import hashlib
import io
import math
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from calib.errors import JawlineError, WrongUsage
from calib.languages import ENGLISH, said_in
from calib.messages import Phrase
from calib.written import printable
from measure.steps.many import work_on_all
from measure.steps.phrases import on_command_line
from measure.tracing.request import Request

if TYPE_CHECKING:
    from calib.photo.photo import Photo
    from calib.rectangle.refusals import Failure
    from calib.reference.found import Found
    from measure.check.rules import Finding

Verdict = Literal["good", "usable", "retake"]
Watch = Callable[["Photo", "Found | Failure"], None]
PHOTO_SUFFIXES = (".jpg", ".jpeg", ".heic", ".heif", ".png", ".webp", ".tif", ".tiff")
LONGEST_SHOWN = 48
"""Letters of a file's name that the table gives room to."""
COLUMNS = ("file", "verdict", "u95_50_mm", "codes", "reasons", "reply", "same_as")


@dataclass(frozen=True, slots=True)
class Checked:
    """What was said of one file.

    Attributes:
        file: its name, without its folder.
        verdict: good, usable or retake.
        findings: (code, level, sentence) each, gravest first.
        u95_50_mm: half-width of the interval that will hold a length of 50 mm 19 times in 20; None where it can't be
            told.
        reply: for the photo's owner; empty where the fault is none of theirs.
        same_as: the file that this one is a copy of, or None.
    """

    file: str
    verdict: Verdict
    findings: tuple[Finding, ...]
    u95_50_mm: float | None
    reply: str
    same_as: str | None = None

    def reasons(self, phrase: Phrase) -> list[dict[str, str]]:
        """The findings as plain JSON values, for where remedies have these names."""
        return [{"code": x.code, "level": x.level, "text": x.message.said(phrase)} for x in self.findings]

    def plain(self) -> dict[str, Any]:
        """For scripts; plain JSON values."""
        return {
            "file": self.file,
            "verdict": self.verdict,
            "u95_50_mm": self.u95_50_mm,
            "reasons": self.reasons(on_command_line),
            "reply": self.reply,
            "same_as": self.same_as,
        }


def photos_of(given: Sequence[Path]) -> list[Path]:
    """The files to look at: those given, and in the place of a folder all that is in it, by name.

    Deeper folders are passed over, unless one is called like a photo; links that lead nowhere are not.

    Raises:
        WrongUsage: nothing there.
    """
    out: list[Path] = []
    for path in given:
        if path.is_dir():
            try:
                inside = sorted(p for p in path.iterdir() if not p.name.startswith(".") and _to_be_told(p))
            except OSError as why:
                reason = (why.strerror or str(why)).lower()
                raise WrongUsage(f"The folder {path} can't be read ({reason}).", "no-folder") from None
            if not inside:
                raise WrongUsage(f"There is no file in the folder {path}.", "empty-folder")
            out += inside
        elif os.path.lexists(path):
            out.append(path)
        else:
            raise WrongUsage(f"There is no file {path}: check the name and the folder.", "no-file")
    return out


def _to_be_told(path: Path) -> bool:
    return not path.is_dir() or path.suffix.lower() in PHOTO_SUFFIXES


def check(
    photos: Sequence[Path],
    request: Request,
    workers: int,
    say: Callable[[str], None] | None = None,
    language: str = ENGLISH,
) -> list[Checked]:
    """Look at photos, several at a time; the same photo given twice is worked once.

    Args:
        photos: the files.
        request: what is known of the part.
        workers: how many processes.
        say: is told of each photo that is done.
        language: of the replies, by its code.

    Returns:
        One record a file, in the order given.

    Raises:
        Stopped: Ctrl-C on the way.
    """
    first = _first_of_same(photos)
    once = sorted(set(first))
    done: dict[int, Checked] = {}
    try:
        for at, result in work_on_all(partial(check_photo, request=request), [photos[i] for i in once], workers):
            i = once[at]
            looked = result or _died(photos[i])
            done[i] = replace(looked, reply=said_in(language, looked.reply))
            if say:
                say(f"[{len(done)}/{len(once)}] {printable(photos[i].name)}: {done[i].verdict}")
    except KeyboardInterrupt:
        raise Stopped(_in_order(photos, first, done)) from None
    return _in_order(photos, first, done)


class Stopped(KeyboardInterrupt):
    """Ctrl-C before all photos were looked at; `done` are those that were, in the order given."""

    def __init__(self, done: list[Checked]) -> None:
        super().__init__()
        self.done = done


def _in_order(photos: Sequence[Path], first: Sequence[int], done: Mapping[int, Checked]) -> list[Checked]:
    """The records of files that are done, or are the same as one that is."""
    return [
        done[i] if i == k else replace(done[i], file=photos[k].name, same_as=photos[i].name)
        for k, i in enumerate(first)
        if i in done
    ]


def check_photo(path: Path, request: Request, watch: Watch = lambda photo, found: None) -> Checked:
    """One file, whatever it is: nothing that is wrong with it raises.

    Args:
        path: the file.
        request: what is known of the part.
        watch: is told the photo and the reference in it as soon as they are there.
    """
    from calib.photo.photo import load
    from calib.reference.found import Found
    from measure.check.fitness import fitness, reference_in
    from measure.check.reply import reply
    from measure.check.rules import Finding, findings_of, verdict
    from measure.check.tried import try_trace

    expected = math.nan
    try:
        photo = load(path)
        reference = reference_in(photo, request.reference)
        watch(photo, reference)
        figures = fitness(photo, request, reference)
        drawn = (
            try_trace(photo, reference, request) if figures.failure is None and isinstance(reference, Found) else None
        )
        found = findings_of(figures, drawn)
        expected = drawn.u95_50_mm if drawn else math.nan
    except JawlineError as why:
        found = (Finding(why.code, "retake", why.message.what, why.message.remedies),)
    except Exception as why:  # one odd photo must not stop fifty others
        said = " ".join(str(why).split())[:120]
        found = (
            Finding("unexpected", "retake", f"jawline was not made for this photo ({type(why).__name__}: {said})."),
        )
    u95 = round(expected, 3) if math.isfinite(expected) else None
    return Checked(
        path.name, verdict(found), found, u95, reply(found, by_card=request.reference.name in (None, "id-1"))
    )


def _died(path: Path) -> Checked:
    from measure.check.reply import reply
    from measure.check.rules import Finding

    found = (
        Finding("unexpected", "retake", "Looking at this photo takes more memory than there is, or ends in a crash."),
    )
    return Checked(path.name, "retake", found, None, reply(found))


def _first_of_same(photos: Sequence[Path]) -> list[int]:
    """For each file the place of the first with the same content; only files of the same size are read for that."""
    sizes: dict[int, list[int]] = {}
    for i, path in enumerate(photos):
        try:
            sizes.setdefault(path.stat().st_size, []).append(i)
        except OSError:
            continue
    first = list(range(len(photos)))
    for alike in (x for size, x in sizes.items() if len(x) > 1 and size > 0):
        seen: dict[bytes, int] = {}
        for i in alike:
            try:
                with open(photos[i], "rb") as f:
                    first[i] = seen.setdefault(hashlib.file_digest(f, "sha256").digest(), i)
            except OSError:
                continue
    return first


# --------------------------------------------------------------------------------------------------------- for reading
def counted(done: Sequence[Checked]) -> Mapping[str, int]:
    """How many of each verdict."""
    return {v: sum(x.verdict == v for x in done) for v in ("good", "usable", "retake")}


def table(done: Sequence[Checked], as_csv: bool) -> str:
    """What was found, for spreadsheets or for people."""
    return csv_text(done) if as_csv else "\n".join(table_lines(done)) + "\n"


def csv_text(done: Sequence[Checked]) -> str:
    """A table for spreadsheets."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(COLUMNS)
    for x in done:
        codes, texts = (" ".join(f.code for f in x.findings), " ".join(_said(f) for f in x.findings))
        u95 = "" if x.u95_50_mm is None else x.u95_50_mm
        rows.writerow([printable(x.file), x.verdict, u95, codes, texts, x.reply, printable(x.same_as or "")])
    return out.getvalue()


def _said(found: Finding) -> str:
    return found.message.said(on_command_line)


def table_lines(done: Sequence[Checked]) -> list[str]:
    """A table for people: a line for each file, its reasons below it, its reply last."""
    name = min(max((len(printable(x.file)) for x in done), default=0), LONGEST_SHOWN)
    lines: list[str] = []
    for x in done:
        exact = "" if x.u95_50_mm is None else f"50 mm ± {x.u95_50_mm:.2f}"
        lines.append(f"{printable(x.file):{name}}  {x.verdict:6}  {exact}".rstrip())
        if x.same_as is not None:
            lines.append(f"    the same photo as {printable(x.same_as)}")
            continue
        lines += [f"    {f.code}: {_said(f)}" for f in x.findings]
        lines += [f"    Reply: {x.reply}"] if x.reply else []
    if len(done) > 1:
        n = counted(done)
        lines.append(f"{len(done)} files: {n['good']} good, {n['usable']} usable, {n['retake']} to be taken again.")
    return lines

"""What people say of a trial print, and the file in which it is kept.

    tight at E2        loose at D1        rubs at E3, E4        fits at E1
    gap 0.4 at E5      too long 0.3 at E2                       too short 0,5 mm at E1 E3
    would not go in

Without a place it is said of the whole outer boundary. With two edges, too long and too short are of the size between
them. The file is ``revision,said`` with a line for each, `#` starts a comment; it may be mended by hand.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from calib.errors import ReadingsRefused
from calib.words import Words
from calib.written import plain_number
from measure.readings.readings import split_labels

Feel = Literal["tight", "loose", "rubs", "fits", "gap", "too long", "too short", "would not go in"]
CAN_BE_SAID = Words(
    "tight, loose, rubs, gap 0.4, too long 0.3, too short 0.3, would not go in, fits; each may be followed by “at” and "
    "labels, as in “tight at E2”"
)
MOST_MM = 3.0
"""What is further off is no matter of fit."""
HEADING = "revision,said"
LONGEST, MOST_ROWS = 2000, 1000
"""Characters of what is said at one time, and rows of the file."""

_NUMBER = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:\s*mm)?"
_LABEL = r"[a-z]{1,2}\d{1,4}"
_PHRASE = re.compile(
    rf"""(?: (?:too\s+)?(?P<feel>tight|loose) | (?P<plain>rubs|fits)
        | (?P<stuck>(?:(?:would|will|does|did)\s+not|wouldn't|won't|doesn't|didn't)\s+go\s+in)
        | (?P<gap>gap)\s+(?:of\s+)?(?P<wide>{_NUMBER})
        | (?:(?P<first>{_NUMBER})\s+)?too\s+(?P<size>long|short)(?:\s+(?:by\s+)?(?P<by>{_NUMBER}))? )
        (?!\w)
        (?: (?:\s+(?:at|on|by|near))?\s+(?P<where>{_LABEL}(?:(?:\s*[,;+&/–-]\s*|\s+and\s+|\s+){_LABEL})*)(?!\w) )?""",
    re.VERBOSE,
)
_WORD = re.compile(r"[^\s,;.]+|[.,](?=\d)")


@dataclass(frozen=True, slots=True)
class Saying:
    """What was said of one place.

    Attributes:
        feel: how it went.
        labels: where; none for the whole outer boundary, two for the size between them.
        by_mm: how much, where that was said.
    """

    feel: Feel
    labels: tuple[str, ...] = ()
    by_mm: float | None = None

    def words(self) -> str:
        """As it is written in the file."""
        much = "" if self.by_mm is None else f" {self.by_mm:g}"
        where = f" at {' '.join(self.labels)}" if self.labels else ""
        return f"{self.feel}{much}{where}"

    @property
    def says(self) -> Literal["too much", "too little", "right"]:
        """Whether there is too much of the part, or of what lies between two edges, or too little."""
        if self.feel == "fits":
            return "right"
        return "too much" if self.feel in ("tight", "rubs", "too long", "would not go in") else "too little"


@dataclass(frozen=True, slots=True)
class DatedSaying:
    """A saying, and of which revision it was said."""

    revision: int
    saying: Saying


def parse(words: Iterable[str]) -> tuple[Saying, ...]:
    """The sayings in some words, one for each place.

    Args:
        words: phrases, each in one piece or torn apart at its spaces.

    Raises:
        ReadingsRefused: something can't be understood.
    """
    words = list(words)
    if sum(map(len, words)) > LONGEST:
        raise ReadingsRefused(
            Words(
                "What is said is longer than {longest} characters. What can be said: {can_be_said}.",
                longest=LONGEST,
                can_be_said=CAN_BE_SAID,
            ),
            "saying",
        )
    text = " ".join(" ".join(words).lower().replace("’", "'").split())
    out: list[Saying] = []
    at = 0
    while at < len(text):
        found = _PHRASE.match(text, at)
        if found is None:
            rest = text[at:].strip()
            nxt = next((i for i in _words_after(text, at) if _PHRASE.match(text, i)), len(text))
            what = text[at:nxt].strip(" ,;.") or rest
            raise ReadingsRefused(
                Words(
                    "“{what}” can't be understood. What can be said: {can_be_said}.", what=what, can_be_said=CAN_BE_SAID
                ),
                "saying",
            )
        out += _sayings(found)
        at = found.end()
        while at < len(text) and text[at] in " ,;.":
            at += 1
    if not out:
        raise ReadingsRefused(
            Words("Nothing is said of the print. What can be said: {can_be_said}.", can_be_said=CAN_BE_SAID), "saying"
        )
    return tuple(dict.fromkeys(out))


def _words_after(text: str, at: int) -> Iterator[int]:
    """Where words begin behind a place: only there may a phrase, so that long digits are not tried at every one."""
    return (m.start() for m in _WORD.finditer(text, at) if m.start() > at)


def _sayings(found: re.Match[str]) -> list[Saying]:
    labels = tuple(x.upper() for x in split_labels(re.sub(r"\band\b", " ", found["where"] or "")))
    feel: Feel = "would not go in"
    by: float | None = None
    if found["feel"] or found["plain"]:
        feel = found["feel"] or found["plain"]  # type: ignore[assignment]
    elif found["gap"]:
        feel, by = "gap", _millimetres(found["wide"], found[0])
    elif found["size"]:
        feel = "too long" if found["size"] == "long" else "too short"
        much = found["first"] or found["by"]
        by = None if much is None else _millimetres(much, found[0])
        if not labels:
            raise ReadingsRefused(
                Words("“{found}” needs a place: write “{found} at E2”.", found=found[0].strip()), "saying"
            )
        if len(labels) > 2 or len(set(labels)) < len(labels):
            raise ReadingsRefused(
                Words("“{found}” names one edge, or the two between which the size lies.", found=found[0].strip()),
                "saying",
            )
        return [Saying(feel, labels, by)]
    return [Saying(feel, (x,), by) for x in labels] or [Saying(feel, (), by)]


def _millimetres(words: str, phrase: str) -> float:
    value = plain_number(words)
    if value is None or not 0 < value <= MOST_MM:
        raise ReadingsRefused(
            Words(
                "“{phrase}”: {words} mm is no matter of fit (above 0, up to {most_mm:g} mm): measure the "
                "part again, or look at the decimal point.",
                phrase=phrase.strip(),
                words=words.removesuffix("mm").strip(),
                most_mm=MOST_MM,
            ),
            "saying",
        )
    return value


def clash(sayings: Sequence[Saying]) -> str | None:
    """Why sayings of one print contradict each other, in words; None where they don't."""
    first: dict[tuple[str, ...], Saying] = {}
    for s in sayings:
        other = first.setdefault(_place(s), s)
        if other.says != s.says:
            return Words(
                "“{words}” and “{words2}” contradict each other: say one of them.",
                words=other.words(),
                words2=s.words(),
            )
    return None


def replaced(said: Sequence[DatedSaying]) -> tuple[tuple[DatedSaying, ...], tuple[str, ...]]:
    """What still counts: of contradicting rows on the same place of the same revision only the last.

    Returns:
        the rows, and a sentence for each that was replaced.
    """
    out, words = list[DatedSaying](), list[str]()
    for i, s in enumerate(said):
        later = [
            x.saying
            for x in said[i + 1 :]
            if x.revision == s.revision and _place(x.saying) == _place(s.saying) and x.saying.says != s.saying.says
        ]
        if later:
            words.append(
                Words(
                    "“{words}”, said of revision {revision}, is replaced by “{words2}”, which was said later.",
                    words=s.saying.words(),
                    revision=s.revision,
                    words2=later[-1].words(),
                )
            )
        else:
            out.append(s)
    return tuple(out), tuple(words)


def _place(s: Saying) -> tuple[str, ...]:
    return tuple(sorted(s.labels))


# ------------------------------------------------------------------------------------------------------------- the file
def read_file(text: str, name: str) -> tuple[DatedSaying, ...]:
    """The rows of the file.

    Args:
        text: its content.
        name: its name, for messages.

    Raises:
        ReadingsRefused: with the line's number in the sentence.
    """
    out: list[DatedSaying] = []
    lines = text.splitlines()
    if len(lines) > MOST_ROWS:
        raise ReadingsRefused(
            Words(
                "{name} has more than {most_rows} rows: keep those of the last revisions.",
                name=name,
                most_rows=MOST_ROWS,
            ),
            "saying",
        )
    for n, line in enumerate(lines, 1):
        if len(line) > LONGEST:
            raise ReadingsRefused(
                Words(
                    "{name}, line {number} is longer than {longest} characters: shorten it.",
                    name=name,
                    number=n,
                    longest=LONGEST,
                ),
                "saying",
            )
        row = line.split("#")[0].strip()
        if not row or re.fullmatch(r"revision\s*[,;\t]\s*said", row.lower()):
            continue
        m = re.fullmatch(r"([0-9]{1,9})\s*[,;\t]\s*(.+)", row)
        if not m:
            raise ReadingsRefused(
                Words(
                    "{name}, line {number}: “{row}” is no row: write the revision's number, a comma and what "
                    "was said of it, like 1,tight at E2",
                    name=name,
                    number=n,
                    row=row,
                ),
                "saying",
            )
        try:
            out += [DatedSaying(int(m[1]), s) for s in parse([m[2].strip().strip('"').replace('""', '"')])]
        except ReadingsRefused as why:
            raise why.after(Words("{name}, line {number}: ", name=name, number=n)) from None
    return tuple(out)


def written(said: Iterable[DatedSaying]) -> str:
    """Rows for the file, without its heading."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    for s in said:
        rows.writerow([s.revision, s.saying.words()])
    return out.getvalue()

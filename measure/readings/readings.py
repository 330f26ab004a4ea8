"""Readings that jaws took: what they are, and the CSV file they travel in.

    kind,features,value,unit,tool,note
    width,E1 E3,24.31,mm,caliper,

UTF-8 with or without a byte order mark; `#` starts a comment; empty lines are skipped; columns in any order; commas,
semicolons or tabs between them; decimal points or commas; inches also as fractions (`15/16`, `1 3/8`).
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, get_args

from calib.errors import ReadingsRefused
from calib.tools.jaws import TOOLS, Tool, Touch
from calib.words import Words
from calib.written import LONGEST_NUMBER

ReadingKind = Literal["width", "gap", "bore", "boss", "web", "span", "radius", "thickness"]
Unit = Literal["mm", "in"]

KINDS: tuple[ReadingKind, ...] = get_args(ReadingKind)
FEATURES: dict[ReadingKind, int] = {
    "width": 2,
    "gap": 2,
    "bore": 1,
    "boss": 1,
    "web": 2,
    "span": 2,
    "radius": 1,
    "thickness": 0,
}
"""How many features a reading of each kind names."""
TOUCH: dict[ReadingKind, Touch] = {
    "width": "outside",
    "gap": "inside",
    "bore": "inside",
    "boss": "outside",
    "web": "outside",
    "span": "inside",
    "radius": "radius",
    "thickness": "outside",
}
"""Which jaws a reading of each kind is taken with."""
MM_PER_INCH = 25.4
LONGEST_MM = 2000.0
EMPTY = "readings-empty"
"""Code of a refusal: there is nothing in it yet."""
LONGEST_LINE, MOST_ROWS = 1000, 500
"""Characters of a line, and lines of a file: nobody writes more by hand, and each is looked at before any pattern."""
COLUMNS = ("kind", "features", "value", "unit", "tool", "note")

_UNITS: dict[str, Unit] = {"": "mm", "mm": "mm", "in": "in", "inch": "in", "inches": "in", '"': "in", "″": "in"}
_WITH_UNIT = re.compile(r"(.*[\d.,])\s*(mm|in|inch|inches|\"|″)", re.IGNORECASE)
_WHOLE = re.compile(r"[+-]?\d+([.,]\d*)?|[+-]?[.,]\d+", re.ASCII)
_FRACTION = re.compile(r"(?:(\d+)[\s-]+)?(\d+)/(\d+)", re.ASCII)
_LABEL = re.compile(r"[A-Za-z]{1,3}[0-9]{1,6}")


@dataclass(frozen=True, slots=True)
class Reading:
    """What somebody read off a tool.

    Attributes:
        kind: what the jaws touched.
        features: labels of the features, upper case, in the order given.
        value_mm: the value in millimetres.
        unit: the unit it was given in.
        tool: name of the tool.
        written: the number as it was written, decimal point, without the unit.
        note: free words.
        line: line of the file that it stood in, counted from 1; None where it came from elsewhere.
    """

    kind: ReadingKind
    features: tuple[str, ...]
    value_mm: float
    unit: Unit = "mm"
    tool: str = "caliper"
    written: str = ""
    note: str = ""
    line: int | None = None

    def words(self) -> str:
        """The reading as people say it: ``width E1 E3 24.31 mm``."""
        return " ".join([self.kind, *self.features, self.written or f"{self.value_mm:g}", self.unit])


def number(text: str) -> float | None:
    """The number that a text holds (decimal point or comma, or a fraction); None where it holds none."""
    text = text.strip().replace("\N{MINUS SIGN}", "-")
    if len(text) > LONGEST_NUMBER:
        return None
    if _WHOLE.fullmatch(text):
        return float(text.replace(",", "."))
    if (m := _FRACTION.fullmatch(text)) and int(m[3]):
        return float(int(m[1] or 0) + Fraction(int(m[2]), int(m[3])))
    return None


def make_reading(
    kind: str,
    features: Iterable[str],
    value: str,
    unit: str = "mm",
    tool: str = "caliper",
    note: str = "",
    *,
    tools: Mapping[str, Tool] = TOOLS,
    line: int | None = None,
) -> Reading:
    """One reading from its words, each checked by itself (what the features are is checked by
    `measure.readings.jaw_reach`).

    Raises:
        ReadingsRefused: a word makes no sense; the sentence says which and where.
    """

    def refuse(what: str, code: str) -> ReadingsRefused:
        return ReadingsRefused(Words("Line {line}: {what}", line=line, what=what) if line else what, code)

    kind = kind.strip().lower()
    if kind not in KINDS:
        raise refuse(
            Words("“{kind}” is not a kind of reading; the kinds are {kinds}.", kind=kind, kinds=", ".join(KINDS)),
            "reading-kind",
        )
    labels = tuple(x.upper() for x in features)
    for x in labels:
        if not _LABEL.fullmatch(x):
            raise refuse(Words("“{x}” is not a feature's label; labels look like E1, R2 or D3.", x=x), "reading-label")
    if len(labels) != FEATURES[kind]:
        need = (Words("no feature"), Words("one feature"), Words("two features"))[FEATURES[kind]]
        got = " ".join(labels) or "none"
        raise refuse(
            Words("A {kind} reading names {need}, but here stands: {got}.", kind=kind, need=need, got=got),
            "reading-label",
        )
    if len(set(labels)) != len(labels):
        raise refuse(
            Words(
                "A {kind} reading names two different features, but here stands {labels} twice.",
                kind=kind,
                labels=labels[0],
            ),
            "reading-label",
        )
    value, unit = _split_unit(value, unit)
    if unit.strip().lower() not in _UNITS:
        raise refuse(Words("The unit “{unit}” is not known; write mm or in.", unit=unit), "reading-unit")
    known_unit = _UNITS[unit.strip().lower()]
    v = number(value)
    if v is None or not math.isfinite(v):
        raise refuse(
            Words("“{value}” is not a number; write the value like 24.31.", value=value.strip()), "reading-number"
        )
    mm = v * (MM_PER_INCH if known_unit == "in" else 1.0)
    if v <= 0:
        raise refuse(
            Words("The value {value} is not above zero; no jaws read that.", value=value.strip()), "reading-range"
        )
    if mm > LONGEST_MM:
        raise refuse(
            Words(
                "{value} {known_unit} is longer than any caliper; look at the decimal point and the unit.",
                value=value.strip(),
                known_unit=known_unit,
            ),
            "reading-range",
        )
    tool = tool.strip() or "caliper"
    if tool not in tools:
        if tool.lower() not in tools:
            raise refuse(
                Words("The tool “{tool}” is not known; known are {tools}.", tool=tool, tools=", ".join(tools)),
                "reading-tool",
            )
        tool = tool.lower()
    if tools[tool].leaf and kind != "radius":
        raise refuse(Words("A {tool} reads radii only, not a {kind}.", tool=tool, kind=kind), "reading-tool")
    written = " ".join(value.strip().lstrip("+").replace(",", ".").split())
    return Reading(kind, labels, mm, known_unit, tool, written, note.strip(), line)


def _split_unit(value: str, unit: str) -> tuple[str, str]:
    """A unit that sticks to the number (`24.31mm`, `0.957"`) is taken off, where the unit's own place is empty."""
    m = len(value) <= 2 * LONGEST_NUMBER and re.fullmatch(
        r"(.*[\d.,])\s*(mm|in|inch|inches|\"|″)", value.strip(), re.IGNORECASE
    )
    if m and _UNITS.get(unit.strip().lower()) in (_UNITS[m[2].lower()], None if unit.strip() else "mm"):
        return m[1], m[2]
    return value, unit


def split_labels(text: str) -> list[str]:
    """Labels from one cell or word: ``E1 E3``, ``E1-E3``, ``E1,E3``, ``E1/E3``, ``E1+E3``."""
    return [x for x in re.split(r"[\s,;/+&–-]+", text.strip()) if x]


def read_csv(content: bytes | str, tools: Mapping[str, Tool] = TOOLS) -> tuple[Reading, ...]:
    """Readings from a file's content.

    Args:
        content: the whole file. Rows of a worksheet (their note is its number) that have no value yet are left out.
        tools: the tools that may be named.

    Raises:
        ReadingsRefused: with the line's number in the sentence.
    """
    text = decoded(content)
    lines = [(i, x) for i, x in enumerate(text.splitlines(), 1) if x.strip() and not x.lstrip().startswith("#")]
    long = next((i for i, x in lines if len(x) > LONGEST_LINE), None)
    if long is not None:
        raise ReadingsRefused(
            Words(
                "Line {long} of the readings file is longer than {longest_line} characters: shorten its note.",
                long=long,
                longest_line=LONGEST_LINE,
            ),
            "readings-file",
        )
    if len(lines) > MOST_ROWS:
        raise ReadingsRefused(
            Words(
                "The readings file has more than {most_rows} lines: keep those that are of this part.",
                most_rows=MOST_ROWS,
            ),
            "readings-file",
        )
    lines = [(i, x) for i, x in lines if x.strip(" \t,;")]
    if not lines:
        raise ReadingsRefused(
            Words("The readings file holds no readings; the first line is kind,features,value,unit,tool,note."),
            EMPTY,
        )
    mark = next((m for m in ("\t", ";", ",") if m in lines[0][1]), ",")
    head = [c.strip().lower() for c in cells_of(lines[0][1], mark)]
    if "kind" in head or "value" in head:
        lines = lines[1:]
    elif head and head[0] in KINDS:
        head = list(COLUMNS)
    else:
        raise ReadingsRefused(
            Words(
                "Line {lines}: the heading is missing; the first line is kind,features,value,unit,tool,note.",
                lines=lines[0][0],
            ),
            "readings-heading",
        )
    for needed in ("kind", "features", "value"):
        if head.count(needed) != 1:
            raise ReadingsRefused(
                Words("The heading must name “{needed}” once; it is {head}.", needed=needed, head=", ".join(head)),
                "readings-heading",
            )
    if not lines:
        raise ReadingsRefused(Words("The readings file holds a heading but no readings."), EMPTY)
    rows = [(cells_of(x, mark), i) for i, x in lines]
    rows = [(cells, i) for cells, i in rows if not _still_blank(dict(zip(head, cells, strict=False)))]
    if not rows:
        raise ReadingsRefused(Words("The readings file holds no values yet."), EMPTY)
    return tuple(_row(cells, head, i, tools) for cells, i in rows)


def _still_blank(row: Mapping[str, str]) -> bool:
    return not row.get("value", "").strip() and row.get("note", "").strip().isdigit()


def decoded(content: bytes | str) -> str:
    """The text of a readings file.

    Raises:
        ReadingsRefused: it is none.
    """
    if isinstance(content, str):
        return content.removeprefix("\ufeff")
    if content[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return content.decode("utf-16", errors="replace")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = content[: e.start].count(b"\n") + 1
        raise ReadingsRefused(
            Words("Line {line}: the readings file is not UTF-8 text; save it as CSV, UTF-8.", line=line),
            "readings-encoding",
        ) from e
    if "\0" in text:
        raise ReadingsRefused(Words("The readings file is not text; save it as CSV, UTF-8."), "readings-encoding")
    return text


def cells_of(line: str, mark: str = ",") -> list[str]:
    """Cells of one line, which is no longer than `LONGEST_LINE`; a comment behind a space and `#` is cut off."""
    cells = next(csv.reader([line], delimiter=mark, skipinitialspace=True), [])
    for i, c in enumerate(cells):
        if c.lstrip().startswith("#") or " #" in c:
            return [*cells[:i], c.split("#")[0]]
    return cells


def _row(cells: Sequence[str], head: Sequence[str], line: int, tools: Mapping[str, Tool]) -> Reading:
    cells = _joined_decimals([c.strip() for c in cells], head)
    extra = [c for c in cells[len(head) :] if c]
    if extra:
        raise ReadingsRefused(
            Words(
                "Line {line}: there are more cells than the heading has; put a decimal comma in quotes "
                "or write a point.",
                line=line,
            ),
            "readings-cells",
        )
    row = dict(zip(head, [*cells, *[""] * len(head)], strict=False))
    return make_reading(
        row["kind"],
        split_labels(row["features"]),
        row["value"],
        row.get("unit", ""),
        row.get("tool", ""),
        row.get("note", ""),
        tools=tools,
        line=line,
    )


def _joined_decimals(cells: list[str], head: Sequence[str]) -> list[str]:
    """A decimal comma in a comma-separated line makes one cell too many; it is joined where the next cell is a unit."""
    at = head.index("value")
    if len(cells) <= at + 2 or "unit" not in head or head.index("unit") != at + 1 or not cells[at + 2]:
        return cells
    split = re.fullmatch(r"\d+", cells[at]) and re.fullmatch(r"\d{1,4}", cells[at + 1])
    return (
        [*cells[:at], f"{cells[at]}.{cells[at + 1]}", *cells[at + 2 :]]
        if split and cells[at + 2].lower() in _UNITS
        else cells
    )


def read_words(words: Sequence[str], tools: Mapping[str, Tool] = TOOLS) -> tuple[Reading, ...]:
    """Readings from words on the command line, one after the other.

    ``width E1 E3 24.31 bore D1 4.02 mm thickness 4.2 gap E5-E7 0.189 in vernier``

    Args:
        words: kind, labels, value, and the unit and tool where they are not mm and caliper.
        tools: by name; must hold every tool that is named.

    Raises:
        ReadingsRefused: the words make no reading.
    """
    if sum(map(len, words)) > LONGEST_LINE * 10:
        raise ReadingsRefused("These are too many words for readings: put them into a file.", "readings-file")
    queue = [w for word in words for w in re.split(r"[\s;]+", word.strip()) if w]
    if not queue:
        raise ReadingsRefused("There is no reading; write one like: width E1 E3 24.31", EMPTY)
    out = []
    while queue:
        kind = queue.pop(0)
        if kind.lower() not in KINDS:
            kinds = ", ".join(KINDS)
            raise ReadingsRefused(
                Words("“{kind}” is not a kind of reading; the kinds are {kinds}.", kind=kind, kinds=kinds),
                "reading-kind",
            )
        labels: list[str] = []
        while queue and not _numeric(queue[0]) and queue[0].lower() not in KINDS:
            labels += split_labels(queue.pop(0))
        if not queue or not _numeric(queue[0]):
            said = " ".join([kind, *labels])
            raise ReadingsRefused(f"“{said}” has no value; write it like: width E1 E3 24.31", "reading-number")
        value = queue.pop(0)
        if queue and value.isdigit() and _FRACTION.fullmatch(queue[0].rstrip('"″')):
            value += " " + queue.pop(0)
        unit = queue.pop(0) if queue and queue[0].lower() in _UNITS else ""
        tool = ""
        if queue and queue[0].lower() not in KINDS:
            tool = queue.pop(0)
            if tool not in tools and tool.lower() not in tools:
                known = ", ".join(tools)
                raise ReadingsRefused(
                    f"After {value} stands “{tool}”, which is neither a unit (mm, in) nor a tool ({known}).",
                    "reading-tool",
                )
        out.append(make_reading(kind, labels, value, unit, tool, tools=tools))
    return tuple(out)


def _numeric(word: str) -> bool:
    return bool(re.match(r"[+\-\N{MINUS SIGN}]?[.,]?\d", word))


def write_csv(readings: Iterable[Reading]) -> str:
    """Readings as the content of a readings file."""
    out = io.StringIO()
    w = csv.writer(out, lineterminator="\n")
    w.writerow(COLUMNS)
    for r in readings:
        value = r.written or repr(round(r.value_mm / (MM_PER_INCH if r.unit == "in" else 1.0), 6))
        w.writerow([r.kind, " ".join(r.features), value, r.unit, r.tool, r.note])
    return out.getvalue()

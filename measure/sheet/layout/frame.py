"""The sheet round the view: frame, title block, scale bar, "this side up", notes.

Frame after ISO 5457 (20 mm filing margin on the left, 10 mm elsewhere, 0.7 mm line, centring marks), title block 180 mm
wide after ISO 7200.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calib.languages import ENGLISH, said_in
from calib.words import Words
from measure.geometry.features import Point
from measure.sheet.lettering import FIGURES_MM, SMALL_MM, TINY_MM, fitted, width_mm, wrapped
from measure.sheet.marks import FRAME, NARROW, WIDE, Anchor, Fill, Mark, Path, Text, line

FILING_MM, MARGIN_MM = 20.0, 10.0
BLOCK_MM = 180.0
ROW_MM = 8.0
STRIP_MM = 13.0
"""Height of the strip with the scale bar."""
LEADING_MM = 4.2
"""Distance of note lines."""
PAPER: tuple[tuple[str, float, float], ...] = (
    ("A4", 210, 297),
    ("A4", 297, 210),
    ("A3", 420, 297),
    ("A3", 297, 420),
    ("A2", 594, 420),
    ("A2", 420, 594),
    ("A1", 841, 594),
    ("A1", 594, 841),
    ("A0", 1189, 841),
    ("A0", 841, 1189),
)
"""ISO 216 sizes, mm, the smallest first; those past A4 stand upright only where the part has no room otherwise."""
BAR_MM = 100.0


@dataclass(frozen=True, slots=True)
class Field:
    """A field of the title block: caption, value, width; big for the part's name."""

    caption: str
    value: str
    width_mm: float
    big: bool = False


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper."""

    name: str
    width_mm: float
    height_mm: float

    @property
    def frame(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the frame."""
        return FILING_MM, MARGIN_MM, self.width_mm - MARGIN_MM, self.height_mm - MARGIN_MM

    @property
    def is_narrow(self) -> bool:
        """Whether the title block takes the whole width, so that the notes stand above it."""
        return self.frame[2] - self.frame[0] < BLOCK_MM + 60

    @property
    def notes_width_mm(self) -> float:
        """Width of a line of notes."""
        left, _, right, _ = self.frame
        return right - left - 6 if self.is_narrow else min(right - left - BLOCK_MM - 8, 150)


def room(paper: Paper, rows: int, notes: int, table_mm: float) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of what is left for the view.

    Args:
        paper: the sheet.
        rows: rows of the title block.
        notes: lines of notes.
        table_mm: height of the table of features, 0 for none.
    """
    left, bottom, right, top = paper.frame
    block = rows * ROW_MM + STRIP_MM
    words = notes * LEADING_MM + 5
    low = bottom + (block + words if paper.is_narrow else max(block, words))
    return left + 4, low + table_mm + 3, right - 4, top - 4


def border(paper: Paper) -> list[Mark]:
    """Frame and centring marks."""
    x0, y0, x1, y1 = paper.frame
    corners = ((x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0))
    marks: list[Mark] = [Path(corners, "TITLE", FRAME, closed=True)]
    mx, my = (x0 + x1) / 2, (y0 + y1) / 2
    for p, q in (
        ((mx, y0), (mx, y0 - 5)),
        ((mx, y1), (mx, y1 + 5)),
        ((x0, my), (x0 - 5, my)),
        ((x1, my), (x1 + 5, my)),
    ):
        marks.append(line(p, q, "TITLE", FRAME))
    return marks


def title_block(paper: Paper, rows: Sequence[Sequence[Field]]) -> list[Mark]:
    """The title block in the lower right corner; its rows run from top to bottom."""
    _, y0, x1, _ = paper.frame
    x0 = x1 - BLOCK_MM
    top = y0 + len(rows) * ROW_MM
    marks: list[Mark] = [line((x0, top), (x1, top), "TITLE", WIDE)]
    if not paper.is_narrow:
        marks.append(line((x0, y0), (x0, top), "TITLE", WIDE))
    for n, row in enumerate(rows):
        y = top - (n + 1) * ROW_MM
        x = x0
        if n < len(rows) - 1:
            marks.append(line((x0, y), (x1, y), "TITLE"))
        for k, f in enumerate(row):
            if k:
                marks.append(line((x, y), (x, y + ROW_MM), "TITLE"))
            marks += _field(f, x, y)
            x += f.width_mm
    return marks


def _field(f: Field, x: float, y: float) -> list[Mark]:
    height = FIGURES_MM if f.big and width_mm(f.value, FIGURES_MM) < f.width_mm - 3 else SMALL_MM
    return [
        Text((x + 1.2, y + ROW_MM - 1.0 - TINY_MM), f.caption, TINY_MM, "TITLE", grey=0.35),
        Text((x + 1.5, y + 1.1), fitted(f.value, height, f.width_mm - 3), height, "TITLE"),
    ]


def scale_strip(paper: Paper, rows: int, face: str, reduced: int = 1, language: str = ENGLISH) -> list[Mark]:
    """The 100 mm bar to check a print by, and which side is up."""
    _, y0, x1, _ = paper.frame
    x0 = x1 - BLOCK_MM
    base = y0 + rows * ROW_MM
    x, y = x0 + 6, base + 4.6
    marks: list[Mark] = [Path(_rectangle(x, y, x + BAR_MM, y + 1.6), "TITLE", NARROW, closed=True)]
    for k in range(0, 10, 2):
        a = x + 10 * k
        marks.append(Fill(((a, y), (a + 10, y), (a + 10, y + 1.6), (a, y + 1.6)), "TITLE"))
    for k in (0, 5, 10):
        a = x + 10 * k
        marks.append(line((a, y + 1.6), (a, y + 3.0), "TITLE"))
        words = "100 mm" if k == 10 else str(10 * k)
        anchor: Anchor = "middle" if k != 10 else "end"
        at = (a + (4.0 if k == 10 else 0.0), y + 3.8)
        marks.append(Text(at, words, SMALL_MM, "TITLE", anchor))
    words = Words("True size: this bar must measure 100 mm on the print.")
    if reduced > 1:
        words = Words("{n} times smaller than the part. This bar must measure 100 mm on the print.", n=reduced)
    marks.append(Text((x, base + 1.6), said_in(language, words), TINY_MM, "TITLE", grey=0.35))
    return marks + _side_up(x1 - 54, base + 2.0, face, said_in(language, Words("THIS SIDE UP")))


def _side_up(x: float, y: float, face: str, up: str) -> list[Mark]:
    shaft = ((x, y), (x + 9, y), (x + 9, y + 9), (x, y + 9))
    arrow = ((x + 4.5, y + 8), (x + 1.8, y + 4.4), (x + 7.2, y + 4.4))
    stem = ((x + 3.6, y + 1), (x + 5.4, y + 1), (x + 5.4, y + 4.4), (x + 3.6, y + 4.4))
    return [
        Path(tuple((px, py, 0.0) for px, py in shaft), "TITLE", WIDE, closed=True),
        Fill(arrow, "TITLE"),
        Fill(stem, "TITLE"),
        Text((x + 11, y + 4.9), up, FIGURES_MM, "TITLE"),
        Text((x + 11, y + 1.2), face, SMALL_MM, "TITLE"),
    ]


def _rectangle(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float, float], ...]:
    return ((x0, y0, 0.0), (x1, y0, 0.0), (x1, y1, 0.0), (x0, y1, 0.0))


def note_lines(notes: Sequence[str], paper: Paper) -> list[str]:
    """Notes in lines that fit the sheet; those that go on are indented."""
    out = []
    for note in notes:
        first, *rest = wrapped(note, SMALL_MM, paper.notes_width_mm - 3) or [""]
        out += [first, *(f"   {r}" for r in rest)]
    return out


def note_block(lines: Sequence[str], paper: Paper, rows: int) -> list[Mark]:
    """The notes: above the title block on a narrow sheet, beside it on a wide one."""
    left, bottom, _, _ = paper.frame
    base = bottom + (rows * ROW_MM + STRIP_MM if paper.is_narrow else 0)
    marks: list[Mark] = []
    for n, words in enumerate(reversed(lines)):
        marks.append(Text((left + 3, base + 2.5 + n * LEADING_MM), words, SMALL_MM, "NOTES"))
    return marks


def table(header: Sequence[str], rows: Sequence[Sequence[str]], paper: Paper, base: float) -> list[Mark]:
    """A table in as many columns side by side as the sheet is wide, its lower edge at base."""
    widths = column_widths(header, rows)
    wide = sum(widths)
    left, _, right, _ = paper.frame
    several = columns(header, rows, paper)
    tall = -(-len(rows) // several)
    x0 = left + 3 if paper.is_narrow else right - 3 - several * (wide + 4) + 4
    top = base + (tall + 1) * TABLE_ROW_MM
    marks: list[Mark] = []
    for c in range(several):
        part = rows[c * tall : (c + 1) * tall]
        if not part:
            continue
        x = x0 + c * (wide + 4)
        y_low = top - (len(part) + 1) * TABLE_ROW_MM
        marks.append(Path(_rectangle(x, y_low, x + wide, top), "NOTES", NARROW, closed=True))
        marks.append(line((x, top - TABLE_ROW_MM), (x + wide, top - TABLE_ROW_MM), "NOTES", WIDE))
        at = x
        for k, w in enumerate(widths):
            if k:
                marks.append(line((at, y_low), (at, top), "NOTES"))
            for n, words in enumerate((header[k], *(r[k] for r in part))):
                spot: Point = (at + 1.2, top - (n + 1) * TABLE_ROW_MM + 1.0)
                marks.append(Text(spot, words, SMALL_MM, "NOTES"))
            at += w
    return marks


TABLE_ROW_MM = 4.4


def column_widths(header: Sequence[str], rows: Sequence[Sequence[str]]) -> list[float]:
    """Widths of a table's columns."""
    return [max(width_mm(r[k], SMALL_MM) for r in (header, *rows)) + 2.4 for k in range(len(header))]


def columns(header: Sequence[str], rows: Sequence[Sequence[str]], paper: Paper) -> int:
    """How many times the table's columns stand side by side."""
    left, _, right, _ = paper.frame
    fit = max(1, int((right - left - 2) // (sum(column_widths(header, rows)) + 4)))
    return min(fit, -(-len(rows) // 4))


def table_height(header: Sequence[str], rows: Sequence[Sequence[str]], paper: Paper) -> float:
    """Height of a table with a little air, 0 for an empty one."""
    if not rows:
        return 0.0
    return (-(-len(rows) // columns(header, rows, paper)) + 1) * TABLE_ROW_MM + 5

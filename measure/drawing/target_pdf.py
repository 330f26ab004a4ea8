"""The printed reference sheet as PDF, at true size: once with a light field for dark parts, once with a dark one."""

from __future__ import annotations

from calib.arrays import Array
from calib.target.layout import BAR_MM, MARKER_CELLS, Layout
from calib.target.target import DICTIONARY
from measure.drawing.pdf import Page, write_pages
from measure.geometry.features import Point
from measure.sheet.lettering import wrapped
from measure.sheet.marks import Fill, Mark, Path, Pen, Text

HAIR = Pen(0.15)
"""The lines that a caliper's points are set on."""
DARK_FIELD = (0.36, 0.50, 0.58)
"""Greyish blue: darker than any light part, of another hue, and sparing of ink."""
TEXT_MM, TITLE_MM, LEADING = 2.1, 3.2, 1.75
TICK_MM, BAR_OFF_MM = 7.0, 8.0
"""Length of a bar's end lines, and how far the upright bar stands off the frame."""

INSTRUCTIONS = (
    "Print at 100 % (actual size, no fitting to the page). Lay the sheet flat on a table; tape its corners down.",
    "Measure both bars from line to line with the caliper, and note them: --bar-x (level) and --bar-y (upright).",
    "Lay the part in the empty field, face up, off the frame. This field is for {suits} parts.",
    "Photograph it from straight above, phone level, no zoom, the whole frame in the picture, in even light.",
)


def target_pdf(layout: Layout) -> bytes:
    """The sheet of two pages."""
    pages = [
        _page(layout, suits, tint) for suits, tint in (("dark and coloured", None), ("white and light", DARK_FIELD))
    ]
    return write_pages(f"Reference sheet, {layout.name}", pages)


def _page(layout: Layout, suits: str, tint: tuple[float, float, float] | None) -> Page:
    x, y = layout.on_paper_mm
    hx, hy = layout.field_half_mm
    field = ((x - hx, y - hy), (x + hx, y - hy), (x + hx, y + hy), (x - hx, y + hy))
    marks = [*_frame(layout), *_bars(layout), *_words(layout, suits)]
    if tint is None:
        marks.append(Path(tuple((*p, 0.0) for p in field), "NOTES", Pen(0.1, (), 0.6), closed=True))
    return Page(layout.width_mm, layout.height_mm, tuple(marks), () if tint is None else ((field, tint),))


def _box(low: Array, width_mm: float, height_mm: float) -> Fill:
    (x, y), w, h = low, width_mm, height_mm
    return Fill(((x, y), (x + w, y), (x + w, y + h), (x, y + h)), "NOTES")


def _frame(layout: Layout) -> list[Mark]:
    """Squares and markers; a marker's dark cells are drawn row by row in one piece, so that no seams show."""
    origin, side = layout.on_paper_mm, layout.square_mm
    marks: list[Mark] = [_box(low + origin, side, side) for low in layout.dark_mm]
    for number, corners in layout.markers.items():
        cell = float(corners[1, 0] - corners[0, 0]) / MARKER_CELLS
        for row, first, count in _runs(_bits(number)):
            low = corners[0] + origin + (first * cell, -(row + 1) * cell)
            marks.append(_box(low, count * cell, cell))
    return marks


def _bits(number: int) -> list[list[bool]]:
    """Rows of a marker from the top, True where it is dark, border included."""
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    bits = cv2.aruco.generateImageMarker(dictionary, number, MARKER_CELLS)
    return [[bool(v == 0) for v in row] for row in bits]


def _runs(rows: list[list[bool]]) -> list[tuple[int, int, int]]:
    """Row, first cell and length of every run of dark cells."""
    out = []
    for i, row in enumerate(rows):
        j = 0
        while j < len(row):
            stop = j
            while stop < len(row) and row[stop]:
                stop += 1
            if stop > j:
                out.append((i, j, stop - j))
            j = stop + 1
    return out


def _bars(layout: Layout) -> list[Mark]:
    """Both check bars: from hair line to hair line, so that spreading ink does not count."""
    x, y = layout.on_paper_mm
    top, right = y + layout.half_mm[1], x + layout.half_mm[0]
    level, upright = top + BAR_OFF_MM, right + BAR_OFF_MM
    ends = (-BAR_MM / 2, BAR_MM / 2)
    lines: list[tuple[Point, Point]] = []
    for e in ends:
        lines.append(((x + e, level - TICK_MM / 2), (x + e, level + TICK_MM / 2)))
        lines.append(((upright - TICK_MM / 2, y + e), (upright + TICK_MM / 2, y + e)))
    lines += [((x + ends[0], level), (x + ends[1], level)), ((upright, y + ends[0]), (upright, y + ends[1]))]
    marks: list[Mark] = [Path(((*p, 0.0), (*q, 0.0)), "NOTES", HAIR) for p, q in lines]
    words = "--bar-{}: {:.0f} mm as drawn, printed ______ mm"
    marks.append(Text((x, level + 1.2), words.format("x", BAR_MM), TEXT_MM, "NOTES", "middle"))
    turned = Text((upright - 1.2, y), words.format("y", BAR_MM), TEXT_MM, "NOTES", "middle", angle_rad=QUARTER_TURN)
    return [*marks, turned]


QUARTER_TURN = 1.5707963267948966


def _words(layout: Layout, suits: str) -> list[Mark]:
    """Title and instructions above the frame."""
    left = layout.left_mm
    room = layout.width_mm - left - 8.0
    at = layout.height_mm - 7.0 - TITLE_MM
    marks: list[Mark] = [Text((left, at), f"Reference sheet {layout.name.capitalize()}", TITLE_MM, "TITLE")]
    at -= 0.6 * TITLE_MM
    for number, sentence in enumerate(INSTRUCTIONS, 1):
        for k, text in enumerate(wrapped(sentence.format(suits=suits), TEXT_MM, room - 4.0)):
            at -= LEADING * TEXT_MM
            if k == 0:
                marks.append(Text((left, at), f"{number}", TEXT_MM, "NOTES"))
            marks.append(Text((left + 4.0, at), text, TEXT_MM, "NOTES"))
    return marks

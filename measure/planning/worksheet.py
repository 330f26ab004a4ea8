"""A sheet for the bench: the outline with a numbered balloon at each reading, and an empty box for its value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from calib.languages import ENGLISH, said_in
from calib.tools.at_hand import AtHand
from calib.words import Words, both, joined
from measure.geometry.features import COARSE_MM, Feature, by_loop, flatten
from measure.geometry.motion import Motion
from measure.geometry.offsetting import scaled
from measure.geometry.segments import segments
from measure.planning.balloons import BALLOON_MM, lay_arrows, lay_balloons
from measure.planning.jaws import Bar, jaw_bars
from measure.planning.planning import Suggestion
from measure.planning.reach import POCKET
from measure.planning.spots import Spot
from measure.sheet.layout.board import Board, What
from measure.sheet.layout.frame import PAPER, Paper, border
from measure.sheet.layout.labels import lay_labels
from measure.sheet.lettering import FIGURES_MM, SMALL_MM, TINY_MM, fitted, width_mm
from measure.sheet.marks import LIGHT, NARROW, WIDE, CircleMark, Mark, Text, line, polyline
from measure.sheet.sheet import Sheet

ROW_MM, BOX_MM, NARROW_BOX_MM = 12.0, (44.0, 9.0), 26.0
HEAD_MM, FOOT_MM, RIM_MM = 24.0, 26.0, 20.0
"""Above the outline for the heading, below the table for the command, and round the outline for balloons."""
JAWS: dict[str, str] = {
    "width": Words("outside jaws, over the material between"),
    "gap": Words("inside jaws, across the empty space between"),
    "bore": Words("inside jaws, diameter of the hole"),
    "boss": Words("outside jaws, diameter of the round"),
    "web": Words("outside jaws, least material between"),
    "span": Words("inside jaws, far side to far side of"),
    "radius": Words("radius gauge on"),
    "thickness": Words("outside jaws, height of the part"),
}
"""What the tool does, by kind of reading."""
DEPTH = ("thickness", Words("depth of the seat: the caliper's rod, or the thickness of the old cover"))
"""The row of an opening whose seat was not read yet: how it is read, and how it is taken."""
FELT = (Words("Felt for behind the rim"), Words("undercuts (where, how deep) and draft (which way): in words"))
"""The question that goes with every opening."""
SOFT_HYPHEN = "\u00ad"
"""Where a browser may break a word; paper shows it."""
SEEN = Words("Seen from the photographed face. Not to scale.")


def worksheet(
    name: str,
    features: Sequence[Feature],
    suggestions: Sequence[Suggestion],
    command: str,
    *,
    opening: bool = False,
    depth: bool = False,
    caliper: AtHand = POCKET,
    language: str = ENGLISH,
) -> Sheet:
    """The sheet, on A4, the outline as large as it fits and not to scale.

    Args:
        name: the part's name.
        features: all loops, mm.
        suggestions: the readings, numbered from 1 in this order; a dozen at most.
        command: how the values get into the job, in words.
        opening: the subject is one, so there is a row to write down what was felt of undercuts and draft.
        depth: how deep its seat is has still to be read, as the last number.
        caliper: whose jaws are drawn.
        language: of all words, by its code; readings are called as they are written down.
    """

    def say(text: str) -> str:
        return said_in(language, text).replace(SOFT_HYPHEN, "")

    rows = [(s.words(), say(joined(" ", (JAWS[s.kind], both(s.features))))) for s in suggestions]
    rows += [(DEPTH[0], say(DEPTH[1]))] * depth
    title = say(Words("Worksheet: {name}", name=name or Words("unnamed part")))
    lines = len(rows) + opening
    paper, on_paper, scale = _as_large_as_it_fits(features, lines)
    x0, y0, x1, y1 = paper.frame
    table = _Rows(paper, lines)
    board = Board()
    for loop in by_loop(on_paper).values():
        for f in loop:
            board.draw(segments(flatten(f, COARSE_MM)).reshape(-1, 4), What.OUTLINE)
    wanted = {x for s in suggestions for x in s.features}
    marks: list[Mark] = [*border(paper), *_heading(title, say(SEEN), x0, y1)]
    marks += [polyline(flatten(f, 0.02), "OUTLINE", WIDE) for f in on_paper]
    spots = lay_arrows(on_paper, suggestions, board)
    marks += _jaws(on_paper, suggestions, spots, min(scale, 1.0), caliper, board)
    if depth:
        bars = jaw_bars("thickness", [], on_paper, "opening", caliper, share=min(scale, 1.0))
        marks += _drawn(bars, board)
        if bars:  # the last is the rod
            spots[len(suggestions) + 1] = Spot(bars[-1].corners.mean(0), bars[-1].at, False)
    marks += lay_labels([f for f in on_paper if f.label in wanted], board, SMALL_MM)[0]
    marks += lay_balloons(spots, board, (x0, table.top, x1, y1 - HEAD_MM))
    marks += lay_labels([f for f in on_paper if f.label not in wanted], board)[0]
    marks += _table(rows, table)
    if opening:
        marks += _felt(say(FELT[0]), say(FELT[1]), table.place(len(rows)))
    marks.append(Text((x0 + 6, y0 + 5), say(command), SMALL_MM, "NOTES"))
    return Sheet(
        paper.name, paper.width_mm, paper.height_mm, title, tuple(features), 0.0, (0.0, 0.0), (),
        tuple(marks), (), (),
    )  # fmt: skip


def _as_large_as_it_fits(features: Sequence[Feature], lines: int) -> tuple[Paper, list[Feature], float]:
    """A4 upright or lying, whichever shows the outline larger, the outline laid on it, and how much larger it is.

    Args:
        features: mm.
        lines: of the table below.
    """
    points = np.concatenate([flatten(f, 0.02) for f in features])
    low, high = points.min(0), points.max(0)
    ways: list[tuple[float, Paper, Array]] = []
    for name, width, height in PAPER[:2]:
        paper = Paper(name, float(width), float(height))
        x0, _, x1, y1 = paper.frame
        space = np.array([x1 - x0, y1 - HEAD_MM - _Rows(paper, lines).top])
        middle_of = np.array([(x0 + x1) / 2, y1 - HEAD_MM - space[1] / 2])
        scale = float(((space - 2 * RIM_MM) / np.maximum(high - low, 1e-6)).min())
        ways.append((scale, paper, middle_of))
    scale, paper, middle_of = max(ways, key=lambda way: way[0])
    shift = middle_of - (low + high) / 2 * scale
    return paper, [Motion(0.0, (float(shift[0]), float(shift[1]))).of(f) for f in scaled(features, scale)], scale


def _jaws(
    on_paper: Sequence[Feature],
    suggestions: Sequence[Suggestion],
    spots: Mapping[int, Spot],
    share: float,
    caliper: AtHand,
    board: Board,
) -> list[Mark]:
    """The jaws of each reading at the ends of its arrows; they are on the board then."""
    named = {f.label: f for f in on_paper}
    marks: list[Mark] = []
    for n, spot in spots.items():
        s = suggestions[n - 1]
        features = [named[x] for x in s.features]
        bars = jaw_bars(s.kind, features, on_paper, caliper=caliper, spot=spot, share=share)
        marks += _drawn(bars, board)
    return marks


def _drawn(bars: Sequence[Bar], board: Board) -> list[Mark]:
    """Jaws as rings of narrow lines, that labels and leaders keep clear of."""
    marks: list[Mark] = []
    for bar in bars:
        ring = np.concatenate([bar.corners, bar.corners[:1]])
        board.draw(np.concatenate([ring[:-1], ring[1:]], 1), What.DIMENSION)
        marks.append(polyline(bar.corners, "DIMENSIONS", NARROW, closed=True))
    return marks


def _heading(title: str, seen: str, x0: float, y1: float) -> list[Mark]:
    return [
        Text((x0 + 6, y1 - 10), title, 1.4 * FIGURES_MM, "TITLE"),
        Text((x0 + 6, y1 - 17), seen, SMALL_MM, "TITLE"),
    ]


# ---------------------------------------------------------------------------------------------------------------- table
@dataclass(frozen=True, slots=True)
class _Rows:
    """Where the rows of the table are: one column on a sheet that stands, two on one that lies."""

    paper: Paper
    lines: int

    @property
    def columns(self) -> int:
        """How many stand side by side."""
        return 1 if self.paper.width_mm < self.paper.height_mm else 2

    @property
    def top(self) -> float:
        """Upper edge of the table."""
        return self.paper.frame[1] + FOOT_MM + ROW_MM * -(-self.lines // self.columns)

    def place(self, row: int) -> tuple[float, float, float]:
        """Left, right and the middle of the height of a row, counted from 0."""
        deep = -(-self.lines // self.columns)
        column, down = divmod(row, deep)
        x0, _, x1, _ = self.paper.frame
        wide = (x1 - x0 - 6) / self.columns
        left = x0 + 6 + column * wide
        return left, left + wide - 6, self.top - (down + 0.5) * ROW_MM


def _table(rows: Sequence[tuple[str, str]], table: _Rows) -> list[Mark]:
    marks: list[Mark] = []
    for n, (words, how) in enumerate(rows, 1):
        left, right, y = table.place(n - 1)
        marks.append(line((left, y + ROW_MM / 2), (right, y + ROW_MM / 2), "NOTES", LIGHT))
        marks.append(CircleMark((left + 6, y), BALLOON_MM, "NOTES", WIDE))
        marks.append(Text((left + 6, y - FIGURES_MM / 2), str(n), FIGURES_MM, "NOTES", "middle"))
        wide = BOX_MM[0] if table.columns == 1 else NARROW_BOX_MM
        marks += _said(words, how, left + 13, y, right - wide - left - 15)
        box = (right - wide, y - BOX_MM[1] / 2, right, y + BOX_MM[1] / 2)
        corners = np.array([(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])])
        marks.append(polyline(corners, "NOTES", WIDE, closed=True))
        marks.append(Text((box[2] - 2, y - FIGURES_MM / 2), "mm", FIGURES_MM, "NOTES", "end", grey=0.35))
    return marks


def _felt(what: str, how: str, place: tuple[float, float, float]) -> list[Mark]:
    """The row for undercuts and draft, which are words and no reading: no number, a line to write on."""
    left, right, y = place
    top = line((left, y + ROW_MM / 2), (right, y + ROW_MM / 2), "NOTES", LIGHT)
    below = line((right - BOX_MM[0], y + 2 - ROW_MM / 2), (right, y + 2 - ROW_MM / 2), "NOTES", WIDE)
    return [top, below, *_said(what, how, left + 13, y, right - BOX_MM[0] - left - 15)]


def _said(words: str, how: str, x: float, y: float, room_mm: float) -> list[Mark]:
    size = SMALL_MM if width_mm(how, SMALL_MM) <= room_mm else TINY_MM
    return [
        Text((x, y + 0.6), fitted(words, FIGURES_MM, room_mm), FIGURES_MM, "NOTES"),
        Text((x, y - 4.2), fitted(how, size, room_mm), size, "NOTES", grey=0.35),
    ]

"""A sheet for the bench: the outline with a numbered balloon at each reading, and an empty box for its value."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.features import (
    Feature,
    Line,
    Point,
    as_line,
    as_round,
    direction,
    flatten,
    is_round,
    middle,
)
from measure.geometry.segments import nearest, segments
from measure.planning.planning import Suggestion
from measure.sheet.layout.frame import PAPER, Paper, border
from measure.sheet.lettering import FIGURES_MM, SMALL_MM, TINY_MM
from measure.sheet.marks import LIGHT, NARROW, WIDE, CircleMark, Mark, Text, arrow, line, polyline
from measure.sheet.sheet import Sheet

BALLOON_MM = 3.6
ROW_MM, BOX_MM = 12.0, (44.0, 9.0)
JAWS = {
    "width": "outside jaws, over the material between",
    "gap": "inside jaws, across the empty space between",
    "bore": "inside jaws, diameter of the hole",
    "boss": "outside jaws, diameter of the round",
    "web": "outside jaws, least material between",
    "span": "inside jaws, far side to far side of",
    "radius": "radius gauge on",
    "thickness": "outside jaws, height of the part",
}
"""What the tool does, by kind of reading."""
DEPTH = ("thickness", "depth of the seat: the caliper's rod, or the thickness of the old cover")
"""The row of an opening whose seat was not read yet: how it is read, and how it is taken."""
FELT = ("Felt for behind the rim", "undercuts (where, how deep) and draft (which way): in words")
"""The question that goes with every opening."""


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where a reading is taken: between two points, with arrows at both; or a leader to one."""

    start: Array
    end: Array
    both: bool


def worksheet(
    name: str,
    features: Sequence[Feature],
    suggestions: Sequence[Suggestion],
    command: str,
    *,
    opening: bool = False,
    depth: bool = False,
) -> Sheet:
    """The sheet, on A4, the outline as large as it fits and not to scale.

    Args:
        name: the part's name.
        features: all loops, mm.
        suggestions: the readings, numbered from 1 in this order; a dozen at most.
        command: how the values get into the job, in words.
        opening: the subject is one, so there is a row to write down what was felt of undercuts and draft.
        depth: how deep its seat is has still to be read, as the last number.
    """
    rows = [(s.words(), f"{JAWS[s.kind]} {' and '.join(s.features)}".strip()) for s in suggestions]
    rows += [DEPTH] * depth
    paper = Paper(PAPER[0][0], float(PAPER[0][1]), float(PAPER[0][2]))
    x0, y0, x1, y1 = paper.frame
    table_top = y0 + 26 + ROW_MM * (len(rows) + opening)
    points = np.concatenate([flatten(f, 0.02) for f in features])
    low, high = points.min(0), points.max(0)
    space = np.array([x1 - x0 - 40, y1 - 24 - table_top - 24])
    scale = float((space / np.maximum(high - low, 1e-6)).min())
    centre = np.array([(x0 + x1) / 2, (table_top + 12 + y1 - 24) / 2])

    def on_paper(p: Array) -> Array:
        return np.asarray((p - (low + high) / 2) * scale + centre)

    outline = [on_paper(flatten(f, 0.02)) for f in features]
    marks: list[Mark] = [*border(paper), *_heading(name, x0, y1)]
    marks += [polyline(p, "OUTLINE", WIDE) for p in outline]
    labels = _labels(features, outline)
    marks += labels
    written = np.array([(m.at[0], m.at[1] + TINY_MM / 2) for m in labels])
    marks += _balloons(features, suggestions, on_paper, np.concatenate([*outline, written]))
    marks += _table(rows, x0, x1, table_top)
    if opening:
        marks += _felt(x0, x1, table_top - (len(rows) + 1) * ROW_MM)
    marks.append(Text((x0 + 6, y0 + 5), command, SMALL_MM, "NOTES"))
    return Sheet(
        paper.name, paper.width_mm, paper.height_mm, f"Worksheet: {name}", tuple(features), 0.0, (0.0, 0.0), (),
        tuple(marks), (), (),
    )  # fmt: skip


def _heading(name: str, x0: float, y1: float) -> list[Mark]:
    return [
        Text((x0 + 6, y1 - 10), f"Worksheet: {name or 'unnamed part'}", 1.4 * FIGURES_MM, "TITLE"),
        Text((x0 + 6, y1 - 17), "Seen from the photographed face. Not to scale.", SMALL_MM, "TITLE"),
    ]


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])


def _labels(features: Sequence[Feature], outline: Sequence[Array]) -> list[Text]:
    out = []
    for f, p in zip(features, outline, strict=True):
        m = len(p) // 2
        a, b = p[max(m - 1, 0)], p[min(m + 1, len(p) - 1)] if f.kind != "line" else p[-1]
        at = (p[0] + p[-1]) / 2 if f.kind == "line" else p[m]
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        at = at + 3.2 * np.array([along[1], -along[0]])
        out.append(Text((at[0], at[1] - TINY_MM / 2), f.label, TINY_MM, "LABELS", "middle", grey=0.4))
    return out


# ------------------------------------------------------------------------------------------------------------- balloons
def _balloons(
    features: Sequence[Feature],
    suggestions: Sequence[Suggestion],
    on_paper: Callable[[Array], Array],
    busy: Array,
) -> list[Mark]:
    named = {f.label: f for f in features}
    marks: list[Mark] = []
    taken: list[tuple[_Spot, Array]] = []
    for n, s in enumerate(suggestions, 1):
        best: tuple[float, _Spot, Array] | None = None
        for spot in _spots(s.kind, [named[x] for x in s.features]):
            on = _Spot(on_paper(spot.start), on_paper(spot.end), spot.both)
            for t in (0.5, 0.35, 0.65, 0.2, 0.8) if spot.both else (1.0,):
                at = on.start + t * (on.end - on.start)
                score = _room(on, at, taken) + min(float(np.hypot(*(busy - at).T).min()), 8.0)
                if best is None or score > best[0]:
                    best = (score, on, at)
        if best is not None:
            taken.append(best[1:])
            marks += _balloon(n, *best[1:])
    return marks


def _room(spot: _Spot, at: Array, taken: Sequence[tuple[_Spot, Array]]) -> float:
    """How clear a balloon and its line are of those that are there, up to a few balloons' width."""
    room = 14.0
    for other, place in taken:
        room = min(room, float(np.hypot(*(at - place))), 2 * _apart(at, other), 2 * _apart(place, spot))
    return room


def _apart(p: Array, spot: _Spot) -> float:
    """Distance of a point from a spot's line."""
    return float(nearest(p[None], segments(np.array([spot.start, spot.end])))[2][0])


def _spots(kind: str, f: Sequence[Feature]) -> list[_Spot]:
    """Places where jaws can be put for a reading, in the features' frame."""
    if kind in ("width", "gap"):
        return _across(as_line(f[0]), as_line(f[1]))
    if kind in ("web", "span"):
        return _between(f[0], f[1], far=kind == "span")
    if kind in ("bore", "boss", "radius"):
        c, r = _round(f[0])
        out = []
        for a in np.radians([30, 60, 120, 150]):
            d = r * np.array([np.cos(a), np.sin(a)])
            out.append(_Spot(c - d, c + d, True))
        if kind == "radius":
            m = flatten(f[0], 0.02)
            tip = m[len(m) // 2]
            out = [_Spot(tip, tip + (c - tip) / max(r, 1e-9) * k, False) for k in (r + 4, r, -4.0)]
        return out
    return []


def _across(a: Line, b: Line) -> list[_Spot]:
    u = direction(a)
    normal = np.array([-u[1], u[0]])
    ends = [sorted(float(np.dot(p, u)) for p in (f.start, f.end)) for f in (a, b)]
    low, high = max(ends[0][0], ends[1][0]), min(ends[0][1], ends[1][1])
    heights = [float(middle(f) @ normal) for f in (a, b)]
    out = []
    for t in (0.5, 0.25, 0.75, 0.12, 0.88):
        along = low + t * (high - low)
        p, q = (along * u + h * normal for h in heights)
        out.append(_Spot(p, q, True))
    return out


def _between(a: Feature, b: Feature, far: bool) -> list[_Spot]:
    if not is_round(a):
        a, b = b, a
    c, r = _round(a)
    if is_round(b):
        d, s = _round(b)
        u = (d - c) / max(float(np.hypot(*(d - c))), 1e-9)
        return [_Spot(c - r * u, d + s * u, True) if far else _Spot(c + r * u, d - s * u, True)]
    b = as_line(b)
    u = direction(b)
    foot = middle(b) + float((c - middle(b)) @ u) * u
    towards = (foot - c) / max(float(np.hypot(*(foot - c))), 1e-9)
    return [_Spot(c + r * towards, foot, True)]


def _round(f: Feature) -> tuple[Array, float]:
    f = as_round(f)
    return np.array(f.centre), f.radius


def _balloon(number: int, spot: _Spot, at: Array) -> list[Mark]:
    marks: list[Mark] = []
    for end in (spot.start, spot.end) if spot.both else (spot.start,):
        way = end - at
        long = float(np.hypot(*way))
        if long > BALLOON_MM:
            way = way / long
            marks.append(line(_point(at + BALLOON_MM * way), _point(end), "DIMENSIONS", NARROW))
            marks.append(arrow(_point(end), math.atan2(way[1], way[0])))
    marks.append(CircleMark(_point(at), BALLOON_MM, "DIMENSIONS", WIDE))
    marks.append(Text((float(at[0]), float(at[1]) - FIGURES_MM / 2), str(number), FIGURES_MM, "DIMENSIONS", "middle"))
    return marks


# ---------------------------------------------------------------------------------------------------------------- table
def _table(rows: Sequence[tuple[str, str]], x0: float, x1: float, top: float) -> list[Mark]:
    marks: list[Mark] = []
    right = x1 - 6
    for n, (words, how) in enumerate(rows, 1):
        y = top - n * ROW_MM
        middle_y = y + ROW_MM / 2
        marks.append(line((x0 + 6, y + ROW_MM), (right, y + ROW_MM), "NOTES", LIGHT))
        marks.append(CircleMark((x0 + 12, middle_y), BALLOON_MM, "NOTES", WIDE))
        marks.append(Text((x0 + 12, middle_y - FIGURES_MM / 2), str(n), FIGURES_MM, "NOTES", "middle"))
        marks += _said(words, how, x0 + 20, middle_y)
        box = (right - BOX_MM[0], middle_y - BOX_MM[1] / 2, right, middle_y + BOX_MM[1] / 2)
        corners = np.array([(box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3])])
        marks.append(polyline(corners, "NOTES", WIDE, closed=True))
        marks.append(Text((box[2] - 2, middle_y - FIGURES_MM / 2), "mm", FIGURES_MM, "NOTES", "end", grey=0.35))
    return marks


def _felt(x0: float, x1: float, y: float) -> list[Mark]:
    """The row for undercuts and draft, which are words and no reading: no number, a line to write on."""
    top = line((x0 + 6, y + ROW_MM), (x1 - 6, y + ROW_MM), "NOTES", LIGHT)
    below = line((x1 - 6 - BOX_MM[0], y + 2), (x1 - 6, y + 2), "NOTES", WIDE)
    return [top, below, *_said(*FELT, x0 + 20, y + ROW_MM / 2)]


def _said(words: str, how: str, x: float, y: float) -> list[Mark]:
    return [
        Text((x, y + 0.6), words, FIGURES_MM, "NOTES"),
        Text((x, y - 4.2), how, SMALL_MM, "NOTES", grey=0.35),
    ]

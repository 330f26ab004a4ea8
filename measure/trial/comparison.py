"""Two outlines over each other on one sheet, their differences drawn much larger and labelled in millimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.features import FINE_MM, Feature, Point, flatten
from measure.geometry.polylines import arc_lengths, at_lengths
from measure.sheet.layout.frame import PAPER, Paper, border
from measure.sheet.lettering import FIGURES_MM, SMALL_MM, width_mm, wrapped
from measure.sheet.marks import LIGHT, NARROW, WIDE, Mark, Pen, Text, line, polyline
from measure.sheet.sheet import Sheet
from measure.trial.faces import moved_by

SHOWN_MM = 4.0
"""How large the largest difference is drawn, on paper."""
FACTORS = (1, 2, 5, 10, 20, 50, 100)
SAME_MM = 0.005
"""Faces that differ by less are the same."""
MOST_LABELS = 16
SAMPLES = 49
OLD = Pen(0.35, (2.0, 1.0), 0.35)


@dataclass(frozen=True, slots=True)
class Difference:
    """How far a face of the second outline lies outside that of the first, mm."""

    label: str
    by_mm: float


def differences(one: Sequence[Feature], two: Sequence[Feature]) -> tuple[Difference, ...]:
    """The faces that differ, those that differ most first; a face that only one of them has is left out."""
    there = {f.label: f for f in two}
    found = [
        Difference(f.label, moved_by(f, there[f.label]))
        for f in one
        if f.label in there and there[f.label].kind == f.kind and f.kind != "curve"
    ]
    return tuple(sorted((d for d in found if abs(d.by_mm) >= SAME_MM), key=lambda d: (-abs(d.by_mm), d.label)))


def comparison(title: str, names: tuple[str, str], one: Sequence[Feature], two: Sequence[Feature]) -> Sheet:
    """The sheet, on A4.

    Args:
        title: of the sheet.
        names: of the two outlines, for the legend.
        one, two: their features; labels go together.
    """
    paper = Paper(PAPER[0][0], float(PAPER[0][1]), float(PAPER[0][2]))
    x0, y0, x1, y1 = paper.frame
    found = differences(one, two)
    points = np.concatenate([flatten(f, 0.02) for f in (*one, *two)])
    low, high = points.min(0), points.max(0)
    space = np.array([x1 - x0 - 60, y1 - y0 - 110])
    scale = float((space / np.maximum(high - low, 1e-6)).min())
    centre = np.array([(x0 + x1) / 2, (y0 + y1) / 2 + 6])
    largest = max((abs(d.by_mm) for d in found), default=0.0)
    factor = max((k for k in FACTORS if k * largest * scale <= SHOWN_MM), default=1) if largest else 1

    def on_paper(p: Array) -> Array:
        return np.asarray((p - (low + high) / 2) * scale + centre)

    there = {f.label: f for f in two}
    before, after = [on_paper(_sampled(f)) for f in one], []
    for f, p in zip(one, before, strict=True):
        if f.label in there and there[f.label].kind == f.kind:
            after.append(p + factor * (on_paper(_sampled(there[f.label])) - p))
    marks: list[Mark] = [*border(paper)]
    marks += [polyline(p, "OUTLINE", OLD) for p in before]
    marks += [polyline(p, "OUTLINE", WIDE) for p in after]
    marks += _labels(one, before, found, factor * scale, np.concatenate([*before, *after]))
    marks += _words(title, names, found, factor, paper)
    return Sheet(
        paper.name, paper.width_mm, paper.height_mm, title, tuple(two), 0.0, (0.0, 0.0), (), tuple(marks), (), ()
    )


def _sampled(f: Feature) -> Array:
    """(SAMPLES, 2) points at even shares of the feature's length."""
    p = flatten(f, FINE_MM)
    t = arc_lengths(p)
    return at_lengths(p, t, np.linspace(0, t[-1], SAMPLES))


def _labels(
    features: Sequence[Feature], before: Sequence[Array], found: Sequence[Difference], larger: float, busy: Array
) -> list[Mark]:
    """Each difference beside its face, where nothing else stands, with a short line to the face."""
    by = {d.label: d.by_mm for d in found[:MOST_LABELS]}
    marks: list[Mark] = []
    taken: list[tuple[Array, Array]] = []
    for f, p in zip(features, before, strict=True):
        if f.label not in by:
            continue
        words = f"{f.label} {by[f.label]:+.2f}"
        half = np.array([width_mm(words, SMALL_MM) / 2 + 0.8, SMALL_MM / 2 + 0.8])
        tried: list[tuple[float, Array, Array]] = []
        for share in (0.5, 0.35, 0.65, 0.2, 0.8):
            k = round(share * (SAMPLES - 1))
            along = p[min(k + 1, SAMPLES - 1)] - p[max(k - 1, 0)]
            out = np.array([along[1], -along[0]]) / max(float(np.hypot(*along)), 1e-9)
            for away in (7.0, 10.0, 14.0, 19.0, 25.0):
                at = p[k] + out * (away + max(by[f.label] * larger, 0.0))
                clear = np.abs(busy - at) - half
                cost = (
                    away
                    + 40.0 * np.sum((clear < 0).all(1))
                    + 500.0 * sum(bool((np.abs(at - c) < half + h).all()) for c, h in taken)
                )
                tried.append((float(cost), at, p[k]))
        _, at, foot = min(tried, key=lambda t: t[0])
        taken.append((at, half))
        way = foot - at
        start = at + way * min(float((half / np.maximum(np.abs(way), 1e-9)).min()), 1.0)
        marks.append(line(_point(start), _point(foot), "LABELS", LIGHT))
        marks.append(Text((float(at[0]), float(at[1]) - SMALL_MM / 2), words, SMALL_MM, "LABELS", "middle"))
    return marks


def _words(title: str, names: tuple[str, str], found: Sequence[Difference], factor: int, paper: Paper) -> list[Mark]:
    x0, y0, x1, y1 = paper.frame
    marks: list[Mark] = [
        Text((x0 + 6, y1 - 10), title, 1.4 * FIGURES_MM, "TITLE"),
        Text((x0 + 6, y1 - 17), "Seen from the photographed face. Not to scale.", SMALL_MM, "TITLE"),
    ]
    rows = [(OLD, names[0]), (WIDE, f"{names[1]}, its differences drawn {factor} times as large")]
    for n, (pen, words) in enumerate(rows):
        y = y0 + 32 - 6 * n
        marks.append(line((x0 + 6, y + SMALL_MM / 2), (x0 + 24, y + SMALL_MM / 2), "NOTES", pen))
        marks.append(Text((x0 + 27, y), words, SMALL_MM, "NOTES"))
    said = "Figures in mm: how far the face of the second lies outside that of the first."
    if not found:
        said = "The outlines do not differ."
    elif len(found) > MOST_LABELS:
        said += f" Labelled are the {MOST_LABELS} largest of {len(found)} differences."
    for n, words in enumerate(wrapped(said, SMALL_MM, x1 - x0 - 12)):
        marks.append(Text((x0 + 6, y0 + 18 - 5 * n), words, SMALL_MM, "NOTES"))
    marks.append(line((x0 + 6, y0 + 40), (x1 - 6, y0 + 40), "NOTES", NARROW))
    return marks


def _point(p: Array) -> Point:
    return float(p[0]), float(p[1])

"""What is wrong with a finished sheet: ink outside the frame, words on words or lines."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

import numpy as np
import shapely
from shapely.geometry import LineString, Polygon

from measure.sheet.lettering import width_mm
from measure.sheet.marks import CircleMark, Fill, Mark, Path, Text, polylines
from measure.sheet.sheet import Sheet

DESCENT = 0.17
"""How far brackets reach below the base line, as a share of the height of capitals."""


def marks_of(sheet: Sheet) -> list[Mark]:
    """All that is drawn."""
    return [*sheet.outline, *sheet.marks, *(m for d in sheet.drawn for m in d.marks)]


def box(text: Text) -> Polygon:
    """The place that words take."""
    w, h = width_mm(text.content, text.height_mm), text.height_mm
    back = {"start": 0.0, "middle": 0.5, "end": 1.0}[text.anchor] * w
    low = -DESCENT * h if re.search(r"[(),;gjpqy]", text.content) else 0.0
    corners = np.array([(-back, low), (w - back, low), (w - back, h), (-back, h)])
    c, s = math.cos(text.angle_rad), math.sin(text.angle_rad)
    return Polygon(corners @ np.array([[c, s], [-s, c]]) + text.at)


def inks(marks: Iterable[Mark]) -> list[Polygon]:
    """Everything but words, as areas as wide as the pen."""
    out = []
    for m in marks:
        if isinstance(m, Fill):
            out.append(Polygon(m.points))
        elif isinstance(m, Path | CircleMark):
            out.append(LineString(polylines(m, 0.01)).buffer(m.pen.width_mm / 2))
    return out


def touching_words(sheet: Sheet) -> list[str]:
    """Words that lie on other words or on a line."""
    marks = marks_of(sheet)
    texts = [m for m in marks if isinstance(m, Text)]
    boxes = [box(t) for t in texts]
    pairs = shapely.STRtree(boxes).query(boxes, predicate="intersects").T
    out = [f"{texts[i].content!r} lies on {texts[j].content!r}" for i, j in pairs if i < j]
    hits = shapely.STRtree(inks(marks)).query(boxes, predicate="intersects")
    return [*out, *(f"{texts[i].content!r} lies on a line" for i in sorted(set(hits[0].tolist())))]


def outside_the_frame(sheet: Sheet) -> list[Mark]:
    """Ink and words outside the frame (20 mm on the left, 10 mm elsewhere: ISO 5457), its own marks apart."""
    frame = shapely.box(20.0, 10.0, sheet.width_mm - 10, sheet.height_mm - 10)
    own = (m for m in sheet.marks if m.layer != "TITLE")
    marks = [*sheet.outline, *(m for d in sheet.drawn for m in d.marks), *own]
    return [m for m in marks if not frame.contains(box(m) if isinstance(m, Text) else inks([m])[0])]

"""A part as it was meant: edges exactly square, halves exactly mirrored, teeth exactly alike.

Only for counting degrees of freedom. Whether a size follows from the others must not hang on the few hundredths by
which measured edges are out of square.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from measure.dimensioning.gauging import Shape, square_to
from measure.geometry.features import Feature
from measure.geometry.symmetry import Axis, Turning


def squared(shapes: Mapping[str, Shape], labels: Iterable[str]) -> dict[str, Shape]:
    """The named lines turned exactly level or upright about their middles."""
    out = dict(shapes)
    quarter = math.pi / 2
    for label in labels:
        s = out[label]
        out[label] = s._replace(s=round(s.s / quarter) * quarter)
    return out


def straightened(axis: Axis) -> Axis:
    """A mirror axis turned exactly level or upright."""
    quarter = math.pi / 2
    return Axis(axis.through_mm, round(axis.angle_rad / quarter) * quarter % math.pi, axis.partner)


def mirrored(shapes: Mapping[str, Shape], axis: Axis, features: Sequence[Feature]) -> dict[str, Shape]:
    """Each pair's second half put exactly where the mirror shows the first."""
    out = dict(shapes)
    line = Shape(False, *axis.through_mm, axis.angle_rad)
    for i, j in enumerate(axis.partner):
        if j < i:
            continue
        a, b = features[i].label, features[j].label
        if a not in out:
            continue
        image = _image(out[a], line)
        if i == j:
            s = out[a]
            if s.is_round:
                out[a] = s._replace(x=(s.x + image.x) / 2, y=(s.y + image.y) / 2)
        else:
            out[b] = image if image.is_round else image._replace(s=_nearest_turn(image.s, out[b].s))
    return out


def _image(s: Shape, line: Shape) -> Shape:
    d = 2 * square_to(line, s.x, s.y)
    x, y = s.x + d * math.sin(line.s), s.y - d * math.cos(line.s)
    return Shape(s.is_round, x, y, s.s if s.is_round else 2 * line.s - s.s)


def repeated(shapes: Mapping[str, Shape], turn: Turning, features: Sequence[Feature]) -> dict[str, Shape]:
    """Each piece put exactly where its predecessor stands after one n-th of a turn."""
    out = dict(shapes)
    done: set[int] = set()
    step = 2 * math.pi / turn.order
    c, s = math.cos(step), math.sin(step)
    x0, y0 = turn.centre_mm
    for first in range(len(features)):
        i = first
        while (j := turn.partner[i]) >= 0 and j not in done and j != first:
            done.update((i, j))
            a, b = out[features[i].label], features[j].label
            x, y = x0 + c * (a.x - x0) - s * (a.y - y0), y0 + s * (a.x - x0) + c * (a.y - y0)
            out[b] = Shape(a.is_round, x, y, a.s if a.is_round else _nearest_turn(a.s + step, out[b].s))
            i = j
    return out


def _nearest_turn(angle: float, to: float) -> float:
    """The same undirected line, told by the direction nearest to another."""
    return angle + math.pi * round((to - angle) / math.pi)

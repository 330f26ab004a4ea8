"""Lines of sight over the plane of the face: from the camera's foot point outwards.

On the plane of the upper face every line of sight runs straight out from the camera's foot point. A stretch of face
that begins at distance r has its wall in front of it, whose foot lies at k·r, k = (H − h) / (H − l): on such a line
face, wall and ground follow each other by a rule that is exact for any upright part, with teeth, slots and holes. So
the likeliest sequence can be found for each line by dynamic programming (Viterbi 1967).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from measure.silhouette.rectified import F32, Rectified

FACE, FRONT, BEHIND = 1, 2, 3
"""Labels of samples: face; wall with the ground in front of it; wall behind another stretch of face. 0 is ground."""

NEVER = -1e9
FAR_SHARE = 0.35
"""Of the window's size: lines' spacing is told so much beyond its middle."""
MOST_LINES = 2600
LINES_AT_ONCE = 1000
"""So many are walked at once: memory that is touched for the first time costs more than the walk itself."""
LINE_STEP = 1.2
"""Lines lie so many cells apart, in the far half of the window."""


@dataclass(frozen=True, slots=True)
class Said:
    """What the picture says of samples along lines of sight.

    Attributes:
        face, ground: (m, n) log likelihoods; wall: (m, n) the same, or (m, n, k) of several kinds of wall.
        change: (m, n) what it costs that ground and wall, or face and what lies beyond it, meet at a sample.
        least_change: the same where they meet at an edge; a face may begin behind its wall without one.
    """

    face: F32
    wall: F32
    ground: F32
    change: F32
    least_change: float

    def parts(self) -> Iterator[Said]:
        """The same of LINES_AT_ONCE lines after the others."""
        for i in range(0, len(self.face), LINES_AT_ONCE):
            at = slice(i, i + LINES_AT_ONCE)
            yield Said(self.face[at], self.wall[at], self.ground[at], self.change[at], self.least_change)


@dataclass(frozen=True, slots=True)
class _Ways:
    """The likeliest ways along m lines of n samples; of several kinds of wall (…, k, m) in place of (…, m).

    Attributes:
        on_face, on_ground: (n + 1, m) log likelihood of those that are on face, and on ground, before each sample.
        ended: (n + 1, m) the same of those whose face ends there, less the wall so far.
        begun: (n, m) whether the face that a sample is on begins there; left: whether the ground does.
        behind: (n, m) whether a face that begins at a sample lies behind another stretch of it.
    """

    on_face: F32
    on_ground: F32
    ended: F32
    begun: NDArray[np.bool_]
    left: NDArray[np.bool_]
    behind: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class SightLines:
    """A fan of lines of sight over a window.

    Attributes:
        angles_rad: (m,) directions from the foot point; radii_mm: (n,) where samples lie along each.
        foot: (n,) index of the sample at which the wall of a face that begins at each has its foot; may be negative.
        columns, rows: (m, n) cells of the samples.
        outside: (m, n) samples beyond the window.
        around: whether the foot point lies within the window, so that lines may begin on the part.
        line, place: (h, w) line and sample of every cell.
    """

    angles_rad: Array
    radii_mm: Array
    foot: NDArray[np.intp]
    columns: F32
    rows: F32
    outside: NDArray[np.bool_]
    around: bool
    line: F32
    place: F32

    @classmethod
    def over(cls, plan: Rectified, foot_mm: Array, ratio: float) -> SightLines:
        """Lines over a window.

        Args:
            plan: the window.
            foot_mm: (2,) the camera's foot point.
            ratio: k, see above.
        """
        h, w = plan.shape
        low, high = plan.origin_mm, plan.mm(np.array([w - 1.0, h - 1.0]))
        corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
        middle, size = (low + high) / 2 - foot_mm, np.hypot(*(high - low))
        around = bool((foot_mm > low).all() and (foot_mm < high).all())
        bearing = math.atan2(middle[1], middle[0])
        if around:
            first, last, start = bearing - math.pi, bearing + math.pi, 0.0
        else:
            turn = np.arctan2(*(corners - foot_mm).T[::-1]) - bearing
            turn = (turn + math.pi) % (2 * math.pi) - math.pi
            first, last = bearing + turn.min(), bearing + turn.max()
            start = float(np.hypot(*np.maximum(np.maximum(low - foot_mm, foot_mm - high), 0)))
        far = np.hypot(*middle) + FAR_SHARE * size
        m = int(min(MOST_LINES, (last - first) * far / (LINE_STEP * plan.step_mm))) + 2
        angles = np.linspace(first, last, m)
        radii = np.arange(start, float(np.hypot(*(corners - foot_mm).T).max()), plan.step_mm)
        foot = _feet(radii, plan.step_mm, ratio)
        at = plan.cells(foot_mm)
        step = radii / plan.step_mm
        columns = (at[0] + np.cos(angles)[:, None] * step).astype(np.float32)
        rows = (at[1] + np.sin(angles)[:, None] * step).astype(np.float32)
        outside = (columns < 0) | (rows < 0) | (columns > w - 1) | (rows > h - 1)
        x = (np.arange(w, dtype=np.float32) - np.float32(at[0]))[None, :]
        y = (np.arange(h, dtype=np.float32) - np.float32(at[1]))[:, None]
        turn = np.arctan2(y, x) - np.float32(bearing)
        turn = np.where(turn > math.pi, turn - 2 * math.pi, np.where(turn < -math.pi, turn + 2 * math.pi, turn))
        line = (turn - (first - bearing)) / ((last - first) / (m - 1))
        place = np.sqrt(x * x + y * y) - np.float32(start / plan.step_mm)
        return cls(
            angles, radii, foot, columns, rows, outside, around, line.astype(np.float32), place.astype(np.float32)
        )

    def along(self, values: NDArray[np.float32], fill: float | None = None) -> F32:
        """(m, n[, c]) values (h, w[, c]) along the lines; `fill` stands beyond the window."""
        out = cv2.remap(values, self.columns, self.rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        if fill is not None:
            out[self.outside] = fill
        return np.asarray(out, np.float32)

    def back(self, values: NDArray[np.float32]) -> F32:
        """(h, w[, c]) values (m, n[, c]) of the lines, where the cells are."""
        return np.asarray(
            cv2.remap(values, self.place, self.line, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
        )

    def never_wall(self, region: NDArray[np.uint8]) -> NDArray[np.bool_]:
        """(m, n) where a region's samples can't be wall, since the region goes on, towards the camera, farther than to
        the foot of a wall that would be seen there."""
        inside = cv2.remap(region, self.columns, self.rows, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT)
        outside = np.zeros((inside.shape[0], inside.shape[1] + 1), np.int32)
        np.cumsum(inside == 0, axis=1, out=outside[:, 1:])
        return np.asarray(outside[:, 1:] == outside[:, np.maximum(self.foot - 2, 0)])

    def with_ratio(self, ratio: float) -> SightLines:
        """The same lines past a wall of another height."""
        step = float(self.radii_mm[1] - self.radii_mm[0])
        return replace(self, foot=_feet(self.radii_mm, step, ratio))

    def thinned(self, every: int) -> SightLines:
        """Every so many-th line."""
        at = slice(None, None, every)
        rest = (self.columns[at], self.rows[at], self.outside[at])
        return replace(self, angles_rad=self.angles_rad[at], columns=rest[0], rows=rest[1], outside=rest[2])

    def labelled(self, said: Said) -> NDArray[np.uint8]:
        """(m, n) label of each sample in the likeliest sequences."""
        return np.concatenate([self._walked_back(self._ways(part)) for part in said.parts()])

    def likelihoods(self, said: Said) -> list[float]:
        """Log likelihood of the likeliest sequences with each of several kinds of wall."""
        ways = self._ways(said)
        return [float(e.sum()) for e in np.maximum(ways.on_face[-1], ways.on_ground[-1])]

    def _ways(self, said: Said) -> _Ways:
        """The likeliest ways to every sample."""
        face, ground, price = (cv2.transpose(a) for a in (said.face, said.ground, said.change))
        n, m = face.shape
        wall = cv2.transpose(said.wall.reshape(m, -1)).reshape(n, *said.wall.shape[2:], m)
        walls, on_face, on_ground, ended = np.empty((4, n + 1, *wall.shape[1:]), np.float32)
        walls[0] = on_ground[0] = 0.0
        on_face[0] = ended[0] = 0.0 if self.around else NEVER
        begun, left, behind = np.zeros((3, *wall.shape), bool)
        start, other, leave = np.empty((3, *wall.shape[1:]), np.float32)
        least = np.float32(said.least_change)
        for i, (foot, since) in enumerate(zip(self._foot_within().tolist(), self._since().tolist(), strict=True)):
            np.subtract(on_ground[foot], price[foot], out=start)
            start += walls[i]
            start -= walls[foot]
            if i > since:
                np.maximum.reduce(ended[since:i], 0, out=other)
                other += walls[i]
                other -= least
                np.greater(other, start, out=behind[i])
                np.maximum(other, start, out=start)
            np.greater(start, on_face[i], out=begun[i])
            np.maximum(start, on_face[i], out=on_face[i + 1])
            on_face[i + 1] += face[i]
            np.subtract(on_face[i], price[i], out=leave)
            np.greater(leave, on_ground[i], out=left[i])
            np.maximum(leave, on_ground[i], out=on_ground[i + 1])
            on_ground[i + 1] += ground[i]
            np.add(walls[i], wall[i], out=walls[i + 1])
            np.subtract(on_face[i + 1], walls[i + 1], out=ended[i + 1])
            ended[i + 1] -= price[min(i + 1, n - 1)]
        return _Ways(on_face, on_ground, ended, begun, left, behind)

    def _foot_within(self) -> NDArray[np.intp]:
        """(n,) the sample at a wall's foot, or the first one."""
        return np.maximum(self.foot, 0)

    def _since(self) -> NDArray[np.intp]:
        """(n,) the first sample behind a wall's foot: a stretch of face that hides it ends there or later."""
        return np.maximum(self.foot + 1, 0)

    def _walked_back(self, ways: _Ways) -> NDArray[np.uint8]:
        """(m, n) labels: stretch by stretch, from each line's end to its start."""
        n, m = ways.begun.shape
        begins, leaves = _last(ways.begun), _last(ways.left)
        line, at = np.arange(m), np.full(m, n - 1)
        label = np.where(ways.on_face[n] > ways.on_ground[n], FACE, 0)
        ends = np.zeros(m, np.intp)  # where the wall that is being walked begins
        stretches = []
        while len(line):
            first = np.where(label == 0, leaves[at, line], np.where(label == FACE, begins[at, line], ends))
            stretches.append((line, np.maximum(first, 0), at, label))
            inner = first >= 0
            line, at, label, ends = line[inner], first[inner], label[inner], ends[inner]
            face, front = label == FACE, ~ways.behind[at, line]
            hidden = face & ~front
            ends[face] = self._foot_within()[at[face]]
            ends[hidden] = self._ended_at(ways.ended, at[hidden], line[hidden])
            before = np.where(face & (ends < at), np.where(front, FRONT, BEHIND), np.where(front, 0, FACE))
            label = np.where(face, before, np.where(label == FRONT, 0, FACE))
            at = at - 1
            inner = at >= 0
            line, at, label, ends = line[inner], at[inner], label[inner], ends[inner]
        line, first, last, label = (np.concatenate(each) for each in zip(*stretches, strict=True))
        order = np.lexsort((first, line))
        return np.repeat(label.astype(np.uint8)[order], (last - first + 1)[order]).reshape(m, n)

    def _ended_at(self, ended: F32, at: NDArray[np.intp], line: NDArray[np.intp]) -> NDArray[np.intp]:
        """(k,) where the stretch of face most likely ended that hides the foot of a wall, of a face that begins at a
        sample (k,) of a line (k,)."""
        since = self._since()[at]
        if not len(at):
            return since
        window = since[:, None] + np.arange(int((at - since).max()))
        seen = np.where(window < at[:, None], ended[np.minimum(window, at[:, None]), line[:, None]], -np.inf)
        return np.asarray(since + seen.argmax(1), np.intp)


def _last(marks: NDArray[np.bool_]) -> NDArray[np.int32]:
    """(n, m) the last mark up to each sample, −1 if there is none."""
    places = np.arange(len(marks), dtype=np.int32)[:, None]
    return np.asarray(np.maximum.accumulate(np.where(marks, places, np.int32(-1)), 0))


def _feet(radii_mm: Array, step_mm: float, ratio: float) -> NDArray[np.intp]:
    """(n,) sample at which the wall of a face that begins at each has its foot."""
    return np.asarray(np.floor((ratio * radii_mm - radii_mm[0]) / step_mm + 0.5), np.intp)

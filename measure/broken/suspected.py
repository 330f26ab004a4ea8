"""Where a part may be broken, told from its outline alone: plain fractures, and stretches that have to be asked about.

Nobody draws a fracture. What is drawn has corners that are rounded or that come again on the other side, and angles of
fifteen, thirty or forty-five degrees. Where a part is broken off, two or more sharp corners lie near each other at
angles that come nowhere else. A free line that goes to and fro between sharp corners is plainly a fracture; such
corners about lines and arcs only raise the question, since a maker may have cut a part so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Array
from calib.errors import JobRefused
from calib.messages import Remedy
from calib.words import Words, joined
from measure.broken.breaks import MOST, Break, find_breaks, outer
from measure.geometry.features import Feature, flatten, length
from measure.geometry.rejoin import heading

SHARP_RAD, BACK_RAD = math.radians(4), math.radians(150)
"""A joint that turns by less is smooth, as far as a photo tells; one that turns by more is the tip of a sliver."""
ALIKE_RAD, ALIKE_MM, ALIKE_SHARE = math.radians(4), 0.5, 0.15
"""Corners that turn alike by this much, between features that are alike in length by these, are meant to be alike: no
short edge is known better (chosen)."""
DRAWN_RAD = math.radians(15)
"""Angles that people draw are whole multiples of this (common practice)."""
NEARLY_RAD = math.radians(1.5)
"""So nearly (chosen)."""
FEWEST = 2
"""One odd corner is a corner: a break has at least one at each end."""
APART_MM, APART_SHARE = 12.0, 0.25
"""Odd corners of one break lie no farther from the next one, along the outline: mm, and share of all of it (chosen)."""
ROUNDED = 3
"""So many joints of a part must be smooth, or its corners alike, before a few sharp ones stand out (chosen)."""
ELSEWHERE = 0.34
"""Where there are more odd corners elsewhere, for each that is not, all of the part is so (chosen)."""
MANY = 4
"""So many odd corners in a row that turn to and fro are a fracture (chosen)."""
SHORTEST_MM = 3.0
"""From end to end of a break; what is shorter is a nick (chosen)."""
TO_AND_FRO, RAGGED_MM = 2, 0.15
"""A fracture turns back at least so often; bends that leave its line by less than the second are noise (chosen)."""
BEND_RAD = math.radians(10)
"""A bend of a free line that counts."""
STEP_MM = 0.5
"""Along a free line its direction is taken over so much."""


@dataclass(frozen=True, slots=True)
class Suspected:
    """A stretch of the outer boundary that looks like a fracture.

    Attributes:
        where: the features.
        labels: theirs, in order of travel.
        plain: whether there is hardly a doubt; else it has to be asked.
    """

    where: Break
    labels: tuple[str, ...]
    plain: bool

    @property
    def mark(self) -> str:
        """As a person marks it: R4-E5."""
        return self.labels[0] if len(self.labels) == 1 else f"{self.labels[0]}-{self.labels[-1]}"

    def words(self) -> str:
        """What is said, or asked, in a sentence."""
        first, last = self.labels[0], self.labels[-1]
        if self.plain:
            if len(self.labels) == 1:
                return Words("At {first} the edge is ragged, as a break is.", first=first)
            return Words("From {first} to {last} the edge is ragged, as a break is.", first=first, last=last)
        if len(self.labels) == 1:
            return Words("Is it broken at {first}? Nothing else of this part is like that.", first=first)
        return Words(
            "Is it broken from {first} to {last}? Nothing else of this part is like that.", first=first, last=last
        )


def suspected(features: Sequence[Feature]) -> list[Suspected]:
    """Stretches of the outer boundary that look like a fracture, in order of travel; plain ones and others.

    Args:
        features: of a part, as traced.
    """
    loop = outer(features)
    n = len(loop)
    if n < FEWEST + 1:
        return []
    turns = _turns(loop)
    curved = _joined([Break(i, 1, n) for i, f in enumerate(loop) if f.kind == "curve"])
    taken = {i for b in curved for i in b.members()}
    cornered = [b for b in _about_corners(loop, turns) if not taken & {*b.members(), b.before(), b.after()}]
    whole = sum(map(length, loop))
    found = [b for b in (*curved, *cornered) if sum(length(loop[i]) for i in b.members()) <= MOST * whole]
    found.sort(key=lambda b: b.first)
    return [Suspected(b, tuple(loop[i].label for i in b.members()), _is_plain(loop, turns, b)) for b in found]


def _is_plain(loop: Sequence[Feature], turns: Array, b: Break) -> bool:
    """Whether a stretch is a free line that goes to and fro, or has many corners that do."""
    if any(loop[i].kind == "curve" for i in b.members()):
        return any(loop[i].kind == "curve" and _ragged(loop[i]) for i in b.members())
    at = turns[[*b.members(), b.after()]]
    return len(at) >= MANY and _turns_back(at[np.abs(at) > SHARP_RAD])


def _turns_back(turns: Array) -> bool:
    signs = np.sign(turns)
    return int((signs[1:] != signs[:-1]).sum()) >= TO_AND_FRO


def _turns(loop: Sequence[Feature]) -> Array:
    """(n,) angle by which the direction of travel jumps where each feature begins, rad."""
    out = []
    for before, f in zip((loop[-1], *loop[:-1]), loop, strict=True):
        u, w = _heading(before, True), _heading(f, False)
        out.append(math.atan2(u[0] * w[1] - u[1] * w[0], float(u @ w)))
    return np.array(out)


def _heading(f: Feature, at_end: bool) -> Array:
    if f.kind in ("line", "arc"):
        return heading(f, at_end)
    points = flatten(f)[::-1] if at_end else flatten(f)
    far = np.hypot(*(points - points[0]).T)
    way = points[int(np.argmax(far >= min(STEP_MM, far.max())))] - points[0]
    return np.asarray((-way if at_end else way) / max(float(np.hypot(*way)), 1e-9))


def _odd(turns: Array, sizes: Array) -> list[int]:
    """Joints that turn sharply, by an angle that nobody draws, between features that come nowhere else so.

    Args:
        turns: (n,) at each joint, rad.
        sizes: (n,) lengths of the features that begin there, mm.
    """
    size = np.abs(turns)
    sharp = (size > SHARP_RAD) & (size < BACK_RAD)
    drawn = (size > DRAWN_RAD / 2) & (np.abs(size - DRAWN_RAD * np.round(size / DRAWN_RAD)) < NEARLY_RAD)
    before = np.roll(sizes, 1)

    def like(a: Array, b: Array) -> NDArray[np.bool_]:
        return np.asarray(
            np.abs(a[:, None] - b[None, :]) < np.maximum(ALIKE_MM, ALIKE_SHARE * np.minimum(a[:, None], b[None, :]))
        )

    alike = np.abs(turns[:, None] - turns[None, :]) < ALIKE_RAD
    alike &= (like(before, before) & like(sizes, sizes)) | (like(before, sizes) & like(sizes, before))
    np.fill_diagonal(alike, False)
    return [int(i) for i in np.flatnonzero(sharp & ~drawn & ~alike.any(1))]


def _about_corners(loop: Sequence[Feature], turns: Array) -> list[Break]:
    """Stretches between odd corners that lie near each other, where the other corners of the part are not odd."""
    n, sizes = len(loop), np.array([length(f) for f in loop])
    odd = _odd(turns, sizes)
    plain_ones = n - len(odd)
    if len(odd) < FEWEST or plain_ones < ROUNDED:
        return []
    apart = max(APART_MM, APART_SHARE * float(sizes.sum()))
    groups = [[odd[0]]]
    for before, i in pairwise(odd):
        if sizes[before:i].sum() <= apart:
            groups[-1].append(i)
        else:
            groups.append([i])
    if len(groups) > 1 and sizes[odd[-1] :].sum() + sizes[: odd[0]].sum() <= apart:
        groups[0] = [*groups.pop(), *groups[0]]
    stand_out = [g for g in groups if len(g) >= FEWEST and len(odd) - len(g) <= ELSEWHERE * plain_ones]
    found = [Break(g[0], (g[-1] - g[0]) % n, n) for g in stand_out]
    return [b for b in found if math.dist(_start(loop[b.first]), _start(loop[b.after()])) >= SHORTEST_MM]


def _start(f: Feature) -> Array:
    return np.asarray(flatten(f)[0])


def _joined(found: Sequence[Break]) -> list[Break]:
    """Neighbours as one."""
    out: list[Break] = []
    for b in found:
        if out and out[-1].after() == b.first:
            out[-1] = Break(out[-1].first, out[-1].count + b.count, b.of)
        else:
            out.append(b)
    if len(out) > 1 and out[-1].after() == out[0].first:
        last = out.pop()
        out[0] = Break(last.first, last.count + out[0].count, last.of)
    return out


def _ragged(f: Feature) -> bool:
    """Whether a free line goes to and fro: what a fracture does, and no curve that somebody drew."""
    import cv2

    points = flatten(f).astype(np.float32)
    few = cv2.approxPolyDP(points[:, None], RAGGED_MM, False)[:, 0].astype(float)
    along = np.diff(few, axis=0)
    turn = np.arctan2(along[:-1, 0] * along[1:, 1] - along[:-1, 1] * along[1:, 0], (along[:-1] * along[1:]).sum(1))
    return _turns_back(turn[np.abs(turn) > BEND_RAD])


def plain_breaks(features: Sequence[Feature]) -> list[Break]:
    """Every break that is found without being marked, in order of travel: all free lines; where there are none, runs of
    corners that are plainly a fracture.

    Raises:
        JobRefused: there is none; those that may be one are named.
    """
    if any(f.kind == "curve" for f in outer(features)):
        return find_breaks(features)
    found = suspected(features)
    plain = [s.where for s in found if s.plain]
    if plain or not found:
        return plain or find_breaks(features)
    asked = joined(" ", tuple(s.words() for s in found))
    text = Words("No break is plain. {asked} If it is", asked=asked)
    raise JobRefused(text, "no-break", Remedy("mark-break", found[0].mark))

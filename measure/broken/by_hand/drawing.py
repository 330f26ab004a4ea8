"""A break filled with what a person has drawn."""

from __future__ import annotations

from dataclasses import replace
from itertools import takewhile
from typing import Literal

import numpy as np
import shapely

from calib.arrays import Array
from calib.errors import PartRefused
from calib.words import Words
from measure.broken.breaks import Break, outer
from measure.broken.by_hand.going_along import carried, rows_along
from measure.broken.by_hand.shaping import Shaped, shaped
from measure.broken.by_hand.words import steps_of
from measure.broken.completion.assembling import assembled
from measure.broken.completion.checking import leaves_out
from measure.broken.completion.outcome import Completed
from measure.broken.completion.pieces import CompletedPiece, seen
from measure.geometry.features import PARAMETERS, PLAIN_MM, Estimate, Line, as_line, between, flatten, length

HAND_MM, MOST_TURN_RAD = 0.25, 0.1
"""Standard deviation of where a drawn line, or a drawn centre, lies from what was there, mm: a point set by eye on a
photo (chosen, nobody can know); and the most that its direction is let be unsure by, radians."""


def drawn(estimate: Estimate, which: Break, words: str, subject: Literal["part", "opening"] = "part") -> Completed:
    """The outline with what was drawn in place of a break.

    Args:
        estimate: as seen, or with other breaks filled already.
        which: the break.
        words: see `measure.broken.by_hand.words`.
        subject: part or opening.

    Raises:
        WrongUsage: the words can't be understood, or a step can't be drawn.
        PartRefused: the outline would cross itself.
    """
    loop = outer(estimate.features)
    before, after = loop[which.before()], loop[which.after()]
    pieces = shaped(estimate.features, which, steps_of(words))
    begun = list(takewhile(lambda s: s.on == before.label, pieces))
    pieces = pieces[len(begun) :]
    ended = pieces[-1:] if pieces and pieces[-1].on == after.label else []
    pieces = pieces[: len(pieces) - len(ended)]
    gone = {loop[i].label for i in which.members()}
    slices, m = estimate.slices(), len(estimate.white)
    own = np.concatenate([np.zeros(0), *(_own_error(s) for s in pieces)])
    size = m + len(own)
    left = [f for f in estimate.features if f.label not in gone and f.kind != "curve"]
    motion, middle_mm = carried(left, slices, size)
    on = between(as_line(before), end=begun[-1].feature.end) if begun else before
    ring, at = [seen(on, before, slices, size)], m
    for number, s in enumerate(pieces):
        f = replace(s.feature, label=f"_{number}")
        rows = rows_along(f, motion, middle_mm, size_stays=s.radius_told)
        rows[:, at : at + PARAMETERS[f.kind]] = np.eye(PARAMETERS[f.kind])
        at += PARAMETERS[f.kind]
        ring.append(CompletedPiece(f, rows))
    if which.after() != which.before():
        back = between(as_line(after), start=ended[0].feature.start) if ended else after
        ring.append(seen(back, after, slices, size))
    prolonged = (*([before.label] if begun else []), *([after.label] if ended else []))
    done = assembled(estimate, which, ring, own, "hand", prolonged, ())
    ringed = np.concatenate([flatten(f, PLAIN_MM)[:-1] for f in outer(done.estimate.features)])
    if not shapely.Polygon(ringed).is_valid:
        raise PartRefused(
            Words("What was drawn would make the outline cross itself: draw it round the other way."), "draw"
        )
    stretches = (
        *([Line(before.label, 0, begun[0].feature.start, begun[-1].feature.end, "completed")] if begun else []),
        *([replace(as_line(ended[0].feature), label=after.label)] if ended else []),
    )
    return replace(done, drawn=words, leaves_out=subject == "part" and leaves_out(done), stretches=stretches)


def _own_error(s: Shaped) -> Array:
    """(q,) variances of what nothing that was seen tells of a drawn feature."""
    f = s.feature
    if f.kind == "line":
        return np.array([HAND_MM**2, min(2 * HAND_MM / length(f), MOST_TURN_RAD) ** 2])
    return np.array([HAND_MM**2, HAND_MM**2, 0.0 if s.radius_told else HAND_MM**2])

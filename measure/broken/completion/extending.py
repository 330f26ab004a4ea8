"""A break closed by the edges beside it, which go on until they meet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from measure.broken.breaks import Break, outer
from measure.broken.completion.assembling import assembled
from measure.broken.completion.checking import checked
from measure.broken.completion.outcome import Completed, NotCompleted
from measure.broken.completion.pieces import as_one, longer, seen, shorter
from measure.broken.continuing import Meeting, meeting
from measure.broken.repetition import SHORT_MM
from measure.geometry.features import Arc, Estimate, Feature, Line, between, length


def extended(estimate: Estimate, which: Break, subject: Literal["part", "opening"]) -> Completed | NotCompleted:
    """The edges beside the break go on; where they can't, those beside the short pieces next to it."""
    loop = outer(estimate.features)
    reasons: list[NotCompleted] = []
    for wider in _widenings(loop, which):
        b, a = loop[wider.before()], loop[wider.after()]
        if b.kind == "circle" or a.kind == "circle":
            raise ValueError("a circle is a loop of its own and is not broken")
        met = meeting(estimate, b, a, math.dist(b.end, a.start))
        done = NotCompleted(met) if isinstance(met, str) else checked(_with_meeting(estimate, wider, met), subject)
        if isinstance(done, Completed):
            return done
        reasons.append(done)
    return reasons[0]


def _widenings(loop: Sequence[Feature], which: Break) -> list[Break]:
    """The break, and the break with short pieces beside it."""
    out = [which]
    for _ in range(2):
        now = out[-1]
        if now.count + 3 > now.of:
            break
        for before in (True, False):
            at = now.before() if before else now.after()
            if length(loop[at]) < SHORT_MM / 2 and now.count + 3 <= now.of:
                now = now.wider(before)
        if now == out[-1]:
            break
        out.append(now)
    return out


def _with_meeting(estimate: Estimate, which: Break, met: Meeting) -> Completed:
    loop = outer(estimate.features)
    b, a = loop[which.before()], loop[which.after()]
    m = len(estimate.white)
    slices = estimate.slices()
    if not isinstance(b, Line | Arc) or not isinstance(a, Line | Arc):
        raise TypeError(f"{b.label} and {a.label} don't go on")
    if not met.one:
        first, last = between(b, end=met.at), between(a, start=met.at)
        pieces = [seen(first, b, slices, m), seen(last, a, slices, m)]
        done = assembled(estimate, which, pieces, np.zeros(0), "extend", (b.label, a.label), ())
        unseen = (between(b, start=b.end, end=met.at), between(a, start=met.at, end=a.start))
        return replace(done, corner_u95_mm=met.u95_mm, stretches=tuple(replace(f, origin="completed") for f in unseen))
    done = assembled(estimate, which, [as_one(estimate, b, a, m)], np.zeros(0), "extend",
                      (longer(b, a).label,), (shorter(b, a).label,) if b is not a else ())  # fmt: skip
    across = replace(between(longer(b, a), b.end, a.start), origin="completed")
    return done if b is a else replace(done, stretches=(across,))

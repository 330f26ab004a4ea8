"""What became of each reading, and why; and what people should know of the adjustment as a whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from calib.messages import Message
from calib.words import Words
from measure.adjustment.agreement import Agreement
from measure.adjustment.equations import Equation, equation, key, reading_covariance
from measure.adjustment.judging import Judgement, ZeroError
from measure.adjustment.least_squares import DELTA0
from measure.adjustment.misreadings import Likely, OtherSize, likely_cause
from measure.geometry.dimensions import size_of
from measure.readings.jaw_reach import possible_readings
from measure.readings.readings import Reading, ReadingKind

UNCHECKED = 0.02
"""A reading with a smaller redundancy number is checked by nothing that matters."""
LEAST_MM = 0.01
"""A value of nothing is looked at as the least that a caliper shows."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a reading.

    Attributes:
        reading: as it came.
        verdict: kept or suspect.
        residual_mm: reading minus adjusted size; for a suspect, minus the size that all else agrees on.
        standardised: residual over its own standard uncertainty, standard normal where nothing is wrong.
        redundancy: 0 (nothing else checks it) to 1 (it adds nothing).
        detectable_mm: smallest error that would be noticed with a chance of 80 %.
        reason: a sentence, for suspects and for readings that nothing checks.
        likely: the likely slip, for suspects.
    """

    reading: Reading
    verdict: Literal["kept", "suspect"]
    residual_mm: float
    standardised: float
    redundancy: float
    detectable_mm: float
    reason: str | None = None
    likely: Likely | None = None


@dataclass(frozen=True, slots=True)
class Remark(Message):
    """Something that people should know of the adjustment as a whole."""


def verdicts(work: Agreement, judged: Judgement) -> tuple[Verdict, ...]:
    """One for each reading, in the order given."""
    kept = {i: n for n, i in enumerate(work.kept)}
    zeros = {i: z for z in judged.zeros for i in z.rows}
    at = work.equations(range(len(work.readings)), work.x)
    return tuple(
        _kept(work, i, kept[i], e) if i in kept else _suspect(work, i, e, zeros.get(i)) for i, e in enumerate(at)
    )


def _kept(work: Agreement, i: int, row: int, e: Equation) -> Verdict:
    tested = work.solved.groups[1]
    redundancy, least = float(tested.redundancy[row]), float(tested.detectable()[row])
    reason = None
    if redundancy < UNCHECKED:
        rough = f"{least:.2f}" if least < 10 else f"{least:.0f}"
        reason = Words("nothing else checks this reading; an error under {rough} mm would go unnoticed", rough=rough)
    reading = work.readings[i]
    w = float(tested.standardised()[row])
    return Verdict(reading, "kept", reading.value_mm - e.size_mm, w, redundancy, least, reason)


def _suspect(work: Agreement, i: int, e: Equation, zero: ZeroError | None) -> Verdict:
    reading, own = work.readings[i], float(work.covariance[i, i])
    u = math.sqrt(float(e.row @ work.solved.covariance @ e.row) + own)
    if zero:
        count = len({key(work.readings[n]) for n in zero.rows})
        reason: str = Words(
            "{count} readings of the {tool} share an offset of {offset_mm:+.2f} mm: its zero is "
            "off; close the jaws, set it to zero and measure again",
            count=count,
            tool=zero.tool,
            offset_mm=zero.offset_mm,
        )
        likely: Likely = "zero"
    else:
        cause = likely_cause(reading, work.tools[reading.tool], e.reading_mm, u, candidates(work, i))
        reason, likely = cause.reason, cause.likely
    z = (reading.value_mm - e.reading_mm) / u
    return Verdict(reading, "suspect", reading.value_mm - e.size_mm, z, own / u**2, DELTA0 * u, reason, likely)


def candidates(work: Agreement, i: int) -> list[OtherSize]:
    """Every other size that reading `i` may belong to, with its uncertainty where it lies near the value."""
    reading = work.readings[i]
    named = work.features_at(work.x)
    can: dict[tuple[ReadingKind, frozenset[str]], tuple[str, ...]] = {
        (kind, frozenset(labels)): labels
        for kind, labels in possible_readings(replace(work.estimate, features=tuple(named.values())), work.subject)
    }
    can |= {(r.kind, frozenset(r.features)): r.features for r in work.readings}
    measured = {key(r)[:2] for n, r in enumerate(work.readings) if n != i}
    out = []
    for (kind, them), labels in can.items():
        if (kind, them) == key(reading)[:2]:
            continue
        value = work.thickness_mm + float(work.x[work.k.thickness])
        if kind != "thickness":
            value = size_of(kind, [named[x] for x in labels]).value_mm
        u = math.inf
        if abs(value - reading.value_mm) < 1.0:
            other = replace(reading, kind=kind, features=labels, value_mm=max(value, LEAST_MM))
            row = equation(work.k, other, named, work.x, work.thickness_mm, work.tools, work.subject).row
            own = reading_covariance([other], work.tools)[0, 0]
            u = math.sqrt(float(row @ work.solved.covariance @ row) + own)
        out.append(OtherSize(kind, labels, value, u, (kind, them) in measured))
    return out


def remarks(work: Agreement, judged: Judgement, said: Sequence[Verdict]) -> list[Remark]:
    """For the list of warnings."""
    out = []
    for z in judged.zeros:
        mm = abs(z.offset_mm)
        much = Words("{mm:.2f} mm too much", mm=mm) if z.offset_mm > 0 else Words("{mm:.2f} mm too little", mm=mm)
        text = Words(
            "The {tool} reads {much} throughout (its zero is off): none of its readings is used.",
            tool=z.tool,
            much=much,
        )
        out.append(Remark("zero", text))
    for label, s in work.k.slices.items():
        if not any(s.start <= j < s.stop for j in judged.misplaced):
            continue
        text = Words(
            "Several readings agree that {label} lies elsewhere than the photo shows; they are believed.", label=label
        )
        out.append(Remark("photo-feature", text))
    if judged.looser > 1:
        text = Words(
            "The readings differ from the photo more than expected: its uncertainties are "
            "taken {looser:g} times as large.",
            looser=judged.looser,
        )
        out.append(Remark("photo-looser", text))
    suspects = [v.reading for v in said if v.verdict == "suspect" and v.likely != "zero"]
    if suspects:
        those = "; ".join(r.words() for r in suspects)
        out.append(Remark("suspect", Words("Not used, as everything else contradicts it: {those}.", those=those)))
    return out

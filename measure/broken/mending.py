"""All breaks of a part, each completed in the way that has the best evidence, and said in words.

In order of evidence: the rest is its own mirror image; it repeats itself by turns; its neighbours go on until
they meet. Where none of that serves, the fracture stays as it was seen, or a person draws what was there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

from calib.words import Words, both, joined
from measure.broken.breaks import Break, check_length, find_breaks, marked_break, outer
from measure.broken.by_hand.drawing import drawn
from measure.broken.by_hand.leaving import left_open
from measure.broken.completion.one_break import completed
from measure.broken.completion.outcome import By, Completed, Evidence
from measure.broken.suspected import plain_breaks
from measure.geometry.features import Estimate, Feature

WAYS: dict[str, str] = {
    "mirror": Words("a mirror axis"),
    "turn": Words("turns about a centre"),
    "extend": Words("its neighbours going on"),
}


@dataclass(frozen=True, slots=True)
class Choice:
    """What a person wants of a break.

    Attributes:
        broken: its first and last feature as seen, such as R4-E5.
        by: the one way that is wanted; None for the best.
        drawn: what was drawn, where that is the way, see `measure.broken.by_hand.words`.
    """

    broken: str
    by: By | None
    drawn: str = ""


@dataclass(frozen=True, slots=True)
class Open:
    """A break that stays as it was seen, its labels, and why each way did not serve."""

    labels: tuple[str, ...]
    whys: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Mended:
    """What became of a broken part: its estimate, each break, and how each is marked: first and last label as seen."""

    estimate: Estimate
    breaks: tuple[Completed | Open, ...]
    marks: tuple[str, ...]

    @property
    def broken(self) -> tuple[Feature, ...]:
        """What was seen where the outline is now completed, and breaks that are left open."""
        return tuple(f for b in self.breaks if isinstance(b, Completed) for f in b.broken)


def mended(
    estimate: Estimate,
    marked: Sequence[Choice] = (),
    by: Evidence | None = None,
    subject: Literal["part", "opening"] = "part",
) -> Mended:
    """Complete every break, or those that are marked; all others stay open.

    Args:
        estimate: as seen.
        marked: the breaks that are marked; empty to find them.
        by: one way only for breaks that are found; None for the best.
        subject: part or opening.

    Raises:
        WrongUsage: the marked labels are not of the outer boundary.
        JobRefused: there is no break, or more than half of the boundary is broken.
    """
    loop = outer(estimate.features)
    if marked:
        wanted = [marked_break(estimate.features, words) for words in (c.broken for c in marked)]
    else:
        wanted = plain_breaks(estimate.features)
    check_length(estimate.features, wanted)
    curves = [] if all(f.kind != "curve" for f in loop) else find_breaks(estimate.features)
    own = {i for b in wanted for i in b.members()}
    others = [_labels(loop, b) for b in curves if not own & set(b.members())]
    choices = marked or [Choice("", by)] * len(wanted)
    todo = [(_labels(loop, b), choice) for b, choice in zip(wanted, choices, strict=True)]
    todo.sort(key=lambda t: t[1].by != "open")  # their free lines get labels that nothing seen has
    out: list[Completed | Open] = []
    marks: list[str] = []
    while todo:
        labels, choice = todo.pop(0)
        now = outer(estimate.features)
        which, rest = _at(now, labels), [_at(now, x) for x in (*(t for t, _ in todo), *others)]
        done = _chosen(estimate, which, rest, choice, subject)
        if isinstance(done, Completed):
            estimate = done.estimate
        if isinstance(done, Open) or done.way == "open":
            others.append(labels if isinstance(done, Open) else done.fresh)
        out.append(done)
        marks.append(labels[0] if len(labels) == 1 else f"{labels[0]}-{labels[-1]}")
    return Mended(estimate, tuple(out), tuple(marks))


def _chosen(
    estimate: Estimate, which: Break, others: Sequence[Break], choice: Choice, subject: Literal["part", "opening"]
) -> Completed | Open:
    if choice.by == "open":
        return left_open(estimate, which)
    if choice.by == "hand":
        return drawn(estimate, which, choice.drawn, subject)
    return _best(estimate, which, others, choice.by, subject)


def _best(
    estimate: Estimate, which: Break, others: Sequence[Break], by: Evidence | None, subject: Literal["part", "opening"]
) -> Completed | Open:
    whys = []
    for way in get_args(Evidence) if by is None else (by,):
        done = completed(estimate, which, others, way, subject)
        if isinstance(done, Completed):
            return done
        whys.append((way, done.why))
    return Open(_labels(outer(estimate.features), which), tuple(whys))


def _labels(loop: Sequence[Feature], b: Break) -> tuple[str, ...]:
    return tuple(loop[i].label for i in b.members())


def _at(loop: Sequence[Feature], labels: tuple[str, ...]) -> Break:
    """The break with these labels, where they are now; those that another break has taken in are gone."""
    at = [i for i, f in enumerate(loop) if f.label in labels]
    first = next(i for i in at if loop[i - 1].label not in labels)
    return Break(first, len(at), len(loop))


def in_words(b: Completed | Open) -> str:
    """One sentence on what was done about a break, why, and how well the rest agrees."""
    if isinstance(b, Open):
        whys = joined("; ", [Words("{way}: {why}", way=WAYS[way], why=why) for way, why in b.whys])
        where = _span(b.labels)
        return Words("The break at {where} stays open: nothing tells what was there ({whys}).", where=where, whys=whys)
    if b.way == "open":
        return Words(
            "The break at {where} stays open, as a person marked it: {label} is dashed, has no sizes, and no reading "
            "is taken there.",
            where=_span(b.merged),
            label=b.fresh[0],
        )
    where = _span(tuple(f.label for f in b.broken))
    if b.way == "hand":
        return joined(" ", (_by_hand(b, where), Words("It leaves out material that was seen.") if b.leaves_out else ""))
    if b.way == "extend":
        return _extended(b, where)
    return Words(
        "The break at {where} is filled with its counterpart {how}: {tested:.0%} of the boundary bears that out, to "
        "{rms_mm:.2f} mm on average and {worst_mm:.2f} mm at worst.",
        where=where,
        how=Words("mirrored")
        if b.way == "mirror"
        else Words("turned by {angle_deg:.0f}°", angle_deg=abs(math.degrees(b.angle_rad))),
        tested=b.tested,
        rms_mm=b.rms_mm,
        worst_mm=b.worst_mm,
    )


def _by_hand(b: Completed, where: str) -> str:
    names = both(b.prolonged)
    longer: str = Words("{names} as far as it goes on", names=names)
    if len(b.prolonged) > 1:
        longer = Words("{names} as far as they go on", names=names)
    return Words(
        "The break at {where} is filled by hand, as “{drawn}”. Nothing of that was seen: {what}.",
        where=where,
        drawn=b.drawn,
        what=joined(", ", [*b.fresh, *([longer] if b.prolonged else [])]),
    )


def _extended(b: Completed, where: str) -> str:
    names = both(b.prolonged)
    if b.merged or b.fresh:
        return Words("The break at {where} is closed by {names} going on across it.", where=where, names=names)
    if b.corner_u95_mm is None:
        return Words(
            "The break at {where} is closed by {names} going on until they meet; whether the corner was sharp or "
            "rounded nothing tells.",
            where=where,
            names=names,
        )
    return Words(
        "The break at {where} is closed by {names} going on until they meet, at a corner known to ± {u95_mm:.2f} mm; "
        "whether the corner was sharp or rounded nothing tells.",
        where=where,
        names=names,
        u95_mm=b.corner_u95_mm,
    )


def _span(labels: tuple[str, ...]) -> str:
    return labels[0] if len(labels) == 1 else Words("{first} to {last}", first=labels[0], last=labels[-1])

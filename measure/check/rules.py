"""From a photo's figures to a verdict: one table of limits, each with its reason.

The limits were set with rendered photos of known truth and their spoiled versions; `python -m tests.accuracy.verdicts`
prints how verdicts and what a trace then achieves go together.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from calib.messages import Message, Remedy
from calib.words import Words
from measure.check.fitness import Fitness
from measure.check.tried import LENGTH_MM, Tried
from measure.edges.blur import MOST_PX
from measure.tracing.pixels import FEW_MM, TOO_FEW_MM
from measure.tracing.pixels import WHAT as TOO_FAR

Level = Literal["note", "usable", "retake"]
Verdict = Literal["good", "usable", "retake"]
NEVER = math.inf


@dataclass(frozen=True, slots=True)
class Finding:
    """Something that a person should know of a photo.

    Attributes:
        code: a short stable word.
        level: whether it matters not at all to the measuring, somewhat, or so much that the photo must be retaken.
        what: one plain sentence; see `calib.messages.Message`, also for `remedies`.
    """

    code: str
    level: Level
    what: str
    remedies: tuple[str | Remedy, ...] = ()

    @property
    def message(self) -> Message:
        """What is said to people."""
        return Message(self.code, self.what, self.remedies)

    @property
    def text(self) -> str:
        """The sentence, with what everybody can do and nothing else."""
        return self.message.text


@dataclass(frozen=True, slots=True)
class Rule:
    """A limit on one figure.

    Attributes:
        code: of the finding; two rules may share one.
        figure: of a photo, larger is worse; nan where there is none.
        usable_above, retake_above: limits.
        text: the sentence, with the figure in it.
        why: reason for the limits.
    """

    code: str
    figure: Callable[[Fitness], float]
    usable_above: float
    retake_above: float
    text: str
    why: str

    def found(self, f: Fitness) -> Finding | None:
        """What there is to say, or None."""
        value = self.figure(f)
        if not value > self.usable_above:
            return None
        return Finding(self.code, "retake" if value > self.retake_above else "usable", Words(self.text, value=value))


def _card(name: str) -> Callable[[Fitness], float]:
    return lambda f: float(getattr(f.card, name)) if f.card else math.nan


def _part(name: str) -> Callable[[Fitness], float]:
    return lambda f: float(getattr(f.part, name)) if f.part else math.nan


def _glare_on_part(f: Fitness) -> float:
    return f.part.glare if f.part and f.part.glare < WHITE else math.nan


WHITE = 0.5
"""A face of which so much is at the sensor's limit mirrors no lamp: it is white, and the photo too bright for it."""

RULES: tuple[Rule, ...] = (
    Rule(
        "blurred",
        lambda f: f.blur_px,
        1.45,
        MOST_PX,
        Words("The photo is blurred: its edges are smeared over {value:.1f} pixels."),
        "edges are looked for as steps blurred by about one pixel; beyond the second figure they come out shifted by "
        "more than the uncertainty that is told of them, and a trace refuses the photo",
    ),
    Rule(
        "too-dark",
        lambda f: 255 - f.exposure.bright,
        255 - 110,
        255 - 80,
        Words("The photo is under-exposed: even its bright parts are dark."),
        "the darker, the fewer steps of code between a dark part and its shadow: from three stops too dark on some "
        "outlines follow the shadow",
    ),
    Rule(
        "too-bright",
        lambda f: f.exposure.burnt,
        0.25,
        0.70,
        Words("The photo is over-exposed: {value:.0%} of it is burnt to white."),
        "light at the sensor's limit spreads over edges and leaves no step between white card and white table",
    ),
    Rule(
        "too-bright",
        _part("clipped"),
        0.30,
        NEVER,
        Words("The part is over-exposed: it is burnt to white along its edge."),
        "an edge beside burnt light is seen up to a fifth of a pixel too far out",
    ),
    Rule(
        "too-slanted",
        _card("tilt_deg"),
        25.0,
        38.0,
        Words("The photo was taken too slanted: {value:.0f}° off straight down."),
        "walls hide edges, the far side gets small; above 45° no card is accepted",
    ),
    Rule(
        "too-far",
        lambda f: f.part.mm_per_px if f.part else f.card.mm_per_px if f.card else math.nan,
        FEW_MM,
        TOO_FEW_MM,
        TOO_FAR,
        "an edge is located to about a tenth of a pixel, and what measures fewer than about ten, such as a small hole "
        "or a fillet, is lost",
    ),
    Rule(
        "too-near",
        lambda f: -f.card.camera_height_mm if f.card else math.nan,
        -160.0,
        NEVER,
        Words("The photo was taken from very near."),
        "the nearer the camera, the more an edge shifts with its height, and the stronger the lens bends lines",
    ),
    Rule(
        "off-centre",
        lambda f: f.off_axis,
        0.85,
        NEVER,
        Words("What is measured lies in the outermost part of the picture, where the lens bends lines most."),
        "one term describes the lens; beyond about five sixths of the half diagonal it is not enough (common practice)",
    ),
    Rule(
        "near-edge",
        lambda f: -f.part.edge_room if f.part else math.nan,
        -0.02,
        NEVER,
        Words("The part lies very near the photo's edge."),
        "shadow and table beside an edge are needed to tell it",
    ),
    Rule(
        "too-thick",
        _part("lean_mm"),
        8.0,
        25.0,
        Words("The part is thick for a photo from here: its walls lean outwards by {value:.0f} mm in the picture."),
        "where the wall is seen so wide its two edges are located apart, holes close up, and a wall that is not quite "
        "upright shifts one of them",
    ),
    Rule(
        "glare-card",
        lambda f: f.card.glare if f.card and f.card.glare < WHITE else math.nan,
        0.04,
        NEVER,
        Words("A lamp is mirrored in the card: {value:.0%} of it is white glare."),
        "glare that reaches the card's side hides it",
    ),
    Rule(
        "glare-part",
        _glare_on_part,
        0.02,
        0.25,
        Words("A lamp is mirrored in the part: {value:.0%} of it is white glare."),
        "glare that reaches the part's edge is taken for the table or hides a hole",
    ),
    Rule(
        "shadow",
        _part("shaded"),
        0.05,
        0.20,
        Words("The part's own shadow hides {value:.0%} of its edge."),
        "a dark part's edge can't be told from a shadow as dark",
    ),
    Rule(
        "faint-edge",
        _part("faint"),
        0.15,
        0.40,
        Words("The part hardly stands out from what it lies on along {value:.0%} of its edge."),
        "where there is no step of light an edge is bridged from its neighbours",
    ),
)
INEXACT_MM = 0.35
"""A length of 50 mm that is less sure is told of: parts that have to fit want a tenth or two (common practice), and a
caliper reading mends the rest up to a point."""
CARD_NUMBER = Finding("card-digits", "note", Words("The card's number is to be seen in the photo."))
FAINT_CARD = Finding("faint-card", "usable", Words("One side of the card hardly stands out from what it lies on."))


def findings_of(f: Fitness, tried: Tried | None = None) -> tuple[Finding, ...]:
    """All that there is to say of a photo, what matters most first; of findings of one code the graver.

    Args:
        f: the photo's figures.
        tried: what a trace of it came to. If it draws the part, no figure is a reason to take the photo again, but that
            the outline is almost surely too far off to print from; if it does not, that is one.
    """
    found = [] if f.failure is None else [Finding(f.failure.code, "retake", f.failure.what, f.failure.remedies)]
    found += [x for rule in RULES if (x := rule.found(f)) is not None]
    if tried is not None:
        found = [*_said_by_trace(tried), *(replace(x, level="usable") if tried.refused is None else x for x in found)]
    if f.card and not {"faint-side", "sides-disagree"}.isdisjoint(f.card.cautions):
        found.append(FAINT_CARD)
    if f.card and f.card.shows_number:
        found.append(CARD_NUMBER)
    if tried is not None and tried.guessed_mm and f.card:
        found.append(what_hangs_on_thickness(tried.guessed_mm, f.card.camera_height_mm))
    grave: dict[Level, int] = {"retake": 0, "usable": 1, "note": 2}
    found.sort(key=lambda x: grave[x.level])
    once: dict[str, Finding] = {}
    for x in found:
        once.setdefault(x.code, x)
    return tuple(once.values())


def _said_by_trace(tried: Tried) -> list[Finding]:
    """Why nothing is drawn; or what is said beside the drawing."""
    if tried.refused is not None:
        why = tried.refused
        return [Finding(why.code, "retake", why.what, why.remedies)]

    def level(code: str) -> Level:
        if code == SIZE and tried.wrong > SURELY_WRONG:
            return "retake"
        return "note" if code in NO_MATTER else "usable"

    said = [Finding(c.code, level(c.code), c.what, c.remedies) for c in tried.cautions]
    if tried.u95_50_mm > INEXACT_MM:
        what = Words(
            "A length of {length_mm:g} mm will be uncertain by ± {u95_50_mm:.2f} mm from this photo.",
            length_mm=LENGTH_MM,
            u95_50_mm=tried.u95_50_mm,
        )
        said.append(Finding("inexact", "usable", what))
    return said


NO_MATTER = ("something-beside", "unchecked-file")
"""Cautions that say nothing of how well the part is seen."""
SIZE, SURELY_WRONG = "unsure-size", 0.9
"""The caution of an outline that may be too far off, and the probability of it from which a photo is to be taken again:
of such photos one in ten would have been right, as is aimed at."""


def what_hangs_on_thickness(thickness_mm: float, camera_mm: float) -> Finding:
    """What is said of a photo that was judged without the part's thickness.

    Args:
        thickness_mm: by which it was judged.
        camera_mm: height of the camera over what the part lies on.
    """
    off = LENGTH_MM / (camera_mm - thickness_mm)
    return Finding(
        "no-thickness",
        "note",
        Words(
            "Nobody has told the part's thickness: the photo is judged as if it were "
            "{thickness_mm:g} mm. Each millimetre more or less shifts a length of {length_mm:g} mm "
            "by {off:.2f} mm, so measure it before the photo is traced.",
            thickness_mm=thickness_mm,
            length_mm=LENGTH_MM,
            off=off,
        ),
    )


def verdict(findings: tuple[Finding, ...]) -> Verdict:
    """Good, usable or retake."""
    levels = {x.level for x in findings}
    return "retake" if "retake" in levels else "usable" if "usable" in levels else "good"

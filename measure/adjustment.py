"""Photo and readings made to agree: one least-squares adjustment, and a verdict on each reading.

Unknown are the features' parameters, the terms that all of them share, and the tools' zeros. Known are the photo's
features with their covariance, the readings, and the regularities that the data bear out. First the readings are
judged against the photo (`measure.judging`), then those that are believed are let in, then the regularities.

Sources: Mikhail and Ackermann (1976), adjustment with prior weights; Baarda (1968), tests and reliability.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from calib.jaws import TOOLS, Tool
from measure.dimensions import Basis, Dimension, list_dimensions, size_of, stacked
from measure.equations import (
    EDGE_SD_MM,
    Equation,
    Unknowns,
    equation,
    key,
    prior,
    reading_covariance,
    unknowns,
    with_edge_error,
)
from measure.features import PARAMETERS, Array, Estimate, Feature, direction, middle
from measure.jaw_reach import Subject, check_readings, possible_readings
from measure.judging import LOOSER, Bench, Judgement, judge
from measure.least_squares import CRITICAL, DELTA0, Observations, Solution, chi2_limit, solve
from measure.misreadings import Candidate, Likely, likely_cause
from measure.readings import Reading, ReadingKind
from measure.regularities import Regularity, RegularityKind, propose
from measure.rejoin import Joint, closing, joints, rejoined, shifted_all

UNCHECKED = 0.02
"""A reading with a smaller redundancy number is checked by nothing that matters."""
REGULARITY_CRITICAL = 2.6
"""Regularities go earlier than readings: two-sided critical value for 1 %."""
ROUNDS = 3
"""Rounds of linearisation; the equations are so nearly linear that the third changes nothing."""


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
class Remark:
    """Something that people should know, with a short word for scripts."""

    code: str
    text: str


@dataclass(frozen=True, slots=True)
class Reconciled:
    """Photo and readings agreed.

    Attributes:
        estimate: adjusted features, joined end to end, with their covariance.
        thickness_mm, thickness_u95_mm: adjusted thickness.
        verdicts: one for each reading, in the order given.
        dimensions: with where each comes from.
        regularities: those accepted; `dropped` those that something contradicted.
        chi2, freedom, chi2_limit: global test at 5 %.
        looser: factor on the photo's standard deviations that the readings asked for; 1 where they agree with it.
        remarks: for the list of warnings.
    """

    estimate: Estimate
    thickness_mm: float
    thickness_u95_mm: float
    verdicts: tuple[Verdict, ...]
    dimensions: tuple[Dimension, ...]
    regularities: tuple[Regularity, ...]
    dropped: tuple[Regularity, ...]
    chi2: float
    freedom: int
    chi2_limit: float
    looser: float
    remarks: tuple[Remark, ...]

    @property
    def agrees(self) -> bool:
        """Does the global test pass?"""
        return self.chi2 <= self.chi2_limit or self.freedom == 0


def reconcile(
    estimate: Estimate,
    readings: Sequence[Reading],
    *,
    thickness_mm: float,
    subject: Subject = "part",
    tools: Mapping[str, Tool] = TOOLS,
    with_regularities: bool = True,
    edge_sd_mm: float = EDGE_SD_MM,
) -> Reconciled:
    """Adjust a traced outline by readings.

    Args:
        estimate: from the photo; the shared term named ``thickness`` is the one that `thickness_mm` is the value of.
        readings: what jaws said; may be none.
        thickness_mm: the thickness that the photo was traced with.
        subject: part or opening.
        tools: by name; must hold every tool that the readings name.
        with_regularities: propose parallel, square and equal features, and take those that the data bear out.
        edge_sd_mm: what the points of one edge may have wrong together, which the estimate does not hold.

    Raises:
        calib.errors.ReadingsRefused: a reading names features that are not there or that jaws can't take it on.
    """
    check_readings(readings, estimate, subject)
    work = _Work(with_edge_error(estimate, edge_sd_mm), tuple(readings), thickness_mm, subject, tools)
    judged = work.judge()
    work.believe(judged)
    work.adjust()
    if with_regularities:
        work.regularise()
    return work.result(judged)


class _Work:
    """The adjustment under way: what is believed, and where the features are now."""

    def __init__(
        self,
        estimate: Estimate,
        readings: tuple[Reading, ...],
        thickness_mm: float,
        subject: Subject,
        tools: Mapping[str, Tool],
    ) -> None:
        self.estimate, self.readings, self.thickness_mm, self.subject = estimate, readings, thickness_mm, subject
        self.tools = tools
        self.found: list[Joint] = joints(estimate.features)
        self.k: Unknowns = unknowns(estimate, self.found, readings, tools)
        self.covariance = reading_covariance(readings, tools)
        self.mean, self.prior = prior(self.k, tools)
        self.kept = list(range(len(readings)))
        self.regularities: list[Regularity] = []
        self.dropped: list[Regularity] = []
        self.rest_at = np.zeros(self.k.size)
        self.x = self.mean.copy()
        self.solution: Solution | None = None

    # ------------------------------------------------------------ equations
    def features_at(self, x: Array) -> dict[str, Feature]:
        return {f.label: f for f in shifted_all(self.estimate.features, x[: self.k.m])}

    def equations(self, which: Sequence[int], x: Array) -> list[Equation]:
        features = self.features_at(x)
        args = (features, x, self.thickness_mm, self.tools, self.subject)
        return [equation(self.k, self.readings[i], *args) for i in which]

    def groups(self) -> list[Observations]:
        """Prior, believed readings and regularities, linearised at `x`."""
        out = [Observations(np.eye(self.k.size), self.mean - self.x, self.prior)]
        at = self.equations(self.kept, self.x)
        read = np.array([self.readings[i].value_mm for i in self.kept])
        a = np.array([e.row for e in at]).reshape(-1, self.k.size)
        c = self.covariance[np.ix_(self.kept, self.kept)]
        out.append(Observations(a, read - np.array([e.reading_mm for e in at]), c))
        rows = [np.pad(r.rows, ((0, 0), (0, self.k.size - self.k.m))) for r in self.regularities]
        gaps = [-(r.gaps + w @ (self.x - self.rest_at)) for r, w in zip(self.regularities, rows, strict=True)]
        sd = [np.full(len(r.gaps), r.sd**2) for r in self.regularities]
        empty = np.zeros((0, self.k.size))
        out.append(
            Observations(
                np.concatenate([empty, *rows]), np.concatenate([np.zeros(0), *gaps]), np.concatenate([np.zeros(0), *sd])
            )
        )
        return out

    # ------------------------------------------------------------ steps
    def judge(self) -> Judgement:
        """The readings against the photo alone."""
        at = self.equations(range(len(self.readings)), self.mean)
        bench = Bench(
            design=np.array([e.row for e in at]).reshape(-1, self.k.size),
            observed=np.array([r.value_mm - e.reading_mm for r, e in zip(self.readings, at, strict=True)]),
            covariance=self.covariance,
            tools=[r.tool for r in self.readings],
            zeroed=[r.tool in self.k.zeros for r in self.readings],
            keys=[key(r) for r in self.readings],
            is_thickness=[r.kind == "thickness" for r in self.readings],
            features=self.k.m,
        )
        return judge(bench, [(f, prior(self.k, self.tools, f)[1]) for f in LOOSER])

    def believe(self, judged: Judgement) -> None:
        """Let in the readings that are believed, and the photo as far as it is."""
        gone = {*judged.aside, *(i for z in judged.zeros for i in z.rows)}
        self.kept = [i for i in range(len(self.readings)) if i not in gone]
        self.mean, self.prior = prior(self.k, self.tools, judged.looser, judged.misplaced)
        self.x = self.mean.copy()

    def adjust(self, rounds: int = ROUNDS) -> Solution:
        """Solve, linearise anew, and again."""
        for _ in range(rounds):
            solution = solve(self.groups(), tested=(1, 2))
            self.x = self.x + solution.x
            if np.abs(solution.x).max() < 1e-5:
                break
        self.solution = solution
        return solution

    def regularise(self) -> None:
        """Propose regularities, and drop those that the readings or the other regularities contradict."""
        assert self.solution is not None
        self.take_regularities(("parallel", "square"))
        self.take_regularities(("collinear", "equal-radius", "concentric"))  # directions are better known by now

    def take_regularities(self, kinds: Sequence[RegularityKind]) -> None:
        """Those of some kinds that hold, beside those taken before."""
        assert self.solution is not None
        now = list(self.features_at(self.x).values())
        held = [r.at(self.x[: self.k.m] - self.rest_at[: self.k.m]) for r in self.regularities]
        self.rest_at = self.x.copy()
        found = propose(now, self.k.slices, self.solution.covariance[: self.k.m, : self.k.m], kinds, held)
        self.regularities = [*held, *found]
        while self.regularities:
            solution = self.adjust(1)
            w = np.abs(solution.groups[2].standardised())
            of = np.repeat(np.arange(len(self.regularities)), [len(r.gaps) for r in self.regularities])
            against = np.abs(solution.groups[1].standardised()).max(initial=0.0)
            if w.max() <= REGULARITY_CRITICAL and against <= CRITICAL:
                break
            self.dropped.append(self.regularities.pop(int(of[np.argmax(w)])))
        self.adjust(2)

    # ------------------------------------------------------------ results
    def result(self, judged: Judgement) -> Reconciled:
        assert self.solution is not None
        now = list(self.features_at(self.x).values())
        self.x[: self.k.m] += closing(now, self.found)  # what the linear conditions left open, some µm
        adjusted = self.adjusted_estimate()
        thickness = self.thickness_mm + float(self.x[self.k.thickness])
        u_thickness = math.sqrt(self.solution.covariance[self.k.thickness, self.k.thickness])
        verdicts = self.verdicts(judged, adjusted)
        return Reconciled(
            estimate=adjusted,
            thickness_mm=thickness,
            thickness_u95_mm=1.959964 * u_thickness,
            verdicts=verdicts,
            dimensions=tuple(self.dimensions(adjusted)),
            regularities=tuple(self.regularities),
            dropped=tuple(self.dropped),
            chi2=self.solution.chi2,
            freedom=self.solution.freedom,
            chi2_limit=chi2_limit(self.solution.freedom),
            looser=judged.looser,
            remarks=tuple(self.remarks(judged, verdicts)),
        )

    def adjusted_estimate(self) -> Estimate:
        """Features where they are now, joined, and their covariance split into shared terms and the rest."""
        assert self.solution is not None
        c = self.solution.covariance
        now = shifted_all(self.estimate.features, self.x[: self.k.m])
        joined = rejoined(now, self.found)
        turned = _about_new_middles(now, joined)
        m, t = self.k.m, slice(self.k.m, self.k.m + self.k.s)
        own = turned @ c[:m, :m] @ turned.T
        cross = turned @ c[:m, t]
        shared = c[t, t]
        sensitivity = np.asarray(cross @ np.linalg.pinv(shared, rcond=1e-12, hermitian=True))
        white = own - sensitivity @ shared @ sensitivity.T
        return replace(
            self.estimate, features=tuple(joined), white=(white + white.T) / 2, sensitivity=sensitivity, shared=shared
        )

    def dimensions(self, adjusted: Estimate) -> list[Dimension]:
        """Dimensions, and whether the readings or the photo told more about each."""
        told = list_dimensions(adjusted)
        if not self.kept:
            return told
        groups = self.groups()
        before = solve([groups[0], groups[2]], tested=()).covariance[: self.k.m, : self.k.m]
        after = adjusted.covariance()
        named = {f.label: f for f in adjusted.features}
        out = []
        for d in told:
            row = stacked(size_of(d.kind, [named[x] for x in d.features]), d.features, self.k.slices, self.k.m)
            share = 1 - float(row @ after @ row) / max(float(row @ before @ row), 1e-18)
            basis: Basis = "photo" if share < 0.1 else "caliper" if share > 0.9 else "both"
            out.append(replace(d, basis=basis))
        return out

    def verdicts(self, judged: Judgement, adjusted: Estimate) -> tuple[Verdict, ...]:
        assert self.solution is not None
        tested = self.solution.groups[1]
        w, r, least = tested.standardised(), tested.redundancy, tested.detectable()
        row_of = {i: n for n, i in enumerate(self.kept)}
        at = self.equations(range(len(self.readings)), self.x)
        zero_of = {i: z for z in judged.zeros for i in z.rows}
        out = []
        for i, (reading, e) in enumerate(zip(self.readings, at, strict=True)):
            residual = reading.value_mm - e.size_mm
            if i in row_of:
                n = row_of[i]
                reason = None
                if r[n] < UNCHECKED:
                    reason = (
                        f"nothing else checks this reading; an error under {_rough(least[n])} mm would go unnoticed"
                    )
                out.append(Verdict(reading, "kept", residual, float(w[n]), float(r[n]), float(least[n]), reason))
                continue
            predicted = float(e.row @ self.solution.covariance @ e.row)
            own = float(self.covariance[i, i])
            u = math.sqrt(predicted + own)
            z = (reading.value_mm - e.reading_mm) / u
            if i in zero_of:
                zero = zero_of[i]
                count = len({key(self.readings[n]) for n in zero.rows})
                reason = (
                    f"{count} readings of the {zero.tool} share an offset of {zero.offset_mm:+.2f} mm: "
                    "its zero is off; close the jaws, set it to zero and measure again"
                )
                likely: Likely = "zero"
            else:
                others = self.candidates(i, reading.value_mm)
                cause = likely_cause(reading, self.tools[reading.tool], e.reading_mm, u, others)
                reason, likely = cause.reason, cause.likely
            out.append(Verdict(reading, "suspect", residual, z, own / u**2, DELTA0 * u, reason, likely))
        return tuple(out)

    def candidates(self, i: int, value_mm: float) -> list[Candidate]:
        """Every other size that jaws can take, with its uncertainty where it lies near the value."""
        assert self.solution is not None
        now = replace(self.estimate, features=tuple(self.features_at(self.x).values()))
        named = {f.label: f for f in now.features}
        reading = self.readings[i]
        measured = {key(r)[:2] for n, r in enumerate(self.readings) if n != i}
        out = []
        can: dict[tuple[ReadingKind, frozenset[str]], tuple[str, ...]] = {
            (kind, frozenset(labels)): labels for kind, labels in possible_readings(now, self.subject)
        }
        can |= {(r.kind, frozenset(r.features)): r.features for r in self.readings}
        for (kind, _), labels in can.items():
            if (kind, frozenset(labels)) == key(reading)[:2]:
                continue
            value = self.thickness_mm + float(self.x[self.k.thickness])
            if kind != "thickness":
                value = size_of(kind, [named[x] for x in labels]).value_mm
            u = math.inf
            if abs(value - value_mm) < 1.0:
                other = replace(reading, kind=kind, features=labels, value_mm=max(value, 0.01))
                row = equation(self.k, other, named, self.x, self.thickness_mm, self.tools, self.subject).row
                own = reading_covariance([other], self.tools)[0, 0]
                u = math.sqrt(float(row @ self.solution.covariance @ row) + own)
            out.append(Candidate(kind, labels, value, u, (kind, frozenset(labels)) in measured))
        return out

    def remarks(self, judged: Judgement, verdicts: Sequence[Verdict]) -> list[Remark]:
        out = []
        for z in judged.zeros:
            much = f"{abs(z.offset_mm):.2f} mm too {'much' if z.offset_mm > 0 else 'little'}"
            text = f"The {z.tool} reads {much} throughout (its zero is off): none of its readings is used."
            out.append(Remark("zero", text))
        for j in judged.misplaced:
            label = next(n for n, s in self.k.slices.items() if s.start <= j < s.stop)
            text = f"Several readings agree that {label} lies elsewhere than the photo shows; they are believed."
            out.append(Remark("photo-feature", text))
        if judged.looser > 1:
            text = "The readings differ from the photo more than expected: "
            text += f"its uncertainties are taken {judged.looser:g} times as large."
            out.append(Remark("photo-looser", text))
        suspects = [v.reading for v in verdicts if v.verdict == "suspect" and v.likely != "zero"]
        if suspects:
            said = "; ".join(r.words() for r in suspects)
            out.append(Remark("suspect", f"Not used, as everything else contradicts it: {said}."))
        return out


def _about_new_middles(now: Sequence[Feature], joined: Sequence[Feature]) -> Array:
    """(m, m) change of parameters from lines' old middles to their new ones, which lie further along them."""
    m = sum(PARAMETERS[f.kind] for f in now)
    out, at = np.eye(m), 0
    for a, b in zip(now, joined, strict=True):
        if a.kind == "line":
            out[at, at + 1] = -float((middle(b) - middle(a)) @ direction(a))
        at += PARAMETERS[a.kind]
    return out


def _rough(value: float) -> str:
    return f"{value:.2g}" if value < 100 else "100 or more"

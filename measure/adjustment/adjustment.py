"""Photo and readings made to agree: one least-squares adjustment, and a verdict on each reading.

Unknown are the features' parameters, the terms that all of them share, and the tools' zeros. Known are the photo's
features with their covariance, the readings, and the regularities that the data bear out. First the readings are
judged against the photo (`measure.adjustment.judging`), then those that are believed are let in, then the regularities.

Sources: Mikhail and Ackermann (1976), adjustment with prior weights; Baarda (1968), tests and reliability.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calib.tools.budget import K95
from calib.tools.jaws import TOOLS, Tool
from measure.adjustment.agreement import Agreement
from measure.adjustment.equations import EDGE_SD_MM, with_edge_error
from measure.adjustment.judging import Judgement
from measure.adjustment.least_squares import chi2_limit
from measure.adjustment.regularities import Regularity
from measure.adjustment.verdicts import Remark, Verdict, remarks, verdicts
from measure.edges.rounded import RIM, Rim
from measure.geometry.dimensions import Basis, Dimension, list_dimensions, size_of, stacked
from measure.geometry.features import Estimate
from measure.readings.jaw_reach import check_readings
from measure.readings.readings import Reading
from measure.subject import Subject

__all__ = ["Reconciled", "Remark", "Verdict", "reconcile"]

ONE_ALONE = 0.1
"""A dimension rests on the photo alone when readings take away less than this share of its variance, on the caliper
alone when they leave less (chosen)."""


@dataclass(frozen=True, slots=True)
class Reconciled:
    """Photo and readings agreed.

    Attributes:
        estimate: adjusted features, joined end to end, with their covariance.
        thickness_mm, thickness_u95_mm: adjusted thickness.
        rim: adjusted radius of the upper rim; None where none was given.
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
    rim: Rim | None
    verdicts: tuple[Verdict, ...]
    dimensions: tuple[Dimension, ...]
    regularities: tuple[Regularity, ...]
    dropped: tuple[Regularity, ...]
    chi2: float
    freedom: int
    chi2_limit: float
    looser: float
    remarks: tuple[Remark, ...]


def reconcile(
    estimate: Estimate,
    readings: Sequence[Reading],
    *,
    thickness_mm: float,
    rim: Rim | None = None,
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
        rim: the upper rim that it was traced with; the shared term named ``rim`` is counted from its radius.
        subject: part or opening.
        tools: by name; must hold every tool that the readings name.
        with_regularities: propose parallel, square and equal features, and take those that the data bear out.
        edge_sd_mm: what the points of one edge may have wrong together, which the estimate does not hold.

    Raises:
        calib.errors.ReadingsRefused: a reading names features that are not there or that jaws can't take it on.
    """
    check_readings(readings, estimate, subject)
    work = Agreement(with_edge_error(estimate, edge_sd_mm), tuple(readings), thickness_mm, subject, tools)
    judged = work.judge()
    work.believe(judged)
    work.adjust()
    if with_regularities:
        work.regularise()
    work.close()
    return _result(work, judged, rim)


def _result(work: Agreement, judged: Judgement, rim: Rim | None) -> Reconciled:
    adjusted, solution, at = work.adjusted_estimate(), work.solved, work.k.thickness
    said = verdicts(work, judged)
    return Reconciled(
        estimate=adjusted,
        thickness_mm=work.thickness_mm + float(work.x[at]),
        thickness_u95_mm=K95 * math.sqrt(solution.covariance[at, at]),
        rim=None if rim is None else _rim(work, rim),
        verdicts=said,
        dimensions=tuple(_dimensions(work, adjusted)),
        regularities=tuple(work.regularities),
        dropped=tuple(work.dropped),
        chi2=solution.chi2,
        freedom=solution.freedom,
        chi2_limit=chi2_limit(solution.freedom),
        looser=judged.looser,
        remarks=tuple(remarks(work, judged, said)),
    )


def _rim(work: Agreement, rim: Rim) -> Rim:
    """What the readings make of the upper rim; an outline that does not hang on it tells nothing of it."""
    names = work.estimate.shared_names
    if RIM not in names:
        return rim
    at = work.k.m + names.index(RIM)
    sd = math.sqrt(max(work.solved.covariance[at, at], 0.0))
    return replace(rim, radius_mm=rim.radius_mm + float(work.x[at]), sd_mm=sd)


def _dimensions(work: Agreement, adjusted: Estimate) -> list[Dimension]:
    """Dimensions, and whether the readings or the photo told more about each."""
    told = list_dimensions(adjusted)
    if not work.kept:
        return told
    before, after = work.covariance_without_readings(), adjusted.covariance()
    named = {f.label: f for f in adjusted.features}
    out = []
    for d in told:
        row = stacked(size_of(d.kind, [named[x] for x in d.features]), d.features, work.k.slices, work.k.m)
        share = 1 - float(row @ after @ row) / max(float(row @ before @ row), 1e-18)
        basis: Basis = "photo" if share < ONE_ALONE else "caliper" if share > 1 - ONE_ALONE else "both"
        out.append(replace(d, basis=basis))
    return out

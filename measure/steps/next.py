"""Which readings to take next: said, and on a worksheet for the bench."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from calib.errors import WrongUsage
from calib.languages import ENGLISH
from calib.tools.at_hand import AtHand, at_hand
from calib.tools.jaws import Tool
from calib.words import Words, counted
from calib.written import printable
from measure.adjustment.equations import with_edge_error
from measure.drawing.pdf import write_pdf
from measure.job import job, records
from measure.job.lock import alone
from measure.planning.numbered import blank_rows
from measure.planning.planning import GOAL_MM, Advice, Suggestion, advise
from measure.planning.worksheet import worksheet
from measure.steps import Done
from measure.steps.measured import measured_record
from measure.steps.read import tools_of


@alone
def next_readings(
    folder: Path,
    *,
    count: int = 3,
    goal_mm: float = GOAL_MM,
    tool: str = "caliper",
    gauge: bool = False,
    tools: Path | None = None,
    caliper: AtHand | None = None,
    language: str = ENGLISH,
    force: bool = False,
) -> Done:
    """Rank the readings that are worth taking and write the worksheet.

    Args:
        folder: the job.
        count: how many readings at most.
        goal_mm: u95 below which a dimension is certain enough.
        tool: the caliper at hand.
        gauge: whether radius gauges are at hand.
        tools: the user's own tools; those in the job by default.
        caliper: what the caliper at hand can do; what is kept of it by default.
        language: of the worksheet, by its code.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: trace has not been run, the tool is not known, or the folder can't be written to.
        JobRefused: the job is damaged, or out of date.
    """
    record = _record(folder)
    known = tools_of(folder, tools)
    _check_tool(tool, known)
    job.check_writable(folder, job.WORKSHEETS, force)
    measured = bool(record.made_from)
    estimate = records.estimate(record, job.MEASURED if measured else job.TRACE)
    caliper = caliper or at_hand()
    advice = advise(
        estimate if measured else with_edge_error(estimate),
        thickness_mm=record.thickness_mm,
        subject=record.subject,
        tool=tool,
        tools=known,
        gauge=gauge,
        taken=[(r.kind, r.features) for r in record.readings if r.verdict == "kept"],
        count=count,
        goal_mm=goal_mm,
        caliper=caliper,
    )
    pdf, table = job.WORKSHEETS
    files = {}
    opening = record.subject == "opening"
    deep = opening and not record.thickness_mm
    if advice.suggestions or deep:
        how = Words(
            "Values into the job: jawline read {folder} 1=24.31 2=4.02 (number = value)", folder=printable(folder.name)
        )
        sheet = worksheet(
            record.part,
            estimate.features,
            advice.suggestions,
            how,
            opening=opening,
            depth=deep,
            caliper=caliper,
            language=language,
        )
        files = {pdf: write_pdf(sheet), table: blank_rows(advice.suggestions, tool if deep else None).encode()}
    written = job.write(folder, files, force=force) if files else ()
    lines = _lines(folder, advice)
    if deep:
        number = len(advice.suggestions) + 1
        lines += (
            f"And how deep the seat is, which no photo shows (number {number} of {folder / pdf}): "
            f"jawline read {folder} thickness VALUE",
        )
    return Done("next", tuple(written), lines, _result(advice))


def _record(folder: Path) -> records.JobRecord:
    """measured.json where it is there and up to date, else trace.json."""
    if (folder / job.MEASURED).exists():
        return measured_record(folder)
    return records.from_text(job.text(folder, job.TRACE, "trace PHOTO"), str(folder / job.TRACE))


def _check_tool(tool: str, known: Mapping[str, Tool]) -> None:
    calipers = [name for name, t in known.items() if not t.leaf]
    if tool not in calipers:
        raise WrongUsage(
            Words(
                "The tool “{tool}” is no caliper that is known; known are {calipers}.",
                tool=tool,
                calipers=", ".join(calipers),
            ),
            "tool",
        )


def _lines(folder: Path, a: Advice) -> tuple[str, ...]:
    goal = f"± {a.goal_mm:g} mm"
    known = a.dimensions - a.open_before
    first = counted(
        "{known} of {n} dimension is known to ± {goal_mm:g} mm.",
        "{known} of {n} dimensions are known to ± {goal_mm:g} mm.",
        a.dimensions,
        known=known,
        goal_mm=a.goal_mm,
    )
    if not a.suggestions:
        if not a.open_before:
            return (first, Words("That is enough: no reading is needed."))
        return (first, Words("No reading that the caliper takes would make the others much more certain."))
    width = max(len(s.words()) for s in a.suggestions)
    rows = [
        f"  {n}  {s.words():{width}}  about {s.expected_mm:.1f} mm: {_effect(s, goal)}"
        for n, s in enumerate(a.suggestions, 1)
    ]
    left = f"With {'it' if len(rows) == 1 else 'them'} {a.dimensions - a.open_after} of {a.dimensions} are."
    return (
        first,
        "Worth taking, the best first:",
        *rows,
        left,
        f"The worksheet is {folder / job.WORKSHEETS[0]}. Then: jawline read {folder} 1=VALUE 2=VALUE",
    )


def _effect(s: Suggestion, goal: str) -> str:
    less = f"{100 * s.share:.0f} % off what is uncertain"
    if not s.settled:
        return less
    fall = "dimension falls" if s.settled == 1 else "dimensions fall"
    return f"{s.settled} {fall} under {goal}, {less}"


def _result(a: Advice) -> dict[str, object]:
    return {
        "goal_mm": a.goal_mm,
        "dimensions": a.dimensions,
        "open_before": a.open_before,
        "open_after": a.open_after,
        "suggestions": [
            {
                "number": n,
                "kind": s.kind,
                "features": list(s.features),
                "tool": s.tool,
                "expected_mm": round(s.expected_mm, 3),
                "share": round(s.share, 4),
                "settled": s.settled,
            }
            for n, s in enumerate(a.suggestions, 1)
        ],
    }

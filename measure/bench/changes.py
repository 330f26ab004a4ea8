"""Changes of a job: readings come and go, a broken part is completed, files are made."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, cast, get_args

from calib.errors import JobRefused, WrongUsage
from calib.tools.budget import K95
from calib.words import Words, joined
from calib.written import printable
from measure.bench import kept
from measure.bench.live import Live
from measure.bench.phrases import on_page
from measure.bench.shelf import Job
from measure.bench.state import files_of, jaw_words, jaws_of, key_of, suspected_of
from measure.broken.completion.outcome import By
from measure.geometry.dimensions import size_of, stacked
from measure.job import job, records
from measure.job.history import REMEMBERED
from measure.readings.jaw_reach import check_reading, obstacle
from measure.readings.readings import FEATURES, decoded, make_reading, write_csv
from measure.steps.read import appended, in_job, tools_of

LONGEST_NOTE = 200


def add_reading(of: Job, live: Live, asked: Mapping[str, Any]) -> None:
    """Append a reading to the job; it is on disk when this returns.

    Raises:
        ReadingsRefused: it makes no sense, or does not fit the outline.
        WrongUsage: the file can't be written.
    """
    tools = tools_of(of.folder, None)
    labels = asked.get("features") or []
    new = make_reading(
        str(asked.get("kind", "")),
        [str(x) for x in labels] if isinstance(labels, list) else [],
        str(asked.get("value", "")),
        str(asked.get("unit") or "mm"),
        str(asked.get("tool") or "caliper"),
        printable(" ".join(str(asked.get("note") or "").split()), "")[:LONGEST_NOTE],
        tools=tools,
    )
    check_reading(new, live.outline, live.traced.subject)
    path = of.folder / job.READINGS
    before = job.content(of.folder, job.READINGS, "read") if path.exists() else b""
    in_job(before, job.READINGS, tools)  # nothing is added to what nobody understands
    content = appended(before, [new]) if before.strip() else write_csv([new]).encode()
    of.write({job.READINGS: content})


def remove_reading(of: Job, live: Live, key: str) -> None:
    """Take a reading out of the job: its line, and nothing else of the file.

    Raises:
        WrongUsage: there is no such reading.
    """
    for i, r in enumerate(live.readings):
        if key_of(live.readings, i) == key and r.line is not None:
            lines = decoded(job.content(of.folder, job.READINGS, "read")).splitlines(keepends=True)
            del lines[r.line - 1]
            left = "".join(lines) if len(live.readings) > 1 else ""
            of.write({job.READINGS: left.encode()})
            return
    raise WrongUsage(Words("This reading is no longer there."), "no-reading")


def change_reading(of: Job, live: Live, key: str, asked: Mapping[str, Any]) -> None:
    """Write a reading of the job anew, in its own line: what is not asked for stays as it was.

    Args:
        of: the job.
        live: the job worked out.
        key: of the reading.
        asked: any of ``kind``, ``features``, ``value``, ``unit`` and ``tool``.

    Raises:
        WrongUsage: there is no such reading.
        ReadingsRefused: it makes no sense, or does not fit the outline.
    """
    tools = tools_of(of.folder, None)
    for i, r in enumerate(live.readings):
        if key_of(live.readings, i) != key or r.line is None:
            continue
        value = str(asked.get("value") or r.written)
        unit, tool = str(asked.get("unit") or r.unit), str(asked.get("tool") or r.tool)
        labels = asked.get("features") or r.features
        new = make_reading(
            str(asked.get("kind") or r.kind), [str(x) for x in labels], value, unit, tool, r.note, tools=tools
        )
        check_reading(new, live.outline, live.traced.subject)
        lines = decoded(job.content(of.folder, job.READINGS, "read")).splitlines(keepends=True)
        rest = "".join(lines[: r.line - 1] + lines[r.line :])
        row = appended(rest.encode(), [new]).decode().splitlines(keepends=True)[-1]
        of.write({job.READINGS: "".join([*lines[: r.line - 1], row, *lines[r.line :]]).encode()})
        return
    raise WrongUsage(Words("This reading is no longer there."), "no-reading")


def offers(live: Live, labels: Sequence[str]) -> list[dict[str, Any]]:
    """Readings that jaws can take on some features, with what they should show.

    Raises:
        WrongUsage: the outline has no such feature.
    """
    named = {f.label: f for f in live.found.estimate.features}
    missing = [x for x in labels if x not in named]
    if missing:
        raise WrongUsage(Words("The outline has no {missing}.", missing=missing[0]), "label")
    features = [named[x] for x in labels]
    out: list[dict[str, Any]] = []
    estimate = live.found.estimate
    covariance = estimate.covariance()
    for kind, count in FEATURES.items():
        if count != len(features) or obstacle(kind, features, live.outline, live.traced.subject):
            continue
        if any(f.origin == "completed" or (kind == "radius" and f.kind != "arc") for f in features):
            continue
        if kind == "thickness":
            value, u95 = live.record.thickness_mm, live.record.thickness_u95_mm or 0.0
        else:
            size = size_of(kind, features)
            row = stacked(size, labels, estimate.slices(), len(covariance))
            value, u95 = size.value_mm, K95 * math.sqrt(max(float(row @ covariance @ row), 0.0))
        plain: dict[str, Any] = {"kind": kind, "words": jaw_words(kind, labels), "features": list(labels)}
        plain["jaws"] = jaws_of(live, kind, labels)
        out.append({**plain, "expected_mm": round(value, 3), "u95_mm": round(u95, 3)})
    return out


def complete(of: Job, by: str | None, broken: str | None, drawn: str | None = None) -> None:
    """Complete the outline where the part is broken, open it again, or keep for good what was completed.

    Args:
        of: the job.
        by: the way; the best by default; `open` leaves a break open, `seen` takes back what was chosen, `keep` says
            that somebody has looked at it; `broken` is the best, or open where nothing tells what was there; `whole`
            says that a stretch that was asked about is not broken.
        broken: which break, by its first and last label; all of them by default.
        drawn: what was there, drawn by hand.

    Raises:
        WrongUsage, JobRefused: it can't be done, or nothing tells what was there.
    """
    from measure.steps import complete as step

    if by == "keep":
        _keep(of, broken)
        return
    if by == "whole":
        _is_whole(of, broken)
        return
    if by == "broken":
        try:
            complete(of, None, broken)
        except JobRefused as why:
            if why.code != "not-completed":
                raise
            complete(of, "open", broken)
        return
    ways = (*get_args(By), "seen")
    if by is not None and by not in ways:
        raise WrongUsage(Words("The ways are {ways}, not “{by}”.", ways=", ".join(ways), by=by), "by")
    with of.changing(set(REMEMBERED)):
        done = step.complete(of.folder, broken=broken, by=cast(step.Asked | None, by), drawn=drawn)
        known = of.kept()
        if known and known.accepted:  # what is no longer completed in that way has to be looked at again
            left = tuple(a for a in known.accepted if a in _completed(of))
            job.write(of.folder, {kept.FILE: kept.to_bytes(known.model_copy(update={"accepted": left}))})
    breaks = done.result["breaks"]
    if by not in ("open", "seen") and all(b["by"] == "open" for b in (breaks if broken is None else breaks[-1:])):
        raise JobRefused(" ".join(done.lines), "not-completed")


def mend(of: Job, said: str) -> None:
    """Let features be what a person says, at once and from the edge points that the trace kept.

    Raises:
        WrongUsage, PartRefused, JobRefused: it can't be.
    """
    from measure.steps import mend as step

    with of.changing(set(REMEMBERED)):
        step.mend(of.folder, [said])


def _keep(of: Job, broken: str | None) -> None:
    now = tuple(a for a in _completed(of) if broken in (None, a.broken))
    if not now:
        raise WrongUsage(Words("There is nothing completed that could be kept."), "not-completed")
    known = of.kept() or kept.Kept()
    accepted = (*(a for a in known.accepted if a not in now), *now)
    of.write({kept.FILE: kept.to_bytes(known.model_copy(update={"accepted": accepted}))})


def _is_whole(of: Job, broken: str | None) -> None:
    known = of.kept() or kept.Kept()
    traced = records.from_text(job.text(of.folder, job.TRACE, "trace PHOTO"), job.TRACE)
    asked = {s.mark for s in suspected_of(traced)}
    if broken not in asked:
        raise WrongUsage(Words("That is not asked any more."), "broken")
    of.write({kept.FILE: kept.to_bytes(known.model_copy(update={"whole": (*known.whole, broken)}))})


def _completed(of: Job) -> tuple[kept.Accepted, ...]:
    record = records.from_text(job.text(of.folder, job.TRACE, "trace PHOTO"), job.TRACE)
    return tuple(kept.Accepted(broken=c.broken, by=c.by) for c in record.completed)


def trial(of: Job, live: Live, said: str) -> dict[str, Any]:
    """Take in how a trial print went.

    Args:
        of: the job.
        live: the job worked out.
        said: phrases such as ``tight at E2``, one a line or with semicolons between.

    Returns:
        What follows from it: ``of`` and ``revision`` (the one printed and the next), ``changes`` and ``sizes``, mm.

    Raises:
        ReadingsRefused: a phrase can't be understood, or two contradict each other.
        JawlineError: it can't be done to this outline.
    """
    from measure.steps import trial as step
    from measure.trial.sayings import parse

    phrases = [p.strip() for p in re.split(r"[;\n]", said) if p.strip()]
    parse(phrases)  # before anything is written
    settle(of, live)
    with of.changing({job.TRIALS}):
        return dict(step.trial(of.folder, phrases).result)


def thin(of: Job, live: Live, asked: Mapping[str, str]) -> dict[str, Any]:
    """The thin places of a part: `lines` for people, and `places` by name with their ends on the picture or drawing.

    Raises:
        JawlineError: numbers that make no sense, an opening, or readings that don't fit together.
    """
    from measure.printing.strength import remedies
    from measure.steps import thin as step
    from measure.steps.numbers import number

    limit = number(asked.get("limit") or f"{remedies.LIMIT_MM:g}", Words("What is called thin"), *step.LIMITS_MM)
    line = number(asked.get("line") or f"{remedies.LINE_MM:g}", Words("The printer's line"), *step.LINES_MM)
    settle(of, live)
    done = step.thin(of.folder, line_mm=line, limit_mm=limit)
    return {"lines": list(done.lines), "cautions": [c.said(on_page) for c in done.cautions]}


def make(of: Job, live: Live, what: str, options: Mapping[str, Any], language: str) -> list[dict[str, str]]:
    """Make files of the job, as the commands do; drawings and worksheets in a language, by its code.

    Raises:
        JawlineError: they can't be made.
    """
    from measure.printing.solids import Cut
    from measure.steps import fit, gauge, next, sketch

    settle(of, live)
    fit_name, printer = _text(options, "as"), _text(options, "printer")
    if what == "sketch":
        known, name, thinly = of.kept(), live.record.part or None, bool(options.get("thin"))
        owner = known.owner if known and known.owner_drawn else ""
        done = sketch.sketch(of.folder, name=name, owner=owner, thin=thinly, language=language)
    elif what == "fit":
        done = fit.fit(of.folder, name=fit_name or "snug", printer=printer, language=language)
    elif what == "gauge":
        around = options.get("around") or ()
        cut = Cut(around=tuple(str(x) for x in around)) if isinstance(around, list) and around else None
        done = gauge.gauge(of.folder, fit=fit_name, printer=printer, cut=cut)
    elif what == "solid":
        done = gauge.whole(of.folder, fit=fit_name, printer=printer)
    elif what == "worksheet":
        done = next.next_readings(of.folder, tool=_text(options, "tool") or "caliper", language=language)
    else:
        raise WrongUsage(Words("What can be made is sketch, fit, gauge, worksheet or solid."), "what")
    if not done.files:  # such as a worksheet where no reading is needed
        raise WrongUsage(joined(" ", done.lines), "nothing-to-make")
    made = {p.name for p in done.files}
    return [f for f in files_of(of) if f["name"] in made]


def settle(of: Job, live: Live) -> None:
    """Write measured.json if it does not stand there as it should.

    Raises:
        JawlineError: readings and photo don't fit together.
    """
    from measure.steps.measured import measured_record
    from measure.steps.reconcile import reconcile

    try:
        measured_record(of.folder)
    except Exception:
        if live.problem:
            raise live.problem from None
        for u in live.unfit:
            raise u.why from None
        reconcile(of.folder)


def _text(options: Mapping[str, Any], key: str) -> str | None:
    value = options.get(key)
    return str(value) if value else None

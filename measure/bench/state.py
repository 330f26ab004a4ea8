"""The whole state of a job as the page gets it: plain JSON values."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np

from calib.files import is_plain
from calib.tools.fits import FITS
from calib.words import Words, joined
from measure.bench import kept
from measure.bench.phrases import on_page
from measure.bench.shelf import Job
from measure.broken.suspected import Suspected, suspected
from measure.dimensioning.words import in_words
from measure.drawing.labels import anchor
from measure.drawing.overlay import path_data
from measure.geometry.features import PLAIN_MM, Feature, flatten
from measure.job import job, records, revisions
from measure.planning.worksheet import JAWS
from measure.readings.readings import Reading
from measure.rim import RimWord
from measure.sheet.lettering import figures
from measure.steps.complete import COMPLETED, LEFT_OPEN
from measure.steps.jaws_shown import jaws_shown
from measure.steps.mend import BY_HAND
from measure.steps.shown import left_open

if TYPE_CHECKING:
    from measure.bench.live import Live

DOWNLOADS = (
    job.PICTURE,
    job.OUTLINE,
    job.TRACE,
    job.READINGS,
    job.MEASURED,
    *job.SKETCHES,
    job.ON_PHOTO,
    *job.FITS,
    *job.GAUGES,
    *job.SOLIDS,
    job.STEP,
    *job.WORKSHEETS,
)
"""The files of a job that can be downloaded: no others."""
DRAWN_PX_PER_MM, DRAWN_MARGIN_MM, DRAWN_LONGEST_PX = 16.0, 6.0, 2000.0
"""Where there is no picture to draw on, the outline is drawn on a plain ground of this scale, or a smaller one."""
LABEL_OFF_PX = 24.0

ADVICE = {
    "unit": Words("Read it again, and look whether the caliper shows inches."),
    "digits": Words("Read it again, digit by digit."),
    "feature": Words("Look at the labels: measure again between the edges that are named."),
}
"""What to do about a suspect reading, by its likely cause; for the other causes the reason itself says so."""


def key_of(readings: Sequence[Reading], index: int) -> str:
    """The key of a reading: it stays while others come and go."""
    said = [(r.kind, r.features, r.written, r.unit, r.tool) for r in readings[: index + 1]]
    mark = hashlib.sha256(repr(said[-1]).encode()).hexdigest()[:10]
    return f"{mark}-{said.count(said[-1])}"


def plain_state(
    of: Job, known: kept.Kept | None, live: Live | None, progress: Mapping[str, Any] | None
) -> dict[str, Any]:
    """The state of a job.

    Args:
        of: the job.
        known: what the page remembers of it.
        live: what photo and readings say; None without a trace.
        progress: of a trace under way.
    """
    refusal = known.refusal if known else None
    out: dict[str, Any] = {
        "id": of.id,
        "name": name_of(of, known, live.traced if live else None),
        "revision": of.revision(),
        "state": word_for(known, live is not None, bool(live and live.readings), progress is not None),
        "progress": progress,
        "refusal": {"code": refusal.code, "text": refusal.saying("text", refusal.text)} if refusal else None,
        "ticket": known.ticket if known else 0,
        "owner": known.owner if known else "",
        "contact": known.contact if known else "",
        "note": known.note if known else "",
        "owner_drawn": bool(known and known.owner_drawn),
        "scale": (known.asked.scale if known else kept.ScaleChoices()).model_dump(),
        "further": [p.name for p in known.further] if known else [],
        "begun": known.at if known else 0.0,
        "subject": live.traced.subject if live else known.asked.subject if known else "part",
        "thickness_mm": live.traced.thickness_mm if live else known.asked.thickness_mm if known else None,
        "thickness_told": known.thickness_told if known else "",
        "rim": _rim(known, live),
        "fragments": known.asked.fragments if known else 1,
        "fits": list(FITS),
        "can_undo": bool(of.history()),
        "strokes": known.asked.strokes.model_dump() if known else {"part": [], "away": []},
        "card_corners": known.asked.card_corners if known else None,
        "files": files_of(of),
        "revisions": revisions_of(of),
        "cautions": [],
        "features": [],
        "dimensions": [],
        "readings": [],
        "next": None,
        "stop": None,
        "caliper": None,
        "worst_u95_mm": None,
        "worst_words": "",
        "completion": None,
        "asked": [],
        "by_hand": [],
        "card": None,
    }
    out["photo"] = _photo(of, known)
    if live is None:
        return out
    said = [
        {"said": h.said, "words": h.saying("words", h.words), "features": list(h.features)} for h in live.record.by_hand
    ]
    return (
        out
        | _drawn(of, live)
        | _measured(live)
        | {
            "completion": _completion(live.record, known),
            "asked": _asked(live, known),
            "by_hand": said,
        }
    )


def _rim(known: kept.Kept | None, live: Live | None) -> RimWord:
    """What was said of the upper edge."""
    if live and live.traced.rim:
        return live.traced.rim.told
    return known.asked.rim if known else "unknown"


def name_of(of: Job, known: kept.Kept | None, traced: records.JobRecord | None) -> str:
    """What a job is called."""
    return (known.name if known else "") or (traced.part if traced else "") or of.id


def word_for(known: kept.Kept | None, traced: bool, read: bool, busy: bool) -> str:
    """The state in a word."""
    if busy:
        return "tracing"
    if traced:
        return "measured" if read else "traced"
    return "refused" if known and known.refusal else "waiting"


def files_of(of: Job) -> list[dict[str, str]]:
    """What can be downloaded."""
    return [{"name": n, "url": url_of(of, f"files/{n}")} for n in DOWNLOADS if is_plain(of.folder / n)]


def revisions_of(of: Job) -> list[dict[str, Any]]:
    """The drawings that trial prints have left: number, time, what was said of the print before, and their files."""
    out = []
    for n, r in revisions.readable(of.folder).items():
        words = ", ".join(r.after) or (Words("{fit} fit", fit=Words(r.fit)) if r.fit else Words("as measured"))
        files = [{"name": name, "url": url_of(of, f"revisions/{n}/{name}")} for name in revision_files(of, n)]
        out.append({"n": n, "at": revisions.made_at(of.folder, n), "words": words, "files": files})
    return out


def revision_files(of: Job, number: int) -> list[str]:
    """Names of the files that a revision keeps, its record apart."""
    place = of.folder / revisions.FOLDER / str(number)
    return [name for name in job.DRAWN if is_plain(place / name)]


def _photo(of: Job, known: kept.Kept | None) -> dict[str, Any] | None:
    """The picture before there is a trace."""
    if not known or not known.photo:
        return None
    p = known.photo
    plain = {"url": url_of(of, "photo.jpg"), "width": p.width, "height": p.height, "scale": p.scale}
    return {**plain, "blurred": not is_plain(of.folder / kept.PHOTO)}


def url_of(of: Job, what: str) -> str:
    """Where something of a job is to be had."""
    return f"/api/jobs/{quote(of.id, safe='')}/{what}"


# ---------------------------------------------------------------------------------------------------- on the picture
def _drawn(of: Job, live: Live) -> dict[str, Any]:
    """The features over the job's picture; where there is none, on a plain ground of the outline's own."""
    seen = live.shown
    if seen is None:
        return _on_plain_ground(live.outline.features)
    picture, broken = seen.record.picture, left_open(live.traced)
    photo = {"url": url_of(of, "photo.jpg"), "width": picture.width, "height": picture.height, "scale": picture.scale}
    return {
        "photo": {**photo, "blurred": False},
        "card": {"name": seen.reference, "corners": [[round(float(v), 1) for v in c] for c in seen.corners]},
        "features": [
            {
                "label": f.label,
                "kind": f.kind,
                "loop": f.loop,
                "origin": "broken" if f.label in broken else f.origin,
                "path": f.path,
                "label_at": list(f.label_px),
                "anchor": list(f.anchor_px),
            }
            for f in seen.drawn.features
        ],
        "label_height": seen.drawn.label_height_px,
        "broken": list(seen.broken),
        "stretches": list(seen.stretches),
        "edges": {"upper": list(seen.upper), "lower": list(seen.lower)},
    }


def _on_plain_ground(features: Sequence[Feature]) -> dict[str, Any]:
    flat = {f.label: flatten(f, PLAIN_MM) for f in features}
    every = np.concatenate(list(flat.values()))
    low, high = every.min(0) - DRAWN_MARGIN_MM, every.max(0) + DRAWN_MARGIN_MM
    scale = min(DRAWN_PX_PER_MM, DRAWN_LONGEST_PX / float((high - low).max()))
    width, height = (int(v) for v in np.ceil((high - low) * scale))
    drawn = []
    for f in features:
        p = np.stack([flat[f.label][:, 0] - low[0], high[1] - flat[f.label][:, 1]], 1) * scale
        at, away = anchor(f.kind, f.loop, p)
        drawn.append(
            {
                "label": f.label,
                "kind": f.kind,
                "loop": f.loop,
                "origin": f.origin,
                "path": path_data(p, f.kind == "circle"),
                "label_at": [round(float(v), 1) for v in at + LABEL_OFF_PX * away],
                "anchor": [round(float(v), 1) for v in at],
            }
        )
    photo = {"url": None, "width": width, "height": height, "scale": None, "blurred": False}
    return {"photo": photo, "card": None, "features": drawn, "label_height": LABEL_OFF_PX, "broken": []}


# ---------------------------------------------------------------------------------------------------------- the figures
def _measured(live: Live) -> dict[str, Any]:
    record, found = live.record, live.found
    said = [w for w in record.warnings if w.code not in (COMPLETED, LEFT_OPEN, BY_HAND)]  # those are listed apart
    cautions = [{"code": w.code, "text": w.message().said(on_page)} for w in said]
    if live.problem:
        cautions.insert(0, {"code": live.problem.code, "text": live.problem.said(on_page)})
    dimensions = record.dimensions
    suggestion = live.advice.suggestions[0] if live.advice.suggestions else None
    return {
        "cautions": cautions,
        "dimensions": [
            {
                "kind": d.kind,
                "features": list(d.features),
                "value_mm": d.value_mm,
                "u95_mm": d.u95_mm,
                "basis": d.basis,
                "words": in_words(d.kind, d.features),
                "figures": " ".join(figures(d.value_mm, d.u95_mm)),
            }
            for d in dimensions
        ],
        "readings": _readings(live),
        "worst_u95_mm": live.least_sure.u95_mm if live.least_sure else None,
        "worst_words": live.least_sure.words if live.least_sure else "",
        "next": suggestion
        and {
            "words": jaw_words(suggestion.kind, suggestion.features),
            "kind": suggestion.kind,
            "features": list(suggestion.features),
            "expected_mm": round(suggestion.expected_mm, 3),
            "jaws": jaws_of(live, suggestion.kind, suggestion.features),
        },
        "stop": None if suggestion else _stop(live),
        "caliper": asdict(live.caliper),
        "looser": round(found.looser, 3),
    }


def _stop(live: Live) -> str:
    if not live.advice.open_before:
        return Words(
            "Every dimension is known to ± {goal_mm:g} mm or better: no further reading is needed.",
            goal_mm=live.advice.goal_mm,
        )
    return Words("No reading that the caliper takes would make the other dimensions much more certain.")


def jaw_words(kind: str, features: Sequence[str]) -> str:
    """What the tool does, and where."""
    return joined(" ", (JAWS[kind], "–".join(features)))


def jaws_of(live: Live, kind: str, features: Sequence[str]) -> list[dict[str, Any]]:
    """Where the jaws go on the picture; none where there is none."""
    if live.shown is None:
        return []
    outline, subject = live.outline.features, live.traced.subject
    return [asdict(j) for j in jaws_shown(live.shown.record, kind, features, outline, subject, live.caliper)]


def _readings(live: Live) -> list[dict[str, Any]]:
    verdicts = {id(v.reading): v for v in live.found.verdicts}
    unfit = {id(u.reading): u.why for u in live.unfit}
    out = []
    for i, r in enumerate(live.readings):
        plain: dict[str, Any] = {
            "key": key_of(live.readings, i),
            "kind": r.kind,
            "features": list(r.features),
            "value_mm": round(r.value_mm, 5),
            "written": r.written,
            "unit": r.unit,
            "tool": r.tool,
            "words": r.words(),
            "jaws": jaws_of(live, r.kind, r.features),
            "residual_mm": None,
            "verdict": "suspect",
            "reason": None,
            "likely": None,
            "advice": None,
        }
        if id(r) in unfit:
            plain |= {"reason": unfit[id(r)].said(on_page), "likely": "feature", "advice": ADVICE["feature"]}
        else:
            v = verdicts[id(r)]
            plain |= {
                "residual_mm": round(v.residual_mm, 4),
                "verdict": v.verdict,
                "reason": v.reason,
                "likely": v.likely,
                "advice": ADVICE.get(v.likely or "") if v.verdict == "suspect" else None,
            }
        out.append(plain)
    return out


def suspected_of(traced: records.JobRecord) -> list[Suspected]:
    """Where a part looks broken, and nobody has filled that in or left it open."""
    if traced.subject == "opening" or traced.joined is not None:
        return []
    settled = {label for c in traced.completed for label in c.features}
    features = [records.feature(f) for f in traced.features]
    return [s for s in suspected(features) if not settled & set(s.labels)]


def _asked(live: Live, known: kept.Kept | None) -> list[dict[str, Any]]:
    """Stretches that look broken, to be answered."""
    whole = set(known.whole) if known else set()
    return [
        {"broken": s.mark, "plain": s.plain, "words": s.words(), "features": list(s.labels)}
        for s in suspected_of(live.traced)
        if s.mark not in whole
    ]


def _completion(record: records.JobRecord, known: kept.Kept | None) -> dict[str, Any] | None:
    """What was completed, break by break, and whether somebody has looked at it and keeps it."""
    if not record.completed:
        return None
    accepted = {(a.broken, a.by) for a in known.accepted} if known else set()
    breaks = [
        {
            "broken": c.broken,
            "by": c.by,
            "features": list(c.features),
            "words": c.saying("words", c.words),
            "drawn": c.drawn,
            "kept": (c.broken, c.by) in accepted,
        }
        for c in record.completed
    ]
    return {"broken": [f.label for f in record.broken], "breaks": breaks}

"""The job's JSON: how features, their covariance, dimensions and readings are written down and read back.

`trace.json` and `measured.json` have the same form, ``"schema": "jawline/1"``. A person may mend the numbers by hand;
what no longer holds together is refused in one sentence.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Annotated, Any, Literal, cast

import numpy as np
from pydantic import Field, FiniteFloat, NonNegativeFloat, ValidationError

from calib.arrays import Array
from calib.errors import JobRefused
from calib.messages import Do, Message, Phrase, Remedy
from calib.tools.budget import K95
from measure.edges.rounded import Rim
from measure.geometry.dimensions import Dimension
from measure.geometry.features import OF_KIND, PARAMETERS, Estimate, Feature, Kind, Point, Turn, is_round
from measure.job.told import Record, SaidRecord, told
from measure.rim import RimWord
from measure.tracing.values import Gap, Scale

SCHEMA: Literal["jawline/1"] = "jawline/1"
OPEN_BY_MM = 0.2
"""Neighbours of a loop that lie further apart than this no longer join."""

MOST_FEATURES, MOST_POINTS = 3000, 50_000
"""Of an outline, and of one free curve: more is no part that anybody traced."""
Figure = Annotated[float, Field(ge=-1e7, le=1e7, allow_inf_nan=False)]
"""Any number in a job's files: ten kilometres in millimetres, so that no sum of squares of them overflows."""
Some = Annotated[float, Field(ge=1e-9, le=1e7, allow_inf_nan=False)]
NotLess = Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)]
Entry = Annotated[float, Field(ge=-1e15, le=1e15, allow_inf_nan=False)]
"""Of a covariance or of what makes one."""
Pair = tuple[Figure, Figure]


class ScaleRecord(Record):
    """See `measure.tracing.tracing.Scale`."""

    reference: str
    mm_per_px: Some
    u95_relative: NotLess
    camera_height_mm: Some
    tilt_deg: NotLess
    lens: str


class RimRecord(Record):
    """See `measure.edges.rounded.Rim`."""

    told: RimWord
    radius_mm: NotLess
    u95_mm: NotLess


class FeatureRecord(Record):
    """See `measure.geometry.features.Feature`."""

    label: str = Field(pattern=r"^[A-Z]{1,3}[0-9]{1,6}$")
    kind: Kind
    loop: int = Field(ge=0)
    start: Pair | None = None
    end: Pair | None = None
    centre: Pair | None = None
    radius: Some | None = None
    turn: Turn | None = None
    points: tuple[Pair, ...] | None = Field(None, min_length=2, max_length=MOST_POINTS)
    origin: Literal["seen", "completed"] = "seen"


class DimensionRecord(Record):
    """See `measure.geometry.dimensions.Dimension`."""

    kind: Literal["distance", "diameter", "radius", "centres", "offset"]
    features: tuple[str, ...]
    value_mm: FiniteFloat
    u95_mm: NonNegativeFloat
    basis: Literal["photo", "caliper", "both"] = "photo"


class ReadingRecord(Record):
    """A reading and what the adjustment thinks of it (see `measure.adjustment.adjustment.Verdict`)."""

    kind: str
    features: tuple[str, ...]
    value_mm: FiniteFloat
    residual_mm: FiniteFloat | None = None
    verdict: Literal["kept", "suspect"] = "kept"
    reason: str | None = None
    likely: str | None = None
    redundancy: FiniteFloat | None = None
    detectable_mm: FiniteFloat | None = None


class RemedyRecord(Record):
    """See `calib.messages.Remedy`."""

    do: str
    of: str = ""


class CautionRecord(SaidRecord):
    """A `calib.messages.Message` as a sentence; its parts as well, where another place says it in other words."""

    code: str
    text: str
    what: str | None = None
    remedies: tuple[str | RemedyRecord, ...] | None = None

    @classmethod
    def of(cls, message: Message, phrase: Phrase) -> CautionRecord:
        """A message, and what its remedies are called in the sentence."""
        text = message.said(phrase)
        said = {"what": message.what, **{f"remedies.{k}": r for k, r in enumerate(message.remedies)}}
        made = {name: t for name, x in said.items() if isinstance(x, str) and (t := told(x))}
        if not made and all(isinstance(r, str) for r in message.remedies):
            return cls(code=message.code, text=text)
        parts = tuple(r if isinstance(r, str) else RemedyRecord(do=r.do, of=r.of) for r in message.remedies)
        return cls(code=message.code, text=text, what=message.what, remedies=parts or None, told=made or None)

    def message(self) -> Message:
        """The message again."""
        remedies = tuple(
            self.saying(f"remedies.{k}", r) if isinstance(r, str) else Remedy(cast(Do, r.do), r.of)
            for k, r in enumerate(self.remedies or ())
        )
        if self.what is None:
            return Message(self.code, self.saying("text", self.text), remedies)
        return Message(self.code, self.saying("what", self.what), remedies)


class AdjustmentRecord(Record):
    """Covariance of an `Estimate`.

    `white` holds the lower triangle row by row, each row from its first entry that is not zero to the diagonal,
    as ``[first column, value, value, …]``.
    """

    white: tuple[tuple[Entry, ...], ...]
    shared_names: tuple[str, ...]
    sensitivity: tuple[tuple[Entry, ...], ...]
    shared: tuple[tuple[Entry, ...], ...]


class JoinedRecord(Record):
    """See `measure.broken.fragments.Gap`."""

    pieces: Literal[2] = 2
    length_mm: NotLess
    gap_rms_mm: NotLess
    gap_worst_mm: NotLess


class ChoiceRecord(SaidRecord):
    """A break that was completed, or marked and left open: its first and last feature as seen, the way, new labels,
    what was drawn by hand, what was not seen of features that go on, and what is said of it."""

    broken: str
    by: Literal["mirror", "turn", "extend", "hand", "open"]
    drawn: str = ""
    features: tuple[str, ...] = ()
    stretches: tuple[FeatureRecord, ...] = Field(default=(), max_length=2)
    words: str = ""


class HandRecord(SaidRecord):
    """A feature that is as a person said: the words, the labels that stand there now, and what is said of it."""

    said: str
    features: tuple[str, ...] = ()
    words: str = ""


class JobRecord(Record):
    """The whole of `trace.json` or `measured.json`; `photos` are there where there were several."""

    schema_: Literal["jawline/1"] = Field(default=SCHEMA, alias="schema")
    units: Literal["mm"] = "mm"
    part: str = ""
    photo: str = ""
    photos: tuple[str, ...] = ()
    seen_from: str = "the photographed face"
    scale: ScaleRecord
    subject: Literal["part", "opening"]
    thickness_mm: NotLess
    thickness_u95_mm: NotLess | None = None
    rim: RimRecord | None = None
    features: tuple[FeatureRecord, ...] = Field(min_length=1, max_length=MOST_FEATURES)
    broken: tuple[FeatureRecord, ...] = Field(default=(), max_length=MOST_FEATURES)
    joined: JoinedRecord | None = None
    completed: tuple[ChoiceRecord, ...] = ()
    by_hand: tuple[HandRecord, ...] = ()
    dimensions: tuple[DimensionRecord, ...] = ()
    readings: tuple[ReadingRecord, ...] = ()
    warnings: tuple[CautionRecord, ...] = ()
    made_from: dict[str, str] = Field(default={})
    adjustment: AdjustmentRecord | None = None


# ---------------------------------------------------------------------------------------------------- values to records
def rounded(values: Sequence[float] | Array, digits: int) -> tuple[float, ...]:
    """Plain floats with so many decimals."""
    return tuple(round(float(v), digits) + 0.0 for v in values)


def feature_record(f: Feature) -> FeatureRecord:
    """A feature as it is written: micrometres are kept to a tenth of a thousandth."""

    def pair(p: Point) -> Point:
        return round(p[0], 6) + 0.0, round(p[1], 6) + 0.0

    return FeatureRecord(
        label=f.label,
        kind=f.kind,
        loop=f.loop,
        start=None if f.kind == "circle" else pair(f.start),
        end=None if f.kind == "circle" else pair(f.end),
        centre=pair(f.centre) if is_round(f) else None,
        radius=round(f.radius, 6) if is_round(f) else None,
        turn=f.turn if f.kind == "arc" else None,
        points=tuple((round(x, 5) + 0.0, round(y, 5) + 0.0) for x, y in f.points) if f.kind == "curve" else None,
        origin=f.origin,
    )


def dimension_record(d: Dimension) -> DimensionRecord:
    """A dimension as it is written."""
    value, u95 = rounded((d.value_mm, d.u95_mm), 5)
    return DimensionRecord(kind=d.kind, features=d.features, value_mm=value, u95_mm=u95, basis=d.basis)


def scale_record(s: Scale) -> ScaleRecord:
    """A scale as it is written."""
    return ScaleRecord(
        reference=s.reference,
        mm_per_px=float(f"{s.mm_per_px:.7g}"),
        u95_relative=float(f"{s.u95_relative:.4g}"),
        camera_height_mm=round(s.camera_height_mm, 2),
        tilt_deg=round(s.tilt_deg, 2),
        lens=s.lens,
    )


def rim_record(rim: Rim) -> RimRecord:
    """What is known of the upper rim, as it is written."""
    radius, u95 = rounded((max(rim.radius_mm, 0.0), K95 * rim.sd_mm), 4)
    return RimRecord(told=rim.told, radius_mm=radius, u95_mm=u95)


def joined_record(g: Gap) -> JoinedRecord:
    """How two pieces fit, as it is written."""
    length, rms, worst = rounded((g.length_mm, g.rms_mm, g.worst_mm), 4)
    return JoinedRecord(length_mm=length, gap_rms_mm=rms, gap_worst_mm=worst)


def adjustment_record(estimate: Estimate) -> AdjustmentRecord:
    """The covariance of an estimate, thirteen significant digits, since tangent joints leave it all but singular."""

    def digits(row: Array) -> tuple[float, ...]:
        return tuple(float(f"{v:.13g}") for v in row)

    white = []
    for i, row in enumerate(estimate.white):
        filled = np.flatnonzero(row[: i + 1])
        first = int(filled[0]) if len(filled) else i
        white.append((first, *digits(row[first : i + 1])))
    return AdjustmentRecord(
        white=tuple(white),
        shared_names=estimate.shared_names,
        sensitivity=tuple(digits(row) for row in estimate.sensitivity),
        shared=tuple(digits(row) for row in estimate.shared),
    )


# ---------------------------------------------------------------------------------------------------- records to values
def feature(r: FeatureRecord) -> Feature:
    """A feature from its record, which has been checked."""
    return OF_KIND[r.kind](r.label, r.loop, origin=r.origin, **{key: getattr(r, key) for key in NEEDS[r.kind]})


def rim(record: JobRecord) -> Rim | None:
    """What is known of the upper rim; None where the job does not say."""
    r = record.rim
    return None if r is None else Rim(r.told, r.radius_mm, r.u95_mm / K95)


def estimate(record: JobRecord, name: str) -> Estimate:
    """Features and covariance of a job.

    Args:
        record: the file.
        name: its name, for messages.

    Raises:
        JobRefused: the covariance is missing or no longer belongs to the features.
    """
    features = tuple(feature(r) for r in record.features)
    m, a = sum(PARAMETERS[f.kind] for f in features), record.adjustment
    if a is None:
        raise JobRefused(f"{name} has no “adjustment” part", "job-damaged", Remedy("run-again", "trace"))
    white = np.zeros((m, m))
    s = len(a.shared_names)
    fits = len(a.white) == m and len(a.sensitivity) == m and len(a.shared) == s
    fits = fits and all(len(row) == s for row in (*a.sensitivity, *a.shared))
    fits = fits and all(
        row and row[0] == int(row[0]) and row[0] + len(row) - 1 == i + 1 for i, row in enumerate(a.white)
    )
    if not fits:
        raise JobRefused(
            f"The features in {name} and their “adjustment” no longer belong together (numbers may be mended by hand, "
            "but no feature is taken out or put in)",
            "job-damaged",
            Remedy("run-again", "trace"),
        )
    for i, row in enumerate(a.white):
        white[i, int(row[0]) : i + 1] = row[1:]
        white[int(row[0]) : i + 1, i] = row[1:]
    shared = np.array(a.shared, float).reshape(s, s)
    if (np.diag(white) < 0).any() or (np.diag(shared) < 0).any():
        raise JobRefused(
            f"The “adjustment” in {name} holds a negative variance", "job-damaged", Remedy("run-again", "trace")
        )
    return Estimate(features, white, a.shared_names, np.array(a.sensitivity, float).reshape(m, s), shared)


# -------------------------------------------------------------------------------------------------------- text and back
def to_text(record: JobRecord) -> str:
    """The file's text: one line for each feature, dimension and reading, so that it can be read and mended."""
    return lines(_plain(record)) + "\n"


def lines(plain: dict[str, Any]) -> str:
    """JSON with a line for every entry of its lists."""
    return _lines(plain, 0)


def for_scripts(record: JobRecord) -> dict[str, Any]:
    """The record as plain JSON values, without what only jawline itself needs."""
    out: dict[str, Any] = _untold({k: v for k, v in _plain(record).items() if k not in ("adjustment", "made_from")})
    return out


def _untold(plain: Any) -> Any:
    """Without what sentences were made from."""
    if isinstance(plain, dict):
        return {k: _untold(v) for k, v in plain.items() if k != "told" or isinstance(v, str)}
    return [_untold(v) for v in plain] if isinstance(plain, list) else plain


def _plain(record: JobRecord) -> dict[str, Any]:
    plain: dict[str, Any] = record.model_dump(mode="json", by_alias=True, exclude_none=True)
    for r, reading in zip(record.readings, plain["readings"], strict=True):
        reading |= {"reason": r.reason, "likely": r.likely}
    for key in ("broken", "completed", "by_hand", "made_from", "part", "photo", "photos"):
        if not plain.get(key):
            plain.pop(key, None)
    for f in (*plain["features"], *plain.get("broken", [])):
        if f["origin"] == "seen":
            f.pop("origin")
    return plain


def _lines(value: Any, depth: int) -> str:
    """JSON with a line for every entry of the two outer levels."""
    pad, end = " " * (depth + 1), "\n" + " " * depth
    if isinstance(value, dict) and depth == 0:
        return "{\n" + ",\n".join(f"{pad}{_flat(k)}: {_lines(v, 1)}" for k, v in value.items()) + end + "}"
    if isinstance(value, dict) and depth == 1 and any(isinstance(v, list) for v in value.values()):
        return "{\n" + ",\n".join(f"{pad}{_flat(k)}: {_lines(v, 2)}" for k, v in value.items()) + end + "}"
    if isinstance(value, list) and value and isinstance(value[0], dict | list):
        return "[\n" + ",\n".join(f"{pad}{_flat(v)}" for v in value) + end + "]"
    return _flat(value)


def _flat(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def from_text(text: str, name: str) -> JobRecord:
    """A file's text back to its record, checked.

    Args:
        text: the file's text.
        name: its name, for messages.

    Raises:
        JobRefused: not JSON, of another schema, or its parts don't hold together.
    """
    try:
        plain = json.loads(text)
    except (ValueError, RecursionError) as why:
        where = f" in line {why.lineno}" if isinstance(why, json.JSONDecodeError) else ""
        raise JobRefused(
            f"{name} is damaged or half-written (no valid JSON{where}): run the step that makes it again.",
            "job-damaged",
        ) from None
    if not isinstance(plain, dict) or "schema" not in plain:
        raise JobRefused(f"{name} is not a file of a jawline job (it has no “schema”).", "job-schema")
    if plain["schema"] != SCHEMA:
        raise JobRefused(
            f"{name} has the schema “{plain['schema']}”, this version reads “{SCHEMA}”",
            "job-schema",
            Remedy("run-again", "trace"),
        )
    try:
        record = JobRecord.model_validate(plain)
    except ValidationError as why:
        first = why.errors(include_url=False)[0]
        where = ".".join(str(p) for p in first["loc"])
        raise JobRefused(f"{name} can't be used: {where}: {first['msg'].lower()}.", "job-damaged") from None
    _check(record, name)
    return record


NEEDS: dict[Kind, tuple[str, ...]] = {
    "line": ("start", "end"),
    "arc": ("start", "end", "centre", "radius", "turn"),
    "circle": ("centre", "radius"),
    "curve": ("points",),
}


def _check(record: JobRecord, name: str) -> None:
    """Labels are there once, fields belong to the kind, loops close."""

    def refuse(what: str) -> JobRefused:
        return JobRefused(f"{name} can't be used: {what}.", "job-damaged")

    labels = [f.label for f in record.features]
    for label in labels:
        if labels.count(label) > 1:
            raise refuse(f"the label {label} is there twice")
    for f in (*record.features, *record.broken, *(f for c in record.completed for f in c.stretches)):
        for key in NEEDS[f.kind]:
            if getattr(f, key) is None:
                raise refuse(f"{f.label} is a {f.kind} without “{key}”")
    for d in record.dimensions:
        for label in d.features:
            if label not in labels:
                raise refuse(f"a {d.kind} names {label}, which is no feature")
    loops: dict[int, list[FeatureRecord]] = {}
    for f in record.features:
        loops.setdefault(f.loop, []).append(f)
    if 0 not in loops:
        raise refuse("the outer boundary (loop 0) is missing")
    for number, loop in loops.items():
        for a, b in zip(loop, [*loop[1:], loop[0]], strict=True):
            x, y = feature(a), feature(b)
            alone = x.kind == "circle" or y.kind == "circle"
            gap = 0.0 if x.kind == "circle" or y.kind == "circle" else math.dist(x.end, y.start)
            if gap > OPEN_BY_MM or (alone and len(loop) > 1):
                raise refuse(f"loop {number} is open between {a.label} and {b.label}")

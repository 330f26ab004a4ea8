"""Traces without photos: true outlines, seen through errors of a known covariance.

The true parameters are ``traced + sensitivity @ shared error + white error``; both errors are drawn from the
covariance that the estimate states, so that whatever the adjustment claims can be counted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Array
from measure.geometry.dimensions import size_of
from measure.geometry.features import OF_KIND, Estimate, Feature, direction, length, middle, right_normal
from measure.geometry.rejoin import joints, rejoined, shifted_all, tangency
from measure.readings.readings import Reading

SHARED = ("scale", "stretch", "shear", "thickness")
HEIGHT_MM = 320.0
"""Camera height."""


@dataclass(frozen=True)
class Trace:
    """What the photo gave, and what is true."""

    truth: tuple[Feature, ...]
    estimate: Estimate
    thickness_mm: float
    true_thickness_mm: float


def features_of(loops: Sequence[Sequence[dict[str, object]]]) -> tuple[Feature, ...]:
    """Labelled features of loops of segments (kind, start, end, centre, radius, turn, points)."""
    counts = {"E": 0, "R": 0, "D": 0, "C": 0}
    out = []
    for n, loop in enumerate(loops):
        for s in loop:
            letter = {"line": "E", "arc": "R", "circle": "D", "curve": "C"}[str(s["kind"])]
            counts[letter] += 1
            own: dict[str, object] = {k: tuple(s[k]) for k in ("start", "end", "centre") if k in s}  # type: ignore[arg-type]
            own |= {k: s[k] for k in ("radius", "turn") if k in s}
            if "points" in s:
                own = {"points": tuple(tuple(p) for p in s["points"])}  # type: ignore[attr-defined]
            out.append(OF_KIND[s["kind"]](f"{letter}{counts[letter]}", n, **own))  # type: ignore[index]
    return tuple(out)


def sensitivity_of(features: Sequence[Feature], foot: Array) -> Array:
    """(m, 4) change of the parameters with scale, stretch along x, shear, and thickness (parallax of upper edges)."""
    strains = [np.eye(2), np.diag([1.0, -1.0]), np.array([[0.0, 1.0], [1.0, 0.0]])]
    rows: list[list[float]] = []
    for f in features:
        if f.kind == "line":
            u, n, m = direction(f), right_normal(f), middle(f)
            upper = float(n @ (m - foot)) / HEIGHT_MM
            rows.append([*(float(n @ e @ m) for e in strains), max(upper, 0.0)])
            rows.append([*(float(-n @ e @ u) for e in strains), 0.0])
        elif f.kind != "curve":
            c = np.array(f.centre)
            away = (c - foot) / HEIGHT_MM
            inward = -1.0 if f.loop > 0 or (f.kind == "arc" and f.turn == "cw") else 1.0
            rows.append([*(float((e @ c)[0]) for e in strains), 0.5 * float(away[0])])
            rows.append([*(float((e @ c)[1]) for e in strains), 0.5 * float(away[1])])
            rows.append([f.radius, 0.0, 0.0, inward * 0.25 * float(np.hypot(*away))])
    return np.array(rows).reshape(-1, 4)


def white_of(features: Sequence[Feature], rng: np.random.Generator, noise: float = 1.0) -> Array:
    """(m, m) covariance of the edge noise: 0.01 to 0.03 mm for lines, 0.02 to 0.05 mm for radii; tangents stay so."""
    sd: list[float] = []
    for f in features:
        if f.kind == "line":
            offset = rng.uniform(0.01, 0.03)
            sd += [offset, offset * math.sqrt(12) / max(length(f), 2.0)]
        elif f.kind != "curve":
            sweep = 1.0 if f.kind == "circle" else min(length(f) / f.radius / math.pi, 1.0)
            radius = rng.uniform(0.02, 0.05)
            sd += [radius / max(sweep, 0.5)] * 2 + [radius]
    c = np.diag(np.array(sd) ** 2) * noise**2
    rows, at = [], Estimate(tuple(features), c, (), np.zeros((len(c), 0)), np.zeros((0, 0))).slices()
    for j in joints(features):
        a, b = features[j.first], features[j.second]
        touch = tangency(a, b) if j.tangent else None
        if touch:
            row = np.zeros(len(c))
            row[at[a.label]] += touch.of_first
            row[at[b.label]] += touch.of_second
            rows.append(row)
    if rows:
        a = np.array(rows)
        ca = c @ a.T
        c = c - ca @ np.linalg.pinv(a @ ca, rcond=1e-9, hermitian=True) @ ca.T
    return (c + c.T) / 2


def trace(
    truth: Sequence[Feature],
    thickness_mm: float,
    rng: np.random.Generator,
    noise: float = 1.0,
    u_thickness_mm: float = 0.02,
) -> Trace:
    """A photo's estimate of true features.

    Args:
        truth: true features.
        thickness_mm: true thickness.
        rng: for everything random.
        noise: factor on the edge noise.
        u_thickness_mm: standard uncertainty of the thickness that the photo is traced with.
    """
    points = np.array([middle(f) if f.kind == "line" else f.centre for f in truth if f.kind != "curve"])
    centre = points.mean(0)
    angle = rng.uniform(0, 2 * math.pi)
    foot = centre + rng.uniform(20, 100) * np.array([math.cos(angle), math.sin(angle)])
    s = sensitivity_of(truth, foot)
    shared = np.diag([rng.uniform(0.001, 0.002), 0.0005, 0.0005, u_thickness_mm]) ** 2
    white = white_of(truth, rng, noise)
    values, vectors = np.linalg.eigh(white)
    error = vectors @ (np.sqrt(np.maximum(values, 0.0)) * rng.normal(size=len(values)))
    terms = np.sqrt(np.diag(shared)) * rng.normal(size=4)
    moved = shifted_all(truth, -(error + s @ terms))
    seen = rejoined(moved, joints(truth))
    estimate = Estimate(tuple(seen), white, SHARED, s, shared)
    return Trace(tuple(truth), estimate, thickness_mm - float(terms[3]), thickness_mm)


def true_size(kind: str, labels: Sequence[str], t: Trace) -> float:
    """What a perfect tool would read."""
    if kind == "thickness":
        return t.true_thickness_mm
    named = {f.label: f for f in t.truth}
    return size_of(kind, [named[x] for x in labels]).value_mm


def read(kind: str, labels: Sequence[str], t: Trace, rng: np.random.Generator, sd_mm: float = 0.015) -> Reading:
    """A reading: the truth and N(0, sd), rounded to a hundredth."""
    return taken(kind, labels, round(true_size(kind, labels, t) + rng.normal(0, sd_mm), 2))


def taken(kind: str, labels: Sequence[str], value: float, places: int = 2) -> Reading:
    """A reading in millimetres with a digital caliper, written as a table's program writes it."""
    return Reading(kind, tuple(labels), value, written=repr(round(value, places)))  # type: ignore[arg-type]


# ---------------------------------------------------------------- spoiling readings the way people do
def swapped(v: float) -> float:
    """Two near digits exchanged so that the value moves by at least 0.3; else the decimal point slipped."""
    text = f"{v:.2f}"
    for i in range(len(text)):
        for j in range(i + 1, min(i + 3, len(text))):
            if text[i].isdigit() and text[j].isdigit() and text[i] != text[j]:
                t = list(text)
                t[i], t[j] = t[j], t[i]
                new = float("".join(t))
                if abs(new - v) >= 0.3 and new > 0.1:
                    return new
    return round(v * 10, 2)


SPOILS = ("unit", "digits", "feature", "plus")


def spoil(readings: Sequence[Reading], how: str, index: int) -> list[Reading] | None:
    """One reading spoiled, or all of them (``zero``); None where it can't be done."""
    if how == "zero":
        return [taken(r.kind, r.features, r.value_mm + 0.30) for r in readings]
    r = readings[index]
    v = r.value_mm
    if how == "feature":
        others = [o.value_mm for o in readings if abs(o.value_mm - v) > 0.5 and o.kind != "thickness"]
        if not others:
            return None
        new = taken(r.kind, r.features, others[index % len(others)])
    elif how == "unit":
        new = taken(r.kind, r.features, round(v / 25.4, 3), 3)
    else:
        new = taken(r.kind, r.features, {"digits": swapped(v), "plus": round(v + 0.5, 2)}[how])
    return [*readings[:index], new, *readings[index + 1 :]]

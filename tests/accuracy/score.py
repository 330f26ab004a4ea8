"""A result against the truth: boundary both ways, dimensions inside their u95, holes, segments, mirror. Millimetres."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import shapely

from tests.accuracy import shapes as sh
from tests.accuracy.laying import Loop, Segment, lines_of, loops_of, moved, points_of, register, spaced

NEAR_MM = 0.6
"""A feature belongs to a true segment when it lies this close to it on average."""
LONG_MM = 1.0
"""Segments longer than this have to be found, and none invented."""
NO_DOUBT_MM = 0.25
"""A part that lies within this on the truth without a mirror is not mirrored: it may be its own mirror image."""
SHORT_DIMENSION_MM, LONG_DIMENSION_MM = 60.0, 12.0


def match(features: Loop, truth: Loop) -> tuple[dict[str, str], dict[str, str]]:
    """label -> id of the true segment it lies on, and id -> the longest such label."""
    lines = {s["id"]: shapely.LineString(points_of(s)) for s in truth}
    of_label: dict[str, str] = {}
    of_id: dict[str, tuple[float, str]] = {}
    for f in features:
        line = shapely.LineString(points_of(f))
        if line.length == 0:
            continue
        along = shapely.line_interpolate_point(line, np.linspace(0.05, 0.95, 13), normalized=True)
        off = {s["id"]: float(shapely.distance(lines[s["id"]], along).mean()) for s in truth if _compatible(f, s)}
        best = min(off, key=lambda k: off[k], default=None)
        if best is None or off[best] >= NEAR_MM:
            continue
        of_label[f["label"]] = best
        if line.length > of_id.get(best, (0.0, ""))[0]:
            of_id[best] = (line.length, f["label"])
    return of_label, {k: label for k, (_, label) in of_id.items()}


def _compatible(a: Segment, b: Segment) -> bool:
    return a["kind"] == b["kind"] or {a["kind"], b["kind"]} <= {"arc", "circle"}


def value(kind: str, segments: list[Segment]) -> float | None:
    """Size of a dimension from one or two segments (features or true ones); None where the kind does not fit."""
    kinds = [s["kind"] for s in segments]
    rounds = [s for s in segments if s["kind"] in ("arc", "circle")]
    lines = [s for s in segments if s["kind"] == "line"]
    if kind == "distance" and kinds == ["line", "line"]:
        return sh.line_distance(*lines)
    if kind in ("diameter", "radius") and len(segments) == len(rounds) == 1:
        return float(rounds[0]["radius"]) * (2 if kind == "diameter" else 1)
    if kind == "centres" and len(segments) == len(rounds) == 2:
        return math.dist(rounds[0]["centre"], rounds[1]["centre"])
    if kind == "offset" and len(rounds) == len(lines) == 1:
        return sh.offset_of(rounds[0], lines[0])
    return None


def compare(truth: dict[str, Any], result: dict[str, Any]) -> dict[str, Any]:
    """All figures of one result; plain JSON values.

    Args:
        truth: a truth file.
        result: trace.json or measured.json.
    """
    truth_loops = [loop["segments"] for loop in truth["loops"]]
    segments = {s["id"]: s for loop in truth_loops for s in loop}
    found_loops = loops_of(result)
    laid, mirrored = register(found_loops, truth_loops)
    found = [[moved(s, laid) for s in loop] for loop in found_loops]
    off = distances(found, truth_loops)
    features = [f for loop in found for f in loop]
    of_label, of_id = match(features, list(segments.values()))
    dimensions = _dimensions(result, segments, of_label)
    inside = [abs(d["error_mm"]) <= d["u95_mm"] for d in dimensions]
    ratio = [abs(d["error_mm"]) / max(d["u95_mm"], 1e-9) for d in dimensions]
    errors = _errors_of_true_ones(truth, features, of_id)
    long = [d for d in dimensions if d["kind"] in ("distance", "centres") and d["true_mm"] > LONG_DIMENSION_MM]
    return {
        "photo": truth["photo"],
        "level": truth.get("level"),
        "p50_mm": quantile(off, 0.5),
        "p95_mm": quantile(off, 0.95),
        "max_mm": quantile(off, 1.0),
        "mirrored": bool(mirrored and np.quantile(off, 0.95) > NO_DOUBT_MM),
        "loops_true": len(truth_loops),
        "loops_found": len(found_loops),
        "features": len(features),
        "segments_true": len(segments),
        "segments_found": len(of_id),
        **_long_ones(segments, features, of_label, of_id),
        "dimensions": len(dimensions),
        "unmatched": len(result.get("dimensions", [])) - len(dimensions),
        "coverage": round(float(np.mean(inside)), 3) if inside else None,
        "by_kind": _by_kind(dimensions, inside),
        "u95_median_mm": quantile([d["u95_mm"] for d in dimensions], 0.5),
        "error_over_u95_p95": quantile(ratio, 0.95),
        "scale_off": quantile([d["error_mm"] / d["true_mm"] for d in long], 0.5),
        "scale_off_over_u95": quantile([d["error_mm"] / max(d["u95_mm"], 1e-9) for d in long], 0.5),
        "true_dimensions": len(truth["dimensions"]),
        "true_dimensions_found": len(errors),
        "dimension_p95_mm": quantile([abs(e) for e, v in errors if v <= SHORT_DIMENSION_MM], 0.95),
        "worst": [d for _, d in sorted(zip(ratio, dimensions, strict=True), key=lambda rd: -rd[0])[:3]],
    }


def distances(found: list[Loop], truth: list[Loop]) -> np.ndarray:
    """From points of each boundary, 0.1 mm apart, to the other one."""
    a, b = lines_of(found), lines_of(truth)
    shapely.prepare([a, b])
    there = shapely.distance(shapely.points(spaced(a, 0.1)), b)
    back = shapely.distance(shapely.points(spaced(b, 0.1)), a)
    return np.r_[there, back]


def quantile(values: Any, q: float) -> float | None:
    """Rounded to a tenth of a micrometre; None of nothing."""
    return round(float(np.quantile(values, q)), 4) if len(values) else None


def _dimensions(result: dict[str, Any], segments: dict[str, Segment], of_label: dict[str, str]) -> list[dict[str, Any]]:
    """The result's dimensions whose features lie on true segments, with the truth of each."""
    out = []
    for d in result.get("dimensions", []):
        if not all(label in of_label for label in d["features"]):
            continue
        true = value(d["kind"], [segments[of_label[label]] for label in d["features"]])
        if true is not None:
            out.append(
                {
                    "kind": d["kind"],
                    "features": d["features"],
                    "true_mm": round(true, 4),
                    "value_mm": d["value_mm"],
                    "u95_mm": d["u95_mm"],
                    "error_mm": round(d["value_mm"] - true, 4),
                    "basis": d.get("basis"),
                }
            )
    return out


def _errors_of_true_ones(truth: dict[str, Any], features: Loop, of_id: dict[str, str]) -> list[tuple[float, float]]:
    """Error and size of the truth's own dimensions, as the outline's features give them."""
    by_label = {f["label"]: f for f in features}
    out = []
    for d in truth["dimensions"]:
        if all(i in of_id for i in d["segments"]):
            v = value(d["kind"], [by_label[of_id[i]] for i in d["segments"]])
            if v is not None:
                out.append((v - d["value_mm"], d["value_mm"]))
    return out


def _by_kind(dimensions: list[dict[str, Any]], inside: list[bool]) -> dict[str, list[int]]:
    """Kind of dimension -> how many, and how many of them inside their u95."""
    out: dict[str, list[int]] = {}
    for d, i in zip(dimensions, inside, strict=True):
        n = out.setdefault(d["kind"], [0, 0])
        n[0] += 1
        n[1] += i
    return out


def _long_ones(
    segments: dict[str, Segment], features: Loop, of_label: dict[str, str], of_id: dict[str, str]
) -> dict[str, int]:
    """How many true segments longer than `LONG_MM` there are and were found, at least half of each; and how many
    features of that length lie on no true segment, or are one more on a segment that has its own."""
    length = {i: shapely.LineString(points_of(s)).length for i, s in segments.items()}
    of_feature = {f["label"]: shapely.LineString(points_of(f)).length for f in features}
    covered = dict.fromkeys(segments, 0.0)
    for label, i in of_label.items():
        covered[i] += of_feature[label]
    long = [i for i in segments if length[i] > LONG_MM]
    return {
        "long_true": len(long),
        "long_found": sum(covered[i] >= 0.5 * length[i] for i in long),
        "long_invented": sum(n > LONG_MM and of_id.get(of_label.get(k, "")) != k for k, n in of_feature.items()),
    }

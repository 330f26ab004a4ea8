"""A result against the truth; and the truth's caliper readings with the result's own labels, clean or spoiled.

The result's frame is free: it is laid on the truth by a turn and a shift, never by a mirror or a scale. Distances are
millimetres, both ways between the boundaries.
"""

import csv
import math

import numpy as np
import shapely
from scipy.spatial import cKDTree

from tests.accuracy import shapes as sh

SPOIL = ["unit", "digits", "feature", "plus", "zero"]
NEAR = 0.6  # a feature belongs to a true segment when it lies this close to it on average, mm


# ---------------------------------------------------------------- reading a result
def loops_of(result):
    """Features grouped by loop, in order."""
    out = {}
    for f in result["features"]:
        out.setdefault(f["loop"], []).append(f)
    return [out[k] for k in sorted(out)]


def points_of(segment, hole=False):
    if segment["kind"] == "curve":
        return np.array(segment["points"], float)
    p = sh.flatten_segment(segment, 0.0005, hole)
    return np.vstack([p, p[:1] if segment["kind"] == "circle" else [segment["end"]]])


def lines_of(loops):
    return shapely.MultiLineString([points_of(s) for l in loops for s in l])


def spaced(geometry, step):
    return np.concatenate(
        [
            [g.interpolate(d).coords[0] for d in np.arange(step / 2, g.length, step)] or [g.coords[0]]
            for g in geometry.geoms
        ]
    )


# ---------------------------------------------------------------- laying one on the other
def turned(p, a, t):
    c, s = math.cos(a), math.sin(a)
    return p @ np.array([[c, s], [-s, c]]) + t


def lay(points, truth_points, truth_normals):
    """Best turn and shift of points onto the truth: many starts, then point-to-line steps with the far tail left out."""
    tree = cKDTree(truth_points)
    centre, goal = points.mean(0), truth_points.mean(0)
    starts = []
    for a in np.arange(0, 2 * math.pi, math.radians(6)):
        angle, shift = a, goal - turned(centre[None], a, 0)[0]
        for _ in range(8):
            q = turned(points, angle, shift)
            d, i = tree.query(q)
            m = d <= np.quantile(d, 0.9)
            P, Q = points[m], truth_points[i[m]]
            A, B = P - P.mean(0), Q - Q.mean(0)
            angle = math.atan2((A[:, 0] * B[:, 1] - A[:, 1] * B[:, 0]).sum(), (A * B).sum())
            shift = Q.mean(0) - turned(P.mean(0)[None], angle, 0)[0]
        d, _ = tree.query(turned(points, angle, shift))
        starts.append((np.quantile(d, 0.9), angle, shift))
    starts.sort(key=lambda s: s[0])
    apart = []  # the best few that differ: a near-symmetric part has several good turns
    for s in starts:
        if len(apart) < 8 and all(
            abs((s[1] - o[1] + math.pi) % (2 * math.pi) - math.pi) > math.radians(3) for o in apart
        ):
            apart.append(s)
    best = None
    for _, angle, shift in apart:
        for _ in range(40):
            q = turned(points, angle, shift)
            _, i = tree.query(q)
            n = truth_normals[i]
            r = ((q - truth_points[i]) * n).sum(1)
            m = np.abs(r) <= max(np.quantile(np.abs(r), 0.95), 1e-9)
            J = np.c_[(q[:, 0] * n[:, 1] - q[:, 1] * n[:, 0]), n][m]
            step = np.linalg.lstsq(J, -r[m], rcond=None)[0]
            c, s = math.cos(step[0]), math.sin(step[0])
            angle, shift = (
                angle + step[0],
                np.array([c * shift[0] - s * shift[1], s * shift[0] + c * shift[1]]) + step[1:],
            )
            if np.abs(step).max() < 1e-7:
                break
        laid = turned(points, angle, shift)
        cost = tree.query(laid)[0].mean() + cKDTree(laid).query(truth_points[::20])[0].mean()
        if best is None or cost < best[0]:
            best = (cost, angle, shift)
    return best


def moved(segment, angle, shift, mirror=False):
    f = lambda p: turned(np.array([p], float) * ([-1, 1] if mirror else [1, 1]), angle, shift)[0].tolist()
    out = dict(segment)
    for k in ("start", "end", "centre"):
        if k in out:
            out[k] = f(out[k])
    if "points" in out:
        out["points"] = [f(p) for p in out["points"]]
    if mirror and "turn" in out:
        out["turn"] = "cw" if out["turn"] == "ccw" else "ccw"
    return out


def register(result_loops, truth_loops):
    tl = lines_of(truth_loops)
    tp, tn = [], []
    for g in tl.geoms:
        d = np.arange(0.005, g.length, 0.02)
        p = np.array([g.interpolate(x).coords[0] for x in d]) if len(d) else np.array(g.coords[:1])
        e = np.gradient(p, axis=0) if len(p) > 1 else np.array([[1.0, 0.0]])
        e /= np.maximum(np.linalg.norm(e, axis=1, keepdims=True), 1e-12)
        tp.append(p)
        tn.append(np.c_[e[:, 1], -e[:, 0]])
    tp, tn = np.concatenate(tp), np.concatenate(tn)
    rp = spaced(lines_of(result_loops), 0.4)
    plain = lay(rp, tp, tn)
    other = lay(rp * [-1, 1], tp, tn)
    mirrored = other[0] < 0.5 * plain[0] and plain[0] - other[0] > 0.1
    return plain, mirrored


# ---------------------------------------------------------------- matching features to true segments
def compatible(a, b):
    return a["kind"] == b["kind"] or {a["kind"], b["kind"]} <= {"arc", "circle"}


def match(features, truth_segments):
    """label -> id of the true segment it lies on, and id -> the longest such label."""
    geo = {s["id"]: shapely.LineString(points_of(s)) for s in truth_segments}
    of_label, of_id = {}, {}
    for f in features:
        p = points_of(f)
        g = shapely.LineString(p) if len(p) > 1 else None
        if g is None or g.length == 0:
            continue
        q = [g.interpolate(t, normalized=True) for t in np.linspace(0.05, 0.95, 13)]
        best = min(
            ((np.mean([geo[s["id"]].distance(x) for x in q]), s["id"]) for s in truth_segments if compatible(f, s)),
            default=(9, None),
        )
        if best[0] < NEAR:
            of_label[f["label"]] = best[1]
            if g.length > of_id.get(best[1], (0, None))[0]:
                of_id[best[1]] = (g.length, f["label"])
    return of_label, {k: v[1] for k, v in of_id.items()}


def value(kind, segs):
    """Size of one dimension from one or two segments (features or true ones); None where the kind does not fit."""
    kinds = [s["kind"] for s in segs]
    round_ = lambda k: k in ("arc", "circle")
    if kind == "distance" and kinds == ["line", "line"]:
        return sh.line_distance(*segs)
    if kind == "diameter" and len(segs) == 1 and round_(kinds[0]):
        return 2 * segs[0]["radius"]
    if kind == "radius" and len(segs) == 1 and round_(kinds[0]):
        return segs[0]["radius"]
    if kind == "centres" and len(segs) == 2 and all(map(round_, kinds)):
        return float(np.hypot(*np.subtract(segs[0]["centre"], segs[1]["centre"])))
    if kind == "offset" and sorted(k == "line" for k in kinds) == [False, True]:
        c, l = segs if kinds[1] == "line" else segs[::-1]
        return sh.offset_of(c, l) if round_(c["kind"]) else None
    return None


def quantile(xs, q):
    return round(float(np.quantile(xs, q)), 4) if len(xs) else None


def compare(truth, result):
    truth_loops = [l["segments"] for l in truth["loops"]]
    segs = {s["id"]: s for l in truth_loops for s in l}
    res = loops_of(result)
    (_, angle, shift), mirrored = register(res, truth_loops)
    laid = [[moved(s, angle, shift) for s in l] for l in res]
    a, b = lines_of(laid), lines_of(truth_loops)
    shapely.prepare([a, b])
    there = shapely.distance(shapely.points(spaced(a, 0.1)), b)
    back = shapely.distance(shapely.points(spaced(b, 0.1)), a)
    both = np.r_[there, back]
    features = [f for l in laid for f in l]
    by_label = {f["label"]: f for f in features}
    of_label, of_id = match(features, list(segs.values()))
    dims = []
    for d in result.get("dimensions", []):
        if not all(l in of_label for l in d["features"]):
            continue
        true = value(d["kind"], [segs[of_label[l]] for l in d["features"]])
        if true is None:
            continue
        dims.append(
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
    derived = []
    for d in truth["dimensions"]:
        ids = d["segments"]
        if all(i in of_id for i in ids):
            v = value(d["kind"], [by_label[of_id[i]] for i in ids])
            if v is not None:
                derived.append((v - d["value_mm"], d["value_mm"]))
    short = [abs(e) for e, v in derived if v <= 60]
    inside = [abs(d["error_mm"]) <= d["u95_mm"] for d in dims]
    return {
        "photo": truth["photo"],
        "level": truth.get("level"),
        "p50_mm": quantile(both, 0.5),
        "p95_mm": quantile(both, 0.95),
        "max_mm": quantile(both, 1.0),
        "mirrored": bool(mirrored),
        "loops_true": len(truth_loops),
        "loops_found": len(res),
        "features": len(features),
        "segments_true": len(segs),
        "segments_found": len(of_id),
        "dimensions": len(dims),
        "unmatched": len(result.get("dimensions", [])) - len(dims),
        "coverage": round(float(np.mean(inside)), 3) if inside else None,
        "u95_median_mm": quantile([d["u95_mm"] for d in dims], 0.5),
        "error_over_u95_p95": quantile([abs(d["error_mm"]) / max(d["u95_mm"], 1e-9) for d in dims], 0.95),
        "true_dimensions": len(truth["dimensions"]),
        "true_dimensions_found": len(derived),
        "dimension_p95_mm": quantile(short, 0.95),
        "worst": sorted(dims, key=lambda d: -abs(d["error_mm"]) / max(d["u95_mm"], 1e-9))[:3],
    }


# ---------------------------------------------------------------- readings with the job's labels
def swapped(v):
    """Two neighbouring digits exchanged, so that the value moves by at least 0.3; else the decimal point slipped."""
    text = f"{v:.2f}"
    for i in range(len(text)):
        for j in range(i + 1, min(i + 3, len(text))):
            if text[i].isdigit() and text[j].isdigit() and text[i] != text[j]:
                t = list(text)
                t[i], t[j] = t[j], t[i]
                if abs(float("".join(t)) - v) >= 0.3 and float("".join(t)) > 0.1:
                    return float("".join(t))
    return round(v * 10, 2)


def labelled(truth, result):
    """The truth's readings with the job's labels: rows (kind, labels, value), and each row's number among those that are not a thickness."""
    truth_loops = [l["segments"] for l in truth["loops"]]
    (_, angle, shift), _ = register(loops_of(result), truth_loops)
    features = [moved(f, angle, shift) for f in result["features"]]
    _, of_id = match(features, [s for l in truth_loops for s in l])
    rows, numbers, n = [], [], -1
    for c in truth["caliper"]:
        n += c["kind"] != "thickness"
        if all(i in of_id for i in c["segments"]):
            rows.append((c["kind"], " ".join(of_id[i] for i in c["segments"]), c["reading_mm"]))
            numbers.append(None if c["kind"] == "thickness" else n)
    return rows, numbers


def spoiled(rows, numbers, how, index):
    """The rows with one misreading (or, for zero, one shared by all); None where this job cannot have it."""
    if how == "zero":
        return [(k, f, round(v + 0.30, 2)) for k, f, v in rows]
    if index not in numbers:
        return None
    i = numbers.index(index)
    kind, labels, v = rows[i]
    if how == "feature":
        others = [r[2] for r in rows if abs(r[2] - v) > 0.5 and r[0] != "thickness"]
        if not others:
            return None
        new = others[index % len(others)]
    else:
        new = {"unit": round(v / 25.4, 3), "digits": swapped(v), "plus": round(v + 0.5, 2)}[how]
    return [*rows[:i], (kind, labels, new), *rows[i + 1 :]]


def write(path, rows):
    with open(path, "w", newline="") as f:
        w = csv.writer(f)
        w.writerow(["kind", "features", "value", "unit", "tool", "note"])
        w.writerows([k, l, v, "mm", "caliper", ""] for k, l, v in rows)

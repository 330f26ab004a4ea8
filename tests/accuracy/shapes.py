"""Exact 2-D outlines: loops of lines, arcs and circles in mm (x right, y up, seen from the photographed face).

A segment is the dict that goes into the truth file:
  {"kind": "line",   "start", "end"}
  {"kind": "arc",    "centre", "radius", "start", "end", "turn": "ccw|cw"}
  {"kind": "circle", "centre", "radius"}
  {"kind": "curve",  "points"}                      (fracture lines only)
A loop is a list of segments that join end to end: the outer loop counter-clockwise, holes clockwise,
so material is always on the left of travel.
"""

import math
import numpy as np

TOL = 0.002  # largest deviation of a flattened arc from the true one, mm


# ---------------------------------------------------------------- segments
def line(p, q):
    return {"kind": "line", "start": [float(p[0]), float(p[1])], "end": [float(q[0]), float(q[1])]}


def arc(c, r, p, q, turn):
    return {
        "kind": "arc",
        "centre": [float(c[0]), float(c[1])],
        "radius": float(r),
        "start": [float(p[0]), float(p[1])],
        "end": [float(q[0]), float(q[1])],
        "turn": turn,
    }


def circle(c, r):
    return [{"kind": "circle", "centre": [float(c[0]), float(c[1])], "radius": float(r)}]


def sweep(s):
    """Signed angle of an arc, radians (counter-clockwise positive)."""
    c = np.array(s["centre"])
    a, b = np.array(s["start"]) - c, np.array(s["end"]) - c
    d = (math.atan2(b[1], b[0]) - math.atan2(a[1], a[0])) % (2 * math.pi)
    if s["turn"] == "cw":
        d -= 2 * math.pi
        if d <= -2 * math.pi + 1e-12:
            d = 0.0
    return d


def reverse(loop):
    out = []
    for s in reversed(loop):
        s = dict(s)
        if s["kind"] == "curve":
            s["points"] = s["points"][::-1]
        elif s["kind"] != "circle":
            s["start"], s["end"] = s["end"], s["start"]
            if s["kind"] == "arc":
                s["turn"] = "cw" if s["turn"] == "ccw" else "ccw"
        out.append(s)
    return out


def flatten_segment(s, tol=TOL, cw_circle=False):
    """Points of one segment, its end left out."""
    if s["kind"] == "line":
        return np.array([s["start"]])
    if s["kind"] == "curve":
        return np.array(s["points"][:-1])
    r = s["radius"]
    step = 2 * math.acos(max(1 - tol / r, 0.5))
    c = np.array(s["centre"])
    if s["kind"] == "circle":
        n = max(24, math.ceil(2 * math.pi / step))
        a = np.arange(n) * 2 * math.pi / n * (-1 if cw_circle else 1)
    else:
        d = sweep(s)
        n = max(3, math.ceil(abs(d) / step))
        a0 = math.atan2(s["start"][1] - c[1], s["start"][0] - c[0])
        a = a0 + np.arange(n) * d / n
    return c + r * np.stack([np.cos(a), np.sin(a)], 1)


def flatten(loop, tol=TOL, hole=False):
    return np.concatenate([flatten_segment(s, tol, hole) for s in loop])


def area(pts):
    x, y = pts[:, 0], pts[:, 1]
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


# ---------------------------------------------------------------- builders (all return counter-clockwise loops)
def polygon(vertices):
    """Closed polygon of (x, y, fillet radius) or (x, y) vertices."""
    v = [(*p, 0.0) if len(p) == 2 else p for p in vertices]
    n = len(v)
    cuts = []
    for i in range(n):
        p, a, b = (np.array(v[k][:2], float) for k in (i, i - 1, (i + 1) % n))
        r = v[i][2]
        u, w = (a - p) / np.linalg.norm(a - p), (b - p) / np.linalg.norm(b - p)
        if r <= 0:
            cuts.append((p, p, None))
            continue
        half = math.acos(np.clip(u @ w, -1, 1)) / 2
        d = r / math.tan(half)
        t0, t1 = p + d * u, p + d * w
        bis = (u + w) / np.linalg.norm(u + w)
        turn = "ccw" if (-u[0] * w[1] + u[1] * w[0]) > 0 else "cw"
        cuts.append((t0, t1, arc(p + bis * r / math.sin(half), r, t0, t1, turn)))
    out = []
    for i in range(n):
        if cuts[i][2]:
            out.append(cuts[i][2])
        p, q = cuts[i][1], cuts[(i + 1) % n][0]
        if np.linalg.norm(q - p) > 1e-6:
            out.append(line(p, q))
    assert area(flatten(out)) > 0, "polygon must be counter-clockwise"
    return out


def rounded(w, h, r, centre=(0, 0)):
    x, y = centre
    return polygon(
        [(x - w / 2, y - h / 2, r), (x + w / 2, y - h / 2, r), (x + w / 2, y + h / 2, r), (x - w / 2, y + h / 2, r)]
    )


def belt(pulleys):
    """A belt round pulleys (x, y, radius, side): side +1 turns counter-clockwise round it, -1 clockwise.
    The straight runs are common tangents; radius 0 is a sharp corner."""
    n = len(pulleys)
    runs = []
    for i in range(n):
        (x1, y1, r1, k1), (x2, y2, r2, k2) = pulleys[i], pulleys[(i + 1) % n]
        s1, s2 = r1 * k1, r2 * k2
        dx, dy = x2 - x1, y2 - y1
        al = math.atan2(dy, dx) - math.asin((s2 - s1) / math.hypot(dx, dy))
        nx, ny = -math.sin(al), math.cos(al)
        runs.append((np.array([x1 - s1 * nx, y1 - s1 * ny]), np.array([x2 - s2 * nx, y2 - s2 * ny])))
    out = []
    for i in range(n):
        x, y, r, k = pulleys[i]
        if r > 0:
            out.append(arc((x, y), r, runs[i - 1][1], runs[i][0], "ccw" if k > 0 else "cw"))
        if np.linalg.norm(runs[i][1] - runs[i][0]) > 1e-6:
            out.append(line(*runs[i]))
    return out


def slot(a, b, width):
    return belt([(*a, width / 2, 1), (*b, width / 2, 1)])


def lobed(n, dist, r_out, r_in, phase=0.0):
    """n convex arcs (radius r_out, centres at dist) joined tangentially by n hollows of radius r_in."""
    h = math.pi / n
    e = dist * math.cos(h) + math.sqrt((r_out + r_in) ** 2 - (dist * math.sin(h)) ** 2)
    pol = lambda rad, a: np.array([rad * math.cos(a), rad * math.sin(a)])
    out = []
    for k in range(n):
        a = phase + 2 * h * k
        c, v0, v1 = pol(dist, a), pol(e, a - h), pol(e, a + h)
        t = lambda v: c + (v - c) * r_out / (r_out + r_in)
        c2 = pol(dist, a + 2 * h)
        out.append(arc(c, r_out, t(v0), t(v1), "ccw"))
        out.append(arc(v1, r_in, t(v1), c2 + (v1 - c2) * r_out / (r_out + r_in), "cw"))
    return out


def oval(d, e, r1):
    """Four tangent arcs: ends of radius r1 centred at (+-d, 0), flanks centred at (0, -+e)."""
    r2 = r1 + math.hypot(d, e)
    u = np.array([d, e]) / math.hypot(d, e)
    p = np.array([d, 0]) + r1 * u
    q = [p, p * [-1, 1], -p, p * [1, -1]]
    return [
        arc((d, 0), r1, q[3], q[0], "ccw"),
        arc((0, -e), r2, q[0], q[1], "ccw"),
        arc((-d, 0), r1, q[1], q[2], "ccw"),
        arc((0, e), r2, q[2], q[3], "ccw"),
    ]


def d_hole(r, flat, centre=(0, 0), angle=0.0):
    """A round hole with one flat at distance `flat` from its centre."""
    a = math.acos(flat / r)
    c = np.array(centre, float)
    p = lambda t: c + r * np.array([math.cos(t), math.sin(t)])
    p0, p1 = p(angle + a), p(angle - a)
    return [arc(c, r, p0, p1, "ccw"), line(p1, p0)]


def open_ring(r_out, r_in, gap_deg, tip, stem=None):
    """A C: two concentric arcs over 360 - gap_deg degrees, its ends rounded by radius `tip` = (r_out - r_in) / 2."""
    rm, g = (r_out + r_in) / 2, math.radians(gap_deg) / 2
    t = (r_out - r_in) / 2
    p = lambda rad, a: np.array([rad * math.cos(a), rad * math.sin(a)])
    a0, a1 = g, 2 * math.pi - g
    return [
        arc((0, 0), r_out, p(r_out, a0), p(r_out, a1), "ccw"),
        arc(p(rm, a1), t, p(r_out, a1), p(r_in, a1), "ccw"),
        arc((0, 0), r_in, p(r_in, a1), p(r_in, a0), "cw"),
        arc(p(rm, a0), t, p(r_in, a0), p(r_out, a0), "ccw"),
    ]


def sawtooth(n, r_tip, r_root, f_tip, f_root, lean=0.25):
    v = []
    for k in range(n):
        a = 2 * math.pi * k / n
        w = 2 * math.pi / n
        for rad, off, f in ((r_root, 0.0, f_root), (r_tip, lean * w, f_tip)):
            v.append((rad * math.cos(a + off), rad * math.sin(a + off), f))
    return polygon(v)


def toothed(n, r_tip, r_root, f_tip, f_root, tip_frac=0.35, root_frac=0.35):
    v = []
    w = 2 * math.pi / n
    for k in range(n):
        a = w * k
        for rad, off, f in (
            (r_tip, -tip_frac / 2, f_tip),
            (r_tip, tip_frac / 2, f_tip),
            (r_root, 0.5 - root_frac / 2, f_root),
            (r_root, 0.5 + root_frac / 2, f_root),
        ):
            v.append((rad * math.cos(a + off * w), rad * math.sin(a + off * w), f))
    return polygon(v)


def move(loop, dx=0.0, dy=0.0, deg=0.0):
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    f = lambda p: [c * p[0] - s * p[1] + dx, s * p[0] + c * p[1] + dy]
    out = []
    for g in loop:
        g = dict(g)
        for k in ("start", "end", "centre"):
            if k in g:
                g[k] = f(g[k])
        if "points" in g:
            g["points"] = [f(p) for p in g["points"]]
        out.append(g)
    return out


def cut(s, t0, t1):
    """The piece of a line or arc between the parameters t0 and t1 in 0..1."""
    if s["kind"] == "line":
        p, q = np.array(s["start"]), np.array(s["end"])
        return line(p + t0 * (q - p), p + t1 * (q - p))
    c, d = np.array(s["centre"]), sweep(s)
    a0 = math.atan2(s["start"][1] - c[1], s["start"][0] - c[0])
    f = lambda t: c + s["radius"] * np.array([math.cos(a0 + t * d), math.sin(a0 + t * d)])
    return arc(c, s["radius"], f(t0), f(t1), s["turn"])


def fracture(loop, i, ti, j, tj, rng, rough=0.5, n=14):
    """Break a piece off: everything from segment i at ti forward to segment j at tj is replaced by a jagged line."""
    a, b = cut(loop[i], 0, ti), cut(loop[j], tj, 1)
    p, q = np.array(a["end"]), np.array(b["start"])
    u = (q - p) / np.linalg.norm(q - p)
    t = np.sort(np.r_[0, 1, (np.arange(1, n) + rng.uniform(-0.35, 0.35, n - 1)) / n])
    off = np.cumsum(rng.normal(0, rough, n + 1))
    off -= off[0] + (off[-1] - off[0]) * t
    pts = [list(map(float, p + (q - p) * tt + np.array([-u[1], u[0]]) * o)) for tt, o in zip(t, off)]
    keep, k = [], (j + 1) % len(loop)
    while k != i:
        keep.append(loop[k])
        k = (k + 1) % len(loop)
    return [a, {"kind": "curve", "points": pts}, b] + keep


def label(loops):
    """Number the segments s0, s1, ... over all loops; turn holes clockwise."""
    out, k = [], 0
    for n, loop in enumerate(loops):
        if n and loop[0]["kind"] != "circle" and area(flatten(loop)) > 0:
            loop = reverse(loop)
        segs = []
        for s in loop:
            segs.append({"id": f"s{k}", **s})
            k += 1
        out.append({"loop": n, "segments": segs})
    return out


# ---------------------------------------------------------------- what a person could measure on it
def _unit(s):
    d = np.array(s["end"]) - s["start"]
    return d / np.linalg.norm(d)


def _length(s):
    return float(np.linalg.norm(np.array(s["end"]) - s["start"]))


def _overlap(a, b):
    u = _unit(a)
    pa = sorted([np.dot(a["start"], u), np.dot(a["end"], u)])
    pb = sorted([np.dot(b["start"], u), np.dot(b["end"], u)])
    return min(pa[1], pb[1]) - max(pa[0], pb[0])


def _reach(a, b):
    """The two lines' common stretch, as a share of the shorter one."""
    return _overlap(a, b) / min(_length(a), _length(b))


def line_distance(a, b):
    """Distance between two parallel lines, square to the first, at their middles."""
    u = _unit(a)
    m = (np.array(b["start"]) + b["end"]) / 2 - (np.array(a["start"]) + a["end"]) / 2
    return float(abs(u[0] * m[1] - u[1] * m[0]))


def offset_of(c, l):
    u, m = _unit(l), np.array(c["centre"]) - l["start"]
    return float(abs(u[0] * m[1] - u[1] * m[0]))


def dimensions(loops, limit=14):
    """True dimensions, a mix of every kind that the outline offers."""
    segs = [(l["loop"], s) for l in loops for s in l["segments"]]
    lines = [(n, s) for n, s in segs if s["kind"] == "line" and _length(s) > 1.0]
    arcs = [(n, s) for n, s in segs if s["kind"] == "arc"]
    circs = [(n, s) for n, s in segs if s["kind"] == "circle"]
    round_ = circs + [(n, s) for n, s in arcs if abs(sweep(s)) > math.radians(100) and s["radius"] > 1]
    par = [
        (a, b)
        for i, (_, a) in enumerate(lines)
        for _, b in lines[i + 1 :]
        if abs(abs(_unit(a) @ _unit(b)) - 1) < 1e-9 and line_distance(a, b) > 0.5
    ]
    par.sort(key=lambda p: -min(_length(p[0]), _length(p[1])))
    seen, dist = set(), []
    for a, b in par:
        v = round(line_distance(a, b), 6)
        if v not in seen:
            seen.add(v)
            dist.append({"kind": "distance", "segments": [a["id"], b["id"]], "value_mm": v})
    diam = [{"kind": "diameter", "segments": [s["id"]], "value_mm": round(2 * s["radius"], 6)} for _, s in circs]
    rad, seen = [], set()
    for _, s in sorted(arcs, key=lambda p: -p[1]["radius"] * abs(sweep(p[1]))):
        if round(s["radius"], 4) not in seen:
            seen.add(round(s["radius"], 4))
            rad.append({"kind": "radius", "segments": [s["id"]], "value_mm": round(s["radius"], 6)})
    cen = []
    for i, (_, a) in enumerate(round_):
        for _, b in round_[i + 1 :]:
            d = float(np.hypot(a["centre"][0] - b["centre"][0], a["centre"][1] - b["centre"][1]))
            if d > 0.5:
                cen.append({"kind": "centres", "segments": [a["id"], b["id"]], "value_mm": round(d, 6)})
    off = []
    for _, c in round_:
        for _, l in sorted(lines, key=lambda p: -_length(p[1]))[:4]:
            if offset_of(c, l) > 0.5:
                off.append({"kind": "offset", "segments": [c["id"], l["id"]], "value_mm": round(offset_of(c, l), 6)})
    pools, out = [dist, diam, cen, rad, off], []
    while len(out) < limit and any(pools):
        for p in pools:
            if p and len(out) < limit:
                out.append(p.pop(0))
    return out


def caliper(loops, thickness, rng, opening=False, limit=8):
    """Readings that jaws can really take, each true + N(0, 0.015 mm) rounded to 0.01."""
    segs = [(l["loop"], s) for l in loops for s in l["segments"]]
    lines = [s for _, s in segs if s["kind"] == "line" and _length(s) > 2.5]
    holes = [s for n, s in segs if s["kind"] == "circle" and (n > 0 or opening) and s["radius"] >= 1.2]
    pools = {k: [] for k in ("width", "gap", "bore", "boss", "web", "span", "radius", "thickness")}
    for i, a in enumerate(lines):
        for b in lines[i + 1 :]:
            u, w = _unit(a), _unit(b)
            if u @ w > -1 + 1e-9 or _reach(a, b) < 0.3 or _overlap(a, b) < 2 or line_distance(a, b) < 1:
                continue
            m = (np.array(b["start"]) + b["end"]) / 2 - (np.array(a["start"]) + a["end"]) / 2
            inward = np.array([-u[1], u[0]]) @ m > 0  # material on the left of travel
            if opening:
                inward = not inward
            pools["width" if inward else "gap"].append(
                (min(_length(a), _length(b)), [a["id"], b["id"]], line_distance(a, b))
            )
    for s in holes:
        pools["bore"].append((s["radius"], [s["id"]], 2 * s["radius"]))
    for n, s in segs:
        big = s["kind"] == "circle" or (
            s["kind"] == "arc" and s["turn"] == "ccw" and abs(sweep(s)) >= math.radians(179.9)
        )
        if n == 0 and not opening and big:
            pools["boss"].append((s["radius"], [s["id"]], 2 * s["radius"]))
        if opening and s["kind"] == "arc" and abs(sweep(s)) >= math.pi:
            pools["bore"].append((s["radius"], [s["id"]], 2 * s["radius"]))
        if s["kind"] == "arc" and 2 <= s["radius"] <= 25 and abs(sweep(s)) > math.radians(40) and not big:
            pools["radius"].append((s["radius"], [s["id"]], s["radius"]))
    for i, a in enumerate(holes):
        for b in holes[i + 1 :]:
            d = float(np.hypot(a["centre"][0] - b["centre"][0], a["centre"][1] - b["centre"][1]))
            if d - a["radius"] - b["radius"] > 1:
                pools["web"].append((d, [a["id"], b["id"]], d - a["radius"] - b["radius"]))
                pools["span"].append((d, [a["id"], b["id"]], d + a["radius"] + b["radius"]))
        for l in lines:
            if l["id"] in {s["id"] for s in loops[0]["segments"]}:
                u = _unit(l)
                t = (np.array(a["centre"]) - l["start"]) @ u
                w = offset_of(a, l) - a["radius"]
                if 0 < t < _length(l) and 1 < w < 25:
                    pools["web"].append((-w, [a["id"], l["id"]], w))
    if not opening:
        pools["thickness"].append((1, [], thickness))
    for p in pools.values():
        p.sort(key=lambda e: -e[0])
    out = []
    while len(out) < limit and any(pools.values()):
        for k in ("thickness", "width", "bore", "boss", "gap", "web", "span", "radius"):
            if pools[k] and len(out) < limit:
                _, ids, v = pools[k].pop(0)
                if any(o["kind"] == k and abs(o["true_mm"] - v) < 1e-6 for o in out):
                    continue
                out.append(
                    {
                        "kind": k,
                        "segments": ids,
                        "true_mm": round(v, 5),
                        "reading_mm": round(v + rng.normal(0, 0.015), 2),
                    }
                )
    return out

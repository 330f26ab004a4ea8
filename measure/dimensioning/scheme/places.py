"""Overall sizes, widths across centre lines, and places from the datums."""

from __future__ import annotations

import math

from measure.dimensioning.scheme import relations as rel
from measure.dimensioning.scheme.groups import MORE_THAN_HALF, in_line
from measure.dimensioning.scheme.holes import equal
from measure.dimensioning.scheme.scheme import Scheme
from measure.geometry.features import Feature, is_round, length, sweep_rad

SLACK_MM, SAME_PLACE_MM, SAME_CENTRE_MM = 0.3, 0.05, 0.2
"""Beyond the tolerance that a place at the rim may be off; places, and centres, that are one (chosen)."""


def tie_frame(scheme: Scheme) -> None:
    """Tie the drawing's horizontal to the part where no edge and no axis does."""
    if scheme.lines[True] or scheme.lines[False] or scheme.axes:
        return
    pairs = [(a, b) for i, a in enumerate(scheme.rounds) for b in scheme.rounds[i + 1 :]]
    for a, b in pairs:
        up = scheme.upright_or_none(a, b)
        if up is not None and math.dist(a.centre, b.centre) > 0.5:
            rel.level(scheme.free, a.label, b.label, not up)
            return
    scheme.free.pin(rel.FRAME, 1)


def overall(scheme: Scheme) -> None:
    """Overall sizes between straight edges."""
    for up in (True, False):
        k = 0 if up else 1
        outer = [r for r in ([f for f in row if f.loop == 0] for row in scheme.rows[up]) if r]
        if len(outer) < 2:
            continue
        first, last = (max(r, key=length) for r in (outer[0], outer[-1]))
        slack = SLACK_MM + scheme.tolerance
        if scheme.across(first, up) - scheme.low[k] < slack and scheme.high[k] - scheme.across(last, up) < slack:
            scheme.linear("distance", first, last, up)
            scheme.overall.add((first.label, last.label))


def levels(scheme: Scheme) -> None:
    """Centres in one line share one dimension."""
    for up in (True, False):
        for row in in_line([(scheme.across(f, up), f) for f in scheme.rounds], scheme.tolerance):
            apart = [f for n, f in enumerate(row) if not any(_same_centre(f, g) for g in row[:n])]
            before = scheme.free.rank
            for a, b in rel.chain(f.label for f in apart):
                rel.level(scheme.free, a, b, up)
            if len(apart) > 1 and (scheme.free.rank > before or not scheme.axes):
                scheme.shared.append((up, tuple(f.label for f in apart)))


def mirror_widths(scheme: Scheme, up: bool) -> None:
    """Widths across an upright (up) or level centre line."""
    for axis in scheme.axes:
        if scheme.upright(axis.angle_rad) != up:
            continue
        pairs = [(scheme.features[i], scheme.features[j]) for i, j in enumerate(axis.partner) if j > i]
        pairs.sort(key=lambda p: (p[0].kind == "line", -abs(scheme.across(p[0], up) - scheme.across(p[1], up))))
        for a, b in pairs:
            if a in scheme.lines[up]:
                scheme.linear("distance", a, b, up)
            elif a in scheme.rounds:
                scheme.linear("centres", a, b, up)


def round_ends(scheme: Scheme) -> None:
    """Radii of round ends."""
    ends = scheme.slot_ends()
    half = [f for f in scheme.rounds if f.kind == "arc" and f.label not in ends]
    equal(scheme, [f for f in half if abs(sweep_rad(f)) <= MORE_THAN_HALF], "radius")


def positions(scheme: Scheme) -> None:
    """Centres from the datum edges, or from the largest round where there are none."""
    ends = scheme.slot_ends()
    order = sorted(scheme.rounds, key=lambda f: (f.kind != "circle", f.label not in ends, _reach(scheme, f)))
    for f in order:
        for up in (True, False):
            datum = scheme.datum[up]
            if datum:
                scheme.linear("offset", f, datum[0], up)
            elif scheme.main is not None and f is not scheme.main:
                from_main(scheme, f, up)


def _reach(scheme: Scheme, f: Feature) -> float:
    """How far a centre lies from where it is measured from."""
    out = 0.0
    for up in (True, False):
        base = scheme.datum[up][0] if scheme.datum[up] else scheme.main
        out += abs(scheme.across(f, up) - scheme.across(base, up)) if base is not None else 0.0
    return out


def from_main(scheme: Scheme, f: Feature, up: bool) -> None:
    """A centre from the largest round's, measured level (up) or upright."""
    main = scheme.main
    if main is None or abs(scheme.across(f, up) - scheme.across(main, up)) < SAME_PLACE_MM:
        return
    side = scheme.upright_or_none(main, f)
    if side is not None:
        if side == up:
            scheme.linear("centres", main, f, up)
        return
    kind, by = _rule(scheme, up)
    if kind:
        labels = (main.label, f.label, *by) if len(by) == 1 else (*by, main.label, f.label)
        scheme.linear(kind, main, f, up, labels)


def _rule(scheme: Scheme, up: bool) -> tuple[str, tuple[str, ...]]:
    """A kind of size, and what it is parallel or square to, for places measured level (up) or upright."""
    for lines, kind in ((scheme.lines[not up], "along"), (scheme.lines[up], "across")):
        if lines:
            return kind, (max(lines, key=length).label,)
    for i, a in enumerate(scheme.rounds):
        for b in scheme.rounds[i + 1 :]:
            if math.dist(a.centre, b.centre) > 2:
                side = scheme.upright_or_none(a, b)
                if side is not None:
                    return "run" if side == up else "rise", (a.label, b.label)
    return "", ()


def edges(scheme: Scheme) -> None:
    """Level and upright edges from the datum edges."""
    for up in (True, False):
        datum = scheme.datum[up]
        rows = scheme.rows[up] if not datum else [r for r in scheme.rows[up] if datum[0] not in r]
        for row in rows:
            f = max(row, key=lambda f: (f.loop == 0, length(f)))
            if datum:
                scheme.linear("distance", f, datum[0], up)
            elif scheme.main is not None:
                scheme.linear("offset", scheme.main, f, up)


def fillets(scheme: Scheme) -> None:
    """Radii of fillets."""
    ends = scheme.slot_ends()
    arcs = [f for f in scheme.features if f.kind == "arc" and f not in scheme.rounds and f.label not in ends]
    if scheme.toothed:  # the table has one tooth
        arcs = [f for f in arcs if f.label not in scheme.teeth]
    equal(scheme, arcs, "radius")


def _same_centre(a: Feature, b: Feature) -> bool:
    return is_round(a) and is_round(b) and math.dist(a.centre, b.centre) < SAME_CENTRE_MM

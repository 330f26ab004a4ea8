"""The census in figures: rows of `tests.accuracy.census` -> Markdown."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.accuracy.census import Row

WRONG_MM, GROSS_MM = 0.15, 0.4
"""An outline is wrong where the 95th percentile of its distance from the truth, both ways, is above this; gross."""
LEVELS = ("guide", "ordinary", "rough")
OLD_LEVELS = ("easy", "ordinary", "hard")
TEETH_FROM = 41
"""Segments from which an outline without a name counts as toothed."""
STRAIGHT_ABOVE_DEG = 3.0
PHOTOGRAPHED = ("brick", "grass", "gravel", "newsprint")
STAGES = (("trace", "alone"), ("measured", "with readings"))
STEPPED = "stepped-face"
"""A caution that says what is so, where the face has steps."""

Aim = tuple[str, str, str]
AIMS: dict[str, Aim] = {
    "refused": ("4 %", "8 %", "20 %"),
    "wrong, photo alone": ("3 %", "6 %", "12 %"),
    "wrong, with readings": ("2 %", "4 %", "8 %"),
    "gross and no caution": ("0", "0", "1 %"),
    "silent wrong": ("0.5 %", "1 %", "3 %"),
    "median p95, photo alone, mm": ("0.035", "0.05", "0.07"),
    "median p95, with readings, mm": ("0.018", "0.025", "0.04"),
}
"""What is aimed at, per cent or mm, at the three levels; invented, from what a first print needs to fit."""


@dataclass(frozen=True)
class Ratio:
    """So many of so many."""

    hits: int
    of: int

    def __str__(self) -> str:
        return f"{100 * self.hits / self.of:.1f} % of {self.of}" if self.of else "–"


def drawn(rows: Iterable[Row], stage: str = "trace") -> list[Row]:
    """Those with an outline."""
    return [r for r in rows if r.get("rc") == 0 and r.get(stage, {}).get("p95_mm") is not None]


def p95(rows: Iterable[Row], stage: str = "trace") -> list[float]:
    """Each outline's distance from the truth, mm."""
    return [r[stage]["p95_mm"] for r in drawn(rows, stage)]


def share(rows: Sequence[Row], is_so: Callable[[Row], bool]) -> Ratio:
    """Of how many something is so."""
    return Ratio(sum(map(is_so, rows)), len(rows))


def beyond(rows: Sequence[Row], limit: float, stage: str = "trace") -> Ratio:
    """How many outlines are farther off than a limit."""
    return share(drawn(rows, stage), lambda r: r[stage]["p95_mm"] > limit)


def refused(rows: Sequence[Row]) -> Ratio:
    """How many photos gave no outline."""
    return share(rows, lambda r: r["rc"] != 0)


def warned(row: Row) -> bool:
    """Whether a caution stands beside the outline; that a face has steps is none where it has."""
    return any(c["code"] != STEPPED or not row["scene"].get("raised_mm") for c in row["cautions"])


def silent(rows: Sequence[Row], limit: float) -> Ratio:
    """How many outlines are off and nothing says so."""
    return share(drawn(rows), lambda r: r["trace"]["p95_mm"] > limit and not r["cautions"])


def inside(rows: Iterable[Row], stage: str, kind: str | None = None) -> Ratio:
    """Dimensions whose truth lies inside their u95."""
    hits = of = 0
    for r in drawn(rows, stage):
        for k, (n, i) in r[stage].get("by_kind", {}).items():
            if kind in (None, k):
                of, hits = of + n, hits + i
    return Ratio(hits, of)


def scale_inside(rows: Sequence[Row]) -> Ratio:
    """Outlines whose long sizes are off, at the median, by no more than what is said of the scale."""
    done = [r for r in drawn(rows) if r["trace"].get("scale_off") is not None and "scale_u95" in r]
    return share(done, lambda r: abs(r["trace"]["scale_off"]) <= r["scale_u95"])


def holes_wrong(rows: Sequence[Row]) -> Ratio:
    """Outlines with a hole missed or invented."""
    return share(drawn(rows), lambda r: r["trace"]["loops_found"] != r["trace"]["loops_true"])


def false_alarms(rows: Iterable[Row]) -> Ratio:
    """Good readings that were called suspect."""
    done = [r for r in rows if "readings" in r]
    return Ratio(sum(r["false_alarms"] for r in done), sum(r["readings"] for r in done))


def toothed(row: Row) -> bool:
    """Whether an outline has teeth."""
    body = row["scene"].get("body")
    return body == "teeth" if body else row.get("segments", 0) >= TEETH_FROM


def report(rows: Sequence[Row], *, worst: int = 20) -> str:
    """Everything, as Markdown."""
    failed = [r for r in rows if "failed" in r]
    rows = [r for r in rows if "rc" in r]
    levels = OLD_LEVELS if any(r["level"] in ("easy", "hard") for r in rows) else LEVELS
    by_level = {k: [r for r in rows if r["level"] == k] for k in levels}
    parts = [
        _by_level(by_level),
        _by_kind(by_level),
        _by_group(rows),
        _causes(rows),
        _worst(rows, worst),
        *(f"did not run: {r['name']}: {' '.join(r['failed'].split())[-200:]}" for r in failed),
    ]
    return "\n\n".join(p for p in parts if p)


def _table(head: Sequence[str], lines: Iterable[Sequence[object]]) -> str:
    rows = [head, ["---"] * len(head), *lines]
    return "\n".join("| " + " | ".join(str(c) for c in r) + " |" for r in rows)


def _median(values: Sequence[float]) -> str:
    return f"{np.median(values):.3f}" if values else "–"


def _by_level(by_level: dict[str, list[Row]]) -> str:
    figures: dict[str, Callable[[list[Row]], object]] = {
        "photos": len,
        "refused": refused,
        "readings refused": lambda r: share(drawn(r), lambda x: bool(x.get("rc_reconcile"))),
        "wrong, photo alone": lambda r: beyond(r, WRONG_MM),
        "wrong, with readings": lambda r: beyond(r, WRONG_MM, "measured"),
        "gross and no caution": lambda r: silent(r, GROSS_MM),
        "silent wrong": lambda r: silent(r, WRONG_MM),
        "median p95, photo alone, mm": lambda r: _median(p95(r)),
        "median p95, with readings, mm": lambda r: _median(p95(r, "measured")),
        "inside u95, photo alone": lambda r: inside(r, "trace"),
        "inside u95, with readings": lambda r: inside(r, "measured"),
        "scale inside its ±": scale_inside,
        "median u95, photo alone, mm": lambda r: _median([v for x in drawn(r) if (v := x["trace"]["u95_median_mm"])]),
        "holes missed or invented": holes_wrong,
        "cautions on right outlines": lambda r: share(
            [x for x in drawn(r) if x["trace"]["p95_mm"] <= WRONG_MM], warned
        ),
        "wrong outlines with a caution": lambda r: share(
            [x for x in drawn(r) if x["trace"]["p95_mm"] > WRONG_MM], lambda x: bool(x["cautions"])
        ),
        "good readings flagged": false_alarms,
        "segments over 1 mm found": lambda r: _segments(r, "long_found"),
        "invented, over 1 mm": lambda r: _segments(r, "long_invented"),
        "mirrored": lambda r: share(drawn(r), lambda x: x["trace"]["mirrored"]),
        "defects": lambda r: share(r, lambda x: x["defect"]),
    }
    aims = {k: dict(zip(LEVELS, v, strict=True)) for k, v in AIMS.items()}
    lines = []
    for words, figure in figures.items():
        line = [words]
        for level, rows in by_level.items():
            aim = aims.get(words, {}).get(level)
            line.append(f"{figure(rows)}{f' (≤ {aim})' if aim else ''}")
        lines.append([*line, figure([r for rows in by_level.values() for r in rows])])
    return _table(["", *by_level, "all"], lines)


def _segments(rows: Sequence[Row], which: str) -> Ratio:
    done = [r["trace"] for r in drawn(rows) if "long_true" in r["trace"]]
    return Ratio(sum(t[which] for t in done), sum(t["long_true"] for t in done))


def _by_kind(by_level: dict[str, list[Row]]) -> str:
    every = [r for rows in by_level.values() for r in rows]
    kinds = sorted({k for r in drawn(every) for k in r["trace"].get("by_kind", {})})
    head = ["inside u95", *(f"{k}, {words}" for k in by_level for _, words in STAGES)]
    lines = [[k, *(inside(rows, s, k) for rows in by_level.values() for s, _ in STAGES)] for k in kinds]
    return _table(head, lines)


def _by_group(rows: Sequence[Row]) -> str:
    """The same figures of what might be harder than the rest."""
    groups: dict[str, Callable[[Row], bool]] = {
        "teeth": toothed,
        "no teeth": lambda r: not toothed(r),
        "openings": lambda r: r["subject"] == "opening",
        "sharp rims": lambda r: not r["rim"],
        "rounded rims": lambda r: bool(r["rim"]) and r["rim_form"] == "round",
        "chamfers": lambda r: bool(r["rim"]) and r["rim_form"] == "chamfer",
        f"tilt under {STRAIGHT_ABOVE_DEG:.0f}°": lambda r: r["tilt"] < STRAIGHT_ABOVE_DEG,
        "sharpened by the phone": lambda r: bool(r["scene"].get("sharpen")),
        "photographed grounds": lambda r: r["scene"].get("table") in PHOTOGRAPHED,
        "shadow of hand or phone": lambda r: bool(r["scene"].get("shade")),
        "reflections": lambda r: bool(r["scene"].get("glare")),
        "printed layers": lambda r: bool(r["scene"].get("printed")),
        "raised figures": lambda r: bool(r["scene"].get("raised_mm")),
    }
    lines = []
    for words, belongs in groups.items():
        those = [r for r in rows if belongs(r)]
        lines += [_line(words, those)] if those else []
        told = [_told(r) for r in those if "told" in r]
        lines += [_line(f"{words}, told", told)] if told and "rim" in f"{words} chamfer" and those[0]["rim"] else []
    head = ["", "photos", "refused", "wrong alone", "with readings", "silent wrong", "median p95", "with readings"]
    return _table([*head, "inside u95", "with readings", "scale inside", "holes wrong", "good readings flagged"], lines)


def _told(row: Row) -> Row:
    return {k: row[k] for k in ("name", "level", "subject", "scene", "rim", "rim_form", "tilt")} | row["told"]


def _line(words: str, rows: Sequence[Row]) -> list[object]:
    return [
        words,
        len(rows),
        refused(rows),
        beyond(rows, WRONG_MM),
        beyond(rows, WRONG_MM, "measured"),
        silent(rows, WRONG_MM),
        _median(p95(rows)),
        _median(p95(rows, "measured")),
        inside(rows, "trace"),
        inside(rows, "measured"),
        scale_inside(rows),
        holes_wrong(rows),
        false_alarms(rows),
    ]


def _causes(rows: Sequence[Row]) -> str:
    """What was said of refused photos, and which cautions stand where."""
    said = Counter((r["said"].splitlines() or ["(nothing)"])[-1][:140] for r in rows if r["rc"])
    lines = [f"- refused {n}: {words}" for words, n in said.most_common()]
    codes = sorted({c["code"] for r in drawn(rows) for c in r["cautions"]})
    for code in codes:
        those = [r for r in drawn(rows) if any(c["code"] == code for c in r["cautions"])]
        right = sum(r["trace"]["p95_mm"] <= WRONG_MM for r in those)
        lines.append(f"- caution `{code}`: on {len(those)}, {right} of them right")
    return "\n".join(lines)


def _worst(rows: Sequence[Row], most: int) -> str:
    worst = sorted((r for r in drawn(rows)), key=lambda r: -r["trace"]["p95_mm"])[:most]
    lines = []
    for r in worst:
        t, m = r["trace"], r.get("measured", {}).get("p95_mm", math.nan)
        if t["p95_mm"] <= WRONG_MM:
            break
        says = ", ".join(c["code"] for c in r["cautions"]) or "silent"
        lines.append(
            f"- {r['name']} ({r['level']}, {r['subject']}, {r['scene'].get('table', '')}, {r['rim_form']}): alone "
            f"{t['p95_mm']:.2f} (half {t['p50_mm']:.2f}, most {t['max_mm']:.2f}), with readings {m:.2f}; loops "
            f"{t['loops_found']}/{t['loops_true']}, segments {t['segments_found']}/{t['segments_true']}; {says}"
        )
    return "\n".join(lines)

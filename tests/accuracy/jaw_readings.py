"""The truth's caliper readings with a result's own labels, clean or spoiled in the ways that people misread."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

from tests.accuracy.laying import loops_of, moved, register
from tests.accuracy.score import match

SPOIL = ("unit", "digits", "feature", "plus", "zero")
Row = tuple[str, str, float]
"""Kind, labels with blanks between them, value in mm."""


def labelled(truth: dict[str, Any], result: dict[str, Any]) -> tuple[list[Row], list[int | None]]:
    """The truth's readings with the result's labels, and each one's number among those that are not a thickness.

    A reading on a feature that the result does not have is left out.
    """
    truth_loops = [loop["segments"] for loop in truth["loops"]]
    laid, _ = register(loops_of(result), truth_loops)
    features = [moved(f, laid) for f in result["features"]]
    _, of_id = match(features, [s for loop in truth_loops for s in loop])
    rows: list[Row] = []
    numbers: list[int | None] = []
    n = -1
    for c in truth["caliper"]:
        n += c["kind"] != "thickness"
        if all(i in of_id for i in c["segments"]):
            rows.append((c["kind"], " ".join(of_id[i] for i in c["segments"]), c["reading_mm"]))
            numbers.append(None if c["kind"] == "thickness" else n)
    return rows, numbers


def spoiled(rows: list[Row], numbers: list[int | None], how: str, index: int) -> list[Row] | None:
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
        new = {"unit": round(v / 25.4, 3), "digits": _swapped(v), "plus": round(v + 0.5, 2)}[how]
    return [*rows[:i], (kind, labels, new), *rows[i + 1 :]]


def write(path: Path, rows: list[Row]) -> None:
    """A readings file."""
    with open(path, "w", newline="") as f:
        w = csv.writer(f)
        w.writerow(["kind", "features", "value", "unit", "tool", "note"])
        w.writerows([k, labels, v, "mm", "caliper", ""] for k, labels, v in rows)


def _swapped(v: float) -> float:
    """Two digits exchanged, so that the value moves by at least 0.3; else the decimal point slipped."""
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

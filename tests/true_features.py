"""The true outline of a truth file as features."""

from __future__ import annotations

from typing import Any

from measure.geometry.features import Feature

FIELDS = ("start", "end", "centre", "radius", "turn")


def true_feature(segment: dict[str, Any], loop: int) -> Feature:
    """One true segment."""
    return Feature("E1", segment["kind"], loop, **{k: segment[k] for k in FIELDS if k in segment})


def true_features(truth: dict[str, Any]) -> list[Feature]:
    """All true segments, in the truth's own frame."""
    return [true_feature(s, loop["loop"]) for loop in truth["loops"] for s in loop["segments"]]

"""The true outline of a truth file as features."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from measure.geometry.features import OF_KIND, Feature


def true_feature(segment: dict[str, Any], loop: int) -> Feature:
    """One true segment."""
    of_kind = OF_KIND[segment["kind"]]
    own = {f.name for f in fields(of_kind)} & segment.keys() - {"label", "loop"}  # type: ignore[arg-type]
    return of_kind("E1", loop, **{k: segment[k] for k in own})


def true_features(truth: dict[str, Any]) -> list[Feature]:
    """All true segments, in the truth's own frame."""
    return [true_feature(s, loop["loop"]) for loop in truth["loops"] for s in loop["segments"]]

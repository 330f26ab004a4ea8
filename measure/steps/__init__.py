"""The steps of a job, from folder to folder: each reads what it needs, computes everything, and only then writes.

trace       photo, or several              -> trace.json, trace.png, outline.dxf, trace-photo.jpg, trace-view.json
complete    trace.json                     -> trace.json, trace-seen.json, outline.dxf, where the part is broken
read        words or a file                -> readings.csv
reconcile   trace.json, readings.csv       -> measured.json
sketch      measured.json                  -> sketch.dxf, sketch.svg, sketch.pdf
draw        all of them in turn
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.reference.found import Caution


@dataclass(frozen=True, slots=True)
class Done:
    """What a step did.

    Attributes:
        step: its name.
        files: what it wrote.
        lines: for people.
        result: for scripts; plain JSON values.
        cautions: what a person should know although the result holds.
    """

    step: str
    files: tuple[Path, ...]
    lines: tuple[str, ...]
    result: Mapping[str, Any] = field(default_factory=dict)
    cautions: tuple[Caution, ...] = ()


def counted(n: int, word: str) -> str:
    """A number with its noun: 1 reading, 2 readings."""
    return f"{n} {word}{'' if n == 1 else 's'}"


def listed(words: Sequence[str]) -> str:
    """Words as in a sentence: a, b and c."""
    return " and ".join((", ".join(words[:-1]), words[-1])) if len(words) > 1 else words[0]

"""How often breaks are found, or asked for; and how often a whole part is asked about.

    python -m tests.accuracy.suspected [--photos DIR]

Whole: the true outlines beside this file, and those of a folder of photos, which are traced too. Torn: a piece broken
off the same true outlines, seen through noise alone.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from calib.errors import JawlineError
from calib.photo.photo import load
from measure.broken.suspected import suspected
from measure.geometry.features import Feature
from measure.tracing.request import Request
from measure.tracing.tracing import trace
from tests.torn_outlines import STYLES, fitted, outside, torn
from tests.true_features import true_feature

HERE = Path(__file__).parent
WHOLE = [p for p in sorted((HERE / "photos").glob("*.truth.json")) if "broken" not in p.stem]


def verdict(features: Sequence[Feature]) -> str:
    """What is said of an outline: broken, asked, or nothing."""
    found = suspected(features)
    if any(s.plain for s in found):
        return "found"
    return "asked" if found else "nothing"


def as_true(path: Path) -> tuple[Feature, ...]:
    """The features of a true outline."""
    return tuple(replace(true_feature(s, 0), label=s["id"]) for s in outside(path))


def of_torn(style: str, paths: Sequence[Path], seed: int = 7) -> Counter[str]:
    """What is said of true outlines with a piece broken off."""
    out: Counter[str] = Counter()
    for n, path in enumerate(paths):
        rng = np.random.default_rng((seed, n))
        broken = torn(outside(path), style, rng)
        if broken is not None:
            out[verdict(fitted(broken, rng))] += 1
    return out


def of_photos(folder: Path) -> Counter[str]:
    """What is said of photos of whole parts."""
    out: Counter[str] = Counter()
    for path in sorted(folder.glob("*.truth.json")):
        truth = json.loads(path.read_text())
        try:
            seen = trace(load(folder / truth["photo"]), Request(truth["thickness_mm"], truth["subject"]))
        except JawlineError:
            out["refused"] += 1
            continue
        out[verdict(seen.estimate.features)] += 1
    return out


def main() -> None:
    """Print the counts."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--photos", type=Path)
    folder = asked.parse_args().photos
    paths = [*WHOLE, *(sorted(folder.glob("*.truth.json")) if folder else ())]
    print(f"{'whole, true outlines':24} {dict(Counter(verdict(as_true(p)) for p in paths))}")
    for style in STYLES:
        print(f"{'torn, ' + style:24} {dict(of_torn(style, paths))}")
    if folder:
        print(f"{'whole, photos':24} {dict(of_photos(folder))}")


if __name__ == "__main__":
    main()

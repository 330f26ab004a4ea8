"""What several photos of a part gain over one: against the truth, and in simulation.

    python -m tests.accuracy.several [PHOTO PHOTO …] [--pairs N]

The photos have NAME.truth.json beside them and show one part; by default the repository's own, which show it from two
places and from its other face. The simulation draws pairs of photos with errors of a known covariance.
"""

import argparse
import json
from pathlib import Path

import numpy as np

from calib.photo.photo import load
from measure.adjustment.least_squares import chi2_limit
from measure.geometry.dimensions import list_dimensions, size_of
from measure.geometry.motion import Motion
from measure.job import records
from measure.several.several import TracedPhoto, combined, shown
from measure.tracing.request import Request
from measure.tracing.tracing import trace
from measure.tracing.values import Trace
from tests.accuracy.score import compare
from tests.simulated_parts import parts
from tests.simulated_sightings import made_one, pair

HERE = Path(__file__).parent
OWN = (HERE / "photos/vent-latch.jpg", HERE / "pairs/vent-latch-b.jpg", HERE / "pairs/vent-latch-m.jpg")


def main() -> None:
    """Print both tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photos", nargs="*", type=Path, default=OWN)
    parser.add_argument("--pairs", type=int, default=200, help="simulated pairs")
    wanted = parser.parse_args()
    against_truth(wanted.photos)
    simulated(wanted.pairs)


def against_truth(paths: list[Path]) -> None:
    """Each photo alone, the first with each of the others, and all together."""
    truths = {p.name: json.loads(p.with_suffix(".truth.json").read_text()) for p in paths}
    photos = []
    for p in paths:
        photo, truth = load(p), truths[p.name]
        photos.append(shown(photo, trace(photo, Request(truth["thickness_mm"], truth["subject"]))))
        line([photos[-1]], photos[-1].trace, truth)
    groups = [[photos[0], p] for p in photos[1:]] + ([photos] if len(photos) > 2 else [])
    for group in groups:
        line(group, combined(group).trace, truths[paths[0].name])


def line(group: list[TracedPhoto], found: Trace, truth: dict) -> None:
    """One line of the table."""
    features = [records.feature_record(f).model_dump(exclude_none=True) for f in found.estimate.features]
    dimensions = [records.dimension_record(d).model_dump() for d in list_dimensions(found.estimate)]
    s = compare(truth, json.loads(json.dumps({"features": features, "dimensions": dimensions})))
    print(
        f"{' + '.join(Path(p.name).stem for p in group):44} boundary p95 {s['p95_mm']:.3f}  dimensions p95 "
        f"{s['dimension_p95_mm']:.3f}  inside {100 * s['coverage']:.1f} % of {s['dimensions']}  median u95 "
        f"{s['u95_median_mm']:.3f}  scale ± {100 * found.scale.u95_relative:.2f} %"
        f"{'  MIRRORED' if s['mirrored'] else ''}",
        flush=True,
    )


def simulated(pairs: int) -> None:
    """Drawn pairs of photos, either face."""
    rng = np.random.default_rng(5)
    every = parts()
    inside, ratio, narrower, over = [], [], [], 0
    for k in range(pairs):
        truth = every[k % len(every)].features
        placing = Motion(
            mirrored=bool(rng.integers(2)), turn_rad=rng.uniform(0, 6.28), shift_mm=tuple(rng.uniform(-50, 50, 2))
        )
        first, second = pair(truth, placing, rng)
        joint = made_one(first, second, placing)
        true = {f.label: f for f in truth}
        told = list_dimensions(joint.estimate)
        inside += [abs(d.value_mm - size_of(d.kind, [true[x] for x in d.features]).value_mm) <= d.u95_mm for d in told]
        ratio.append(joint.chi2 / joint.freedom)
        over += joint.chi2 > chi2_limit(joint.freedom)
        alone = np.median([d.u95_mm for d in list_dimensions(first)])
        narrower.append(np.median([d.u95_mm for d in told]) / alone)
    print(
        f"simulated: {pairs} pairs, truth inside ± u95 {100 * np.mean(inside):.1f} % of {len(inside)}; u95 "
        f"{np.mean(narrower):.2f} of one photo's; chi-square {np.mean(ratio):.2f} of its freedom, beyond its 5 % limit "
        f"in {100 * over / pairs:.1f} %"
    )


if __name__ == "__main__":
    main()

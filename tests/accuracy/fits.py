"""From the outline to a part that fits, in figures: offsets, printers, gauges, hooks, planned readings, openings.

    python -m tests.accuracy.fits [--quick]

--quick leaves the photos out. What it prints is asked of the tests as well, which take their computations from here.
"""

import argparse
import io
import itertools
import json
import tempfile
from pathlib import Path

import numpy as np
import shapely
import trimesh

from calib.tools.jaws import TOOLS, uncertainty
from measure.adjustment.adjustment import reconcile
from measure.adjustment.equations import with_edge_error
from measure.drawing.mesh import write_3mf, write_stl
from measure.geometry.dimensions import list_dimensions
from measure.geometry.offsetting import area, offset
from measure.planning.planning import advise
from measure.planning.reach import comfortable_readings
from measure.printing import coupon
from measure.printing.solids import Cut, Solid, solid
from measure.printing.strength import clip
from measure.readings.readings import TOUCH, Reading
from measure.steps.trace import trace
from measure.tracing.request import Request
from measure.trial.corrections import MISFIT_SD_MM, corrected
from measure.trial.limits import FACE_SD_MM, Print
from measure.trial.sayings import DatedSaying, Saying
from tests.accuracy.score import compare
from tests.jobs import estimate as plate_known
from tests.simulated_parts import circle, parts, polygon
from tests.simulated_traces import features_of
from tests.simulated_traces import trace as simulated

HERE = Path(__file__).parent
FINE_MM = 2e-5
OFFSETS_MM = (-0.35, -0.1, 0.05, 0.25)
CUTS = {"whole": None, "rim": Cut(rim_mm=3.0), "around": Cut(around=("E1",), margin_mm=5.0)}
OPENINGS = (HERE / "photos/hatch-opening.truth.json", *sorted((HERE / "openings").glob("*.truth.json")))


# --------------------------------------------------------------------------------------------------------- trial prints
def told_by_feeler(trials: int = 300, seed: int = 8) -> float:
    """Share of cases in which a face that a gap was said of lies within the u95 of its correction.

    Invented misfits, told by a feeler, of a revision whose face lay half a millimetre further in.
    """
    rng, known = np.random.default_rng(seed), plate_known()
    as_printed = {f.label: f for f in known.features}
    room = 0.1
    first = corrected(known, [DatedSaying(1, Saying("too long", ("E2",), 0.5))], {1: Print(as_printed, 0.0, room)})
    offset, short, inside = first.moves[0].by_mm, {f.label: f for f in first.estimate.features}, []
    for _ in range(trials):
        true = rng.normal(0, MISFIT_SD_MM)
        gap = round(true - offset + room + rng.normal(0, FACE_SD_MM), 2)
        found = corrected(known, [DatedSaying(1, Saying("gap", ("E2",), gap))], {1: Print(short, 0.0, room)})
        inside.append(abs(found.moves[0].by_mm - true) <= found.moves[0].u95_mm)
    return float(np.mean(inside))


def told_in_words(trials: int = 200, prints: int = 3, seed: int = 9) -> np.ndarray:
    """(trials, prints + 1) how far a face is off as first printed and after each print that only words were said of.

    Invented misfits, and a person who feels 0.03 mm.
    """
    rng, known, out = np.random.default_rng(seed), plate_known(), []
    for _ in range(trials):
        true, said = rng.normal(0, MISFIT_SD_MM), list[DatedSaying]()
        printed, at, off = {1: Print({f.label: f for f in known.features}, 0.0, 0.1)}, 0.0, []
        for n in range(1, prints + 1):
            off.append(true - at)
            felt = true - at + rng.normal(0, 0.03)
            words = ((-0.2, "would not go in"), (-0.08, "tight"), (-0.03, "rubs"), (0.05, "fits"), (9.0, "loose"))
            said.append(DatedSaying(n, Saying(next(w for limit, w in words if felt < limit), ("E2",))))
            found = corrected(known, said, printed)
            at = found.moves[0].by_mm
            printed[n + 1] = Print({f.label: f for f in found.estimate.features}, 0.0, 0.1)
        out.append([*off, true - at])
    return np.abs(out)


# -------------------------------------------------------------------------------------------------------------- offsets
def offset_apart_mm(features, by_mm: float) -> float:
    """Between an outline moved by us and by shapely's mitred buffer, both flattened finely (Hausdorff distance)."""
    moved = offset(features, by_mm)
    assert moved
    theirs = area(features, FINE_MM).buffer(by_mm, join_style="mitre", mitre_limit=50.0)
    return float(shapely.hausdorff_distance(area(moved, FINE_MM).boundary, theirs.boundary))


# ------------------------------------------------------------------------------------------------------------- printers
def printed_mm(size: coupon.CouponSize, figures) -> float:
    """A size of the test piece as a printer of these figures makes it."""
    return size.nominal_mm + float(np.dot(size.row(), figures))


def printers_inside(trials: int = 500, seed: int = 5) -> np.ndarray:
    """(trials, 4) whether each figure lies within its u95.

    Simulated printers (spread invented), readings with the caliper's own permissible error, hand and zero.
    """
    rng, inside = np.random.default_rng(seed), []
    for _ in range(trials):
        true = rng.normal(0, coupon.PRIOR_SD)
        zero = rng.normal(0, TOOLS["caliper"].zero_mm)
        taken = []
        for s in coupon.SIZES:
            u = uncertainty(TOOLS["caliper"], TOUCH[s.kind], s.nominal_mm)
            taken.append((s.number, round(printed_mm(s, true) + zero + rng.normal(0, u.total_mm), 2)))
        found = coupon.printer_by("x", taken).printer
        inside.append(np.abs(found.figures() - true) <= coupon.u95_mm(found))
    return np.array(inside)


# --------------------------------------------------------------------------------------------------------------- gauges
def is_sound(made: Solid) -> bool:
    """Whether its files, read back, are closed, wound outward, of its volume, and (3MF) in millimetres."""
    box = io.BytesIO(write_3mf(made.mesh, "x"))
    read = [trimesh.load(box, file_type="3mf", force="mesh")]
    read.append(trimesh.load(io.BytesIO(write_stl(made.mesh)), file_type="stl", force="mesh"))
    closed = all(m.is_watertight and m.is_winding_consistent and m.volume > 0 for m in read)
    return closed and read[0].units == "millimeter" and all(abs(m.volume / made.volume_mm3 - 1) < 1e-5 for m in read)


# ---------------------------------------------------------------------------------------------------------------- hooks
def worked_example() -> list[tuple[str, float, float, float]]:
    """A design guide's example I: (what, printed there, found here, within); see against_snap_joint_guides."""
    thick = clip.most_thick_mm(19.0, 2.4, 0.02, tapered=True)
    hook = clip.Hook(19.0, 3.28, 9.5, 2.4, tapered=True, angle_deg=30.0)
    return [
        ("thickness, mm", 3.28, thick, 0.005),
        ("strain, %", 2.0, 100 * clip.strain(hook), 0.002),
        ("deflection force, N", 32.5, clip.deflection_force_n(hook, 1815), 0.1),
        ("mating factor", 1.80, clip.mating_factor(30.0, 0.6), 0.005),
        ("mating force, N", 58.5, clip.mating_force_n(hook, 1815, 0.6), 0.2),
    ]


# ----------------------------------------------------------------------------------------------------- planned readings
def left_over(estimate, part, readings) -> float:
    """Sum of the dimensions' variances after readings, by the adjustment itself, which knows nothing of planning."""
    found = reconcile(estimate, readings, thickness_mm=part.thickness_mm, subject=part.subject, with_regularities=False)
    return sum((d.u95_mm / 1.96) ** 2 for d in list_dimensions(found.estimate))


def gain_over_random(draws: int = 12, seed: int = 7) -> list[float]:
    """For each part: by how much three chosen readings reduce the sum of variances, over three random ones."""
    rng, ratios = np.random.default_rng(seed), []
    for part in parts():
        estimate = simulated(part.features, part.thickness_mm, rng).estimate
        easy = [c for c in comfortable_readings(estimate, part.thickness_mm, part.subject) if c[0] != "radius"]
        advice = advise(with_edge_error(estimate), thickness_mm=part.thickness_mm, subject=part.subject)
        of = {(k, labels): Reading(k, labels, v) for k, labels, v in easy}
        before = left_over(estimate, part, [])
        gained = before - left_over(estimate, part, [of[s.kind, s.features] for s in advice.suggestions])
        randoms = [[Reading(*easy[i]) for i in rng.choice(len(easy), 3, replace=False)] for _ in range(draws)]
        ratios.append(gained / np.mean([before - left_over(estimate, part, r) for r in randoms]))
    return ratios


def share_of_best(seed: int) -> float:
    """What three chosen readings take off the uncertainty, as a share of what the best of all triples does."""
    features = features_of([polygon([(0, 0, 2), (40, 0, 2), (40, 24, 0), (22, 24, 3), (0, 12, 0)]), circle(9, 6, 2.4)])
    estimate = with_edge_error(simulated(features, 5.0, np.random.default_rng(seed)).estimate)
    names = [(k, labels) for k, labels, _ in comfortable_readings(estimate, 5.0) if k != "radius"]
    assert 6 <= len(names) <= 16

    def reduction(others) -> float:
        found = advise(estimate, thickness_mm=5.0, count=3, taken=others, goal_mm=0.01)
        return float(1 - np.prod([1 - s.share for s in found.suggestions]))

    triples = itertools.combinations(names, 3)
    return reduction(()) / max(reduction([n for n in names if n not in t]) for t in triples)


# ----------------------------------------------------------------------------------------------------- rims of openings
def rim(path: Path) -> dict:
    """An opening's photo against its truth."""
    truth = json.loads(path.read_text())
    with tempfile.TemporaryDirectory() as d:
        trace(path.parent / truth["photo"], Path(d), Request(0.0, "opening"))
        return compare(truth, json.loads((Path(d) / "trace.json").read_text()))


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="leave the photos out")
    quick = parser.parse_args().quick
    all_parts = parts()
    worst = max(offset_apart_mm(p.features, by) for p in all_parts for by in OFFSETS_MM)
    print(f"offset outlines against shapely: at most {worst:.5f} mm apart, {len(all_parts) * len(OFFSETS_MM)} outlines")
    inside = printers_inside()
    each = ", ".join(f"{100 * v:.1f} %" for v in inside.mean(0))
    print(f"printer's figures within u95: {each} of {len(inside)} (outside, inside, shrinkage x, y)")
    made = [solid(p.features, 0.8, cut, number=n) for p in all_parts for cut in CUTS.values() for n in (0, 3)]
    gauges = [m for m in made if isinstance(m, Solid)]
    print(f"gauges closed and in millimetres, by trimesh: {sum(map(is_sound, gauges))} of {len(gauges)}")
    for what, printed, found, digit in worked_example():
        said = "agrees" if abs(found - printed) <= digit else "DIFFERS"
        print(f"snap hook, a guide's worked example: {what} {printed:g}, here {found:.4g}: {said}")
    ratios = gain_over_random()
    print(f"three chosen readings over three random ones: mean {np.mean(ratios):.2f}, least {min(ratios):.2f} times")
    shares = [share_of_best(s) for s in range(4)]
    print(f"three chosen readings against the best triple of all: {100 * min(shares):.1f} % at the least")
    print(f"trial prints, gaps by feeler: the true face within u95 in {100 * told_by_feeler():.1f} % of 300")
    off = np.quantile(told_in_words(), 0.95, axis=0)
    print(f"trial prints, words only: 19 faces in 20 are within {', '.join(f'{v:.2f}' for v in off)} mm (print 1, 2 …)")
    if not quick:
        for path in OPENINGS:
            s = rim(path)
            print(f"rim of {path.name.split('.')[0]}: p95 {s['p95_mm']:.3f}, most {s['max_mm']:.3f} mm")


if __name__ == "__main__":
    main()

"""Features that are what a person says: fitted to the edge points that a trace kept, all others as they were."""

from __future__ import annotations

import itertools
import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib.arrays import Array
from calib.errors import JobRefused, WrongUsage
from measure.cli.app import app
from measure.cli.run import run
from measure.edges.edge_loop import EdgeLoop
from measure.geometry.features import Estimate, Line, by_loop, flatten, length, middle, right_normal
from measure.geometry.polylines import evenly
from measure.geometry.rejoin import heading, joints, tangency
from measure.job import edges_record, job, records
from measure.mending.fitting import better, circle_through, line_through
from measure.mending.mending import mended_by_hand
from measure.mending.sayings import Statement, saying
from measure.steps.mend import mend
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.simulated_parts import circle, polygon
from tests.simulated_traces import features_of
from tests.simulated_traces import trace as simulated

LATCH = Path(__file__).parent / "accuracy" / "photos" / "vent-latch.jpg"
NOISE_MM, STEP_MM = 0.01, 0.2


def plate(rounded_mm: float = 0.0, seed: int = 3) -> tuple[Estimate, tuple[EdgeLoop, ...]]:
    """A plate of 40 by 20 with a nick of 0.3 mm in its lower edge and a round hole, and edge points with noise."""
    nick = [(18, 0, 0), (19, 0.3, 0), (20, 0.3, 0), (21, 0, 0)]
    r = rounded_mm
    return seen_of([polygon([(0, 0, r), *nick, (40, 0, r), (40, 20, r), (0, 20, r)]), circle(10, 10, 3)], seed)


@pytest.mark.parametrize("bow_mm", [0.0, 1e-9, 1e-6, 1e-3])
def test_through_points_that_are_straight_or_nearly_so_goes_a_line(bow_mm: float) -> None:
    """No circle is determined by them (arithmetic): it must not keep the line from being drawn."""
    x = np.linspace(0.0, 54.0, 200)
    points = np.c_[x, bow_mm * (x / 27 - 1) ** 2]
    edge = EdgeLoop(points, np.tile([0.0, -1.0], (200, 1)), np.full(200, NOISE_MM), np.zeros((200, 1)))
    line, circle_ = line_through(edge), circle_through(edge)
    assert np.isfinite(circle_.white).all()
    assert better(line, circle_, len(points)) == "line"
    assert line.rms_mm < bow_mm + 1e-9


def seen_of(loops: list[list[dict[str, object]]], seed: int) -> tuple[Estimate, tuple[EdgeLoop, ...]]:
    """True loops of our own invention, as traced, and edge points with noise along what was traced."""
    rng = np.random.default_rng(seed)
    e = simulated(features_of(loops), 4.0, rng).estimate
    loops = []
    for _, loop in sorted(by_loop(e.features).items()):
        points = evenly(np.concatenate([flatten(f)[:-1] for f in loop] + [flatten(loop[0])[:1]]), STEP_MM)[:-1]
        along = np.roll(points, -1, 0) - np.roll(points, 1, 0)
        normals = np.stack([along[:, 1], -along[:, 0]], 1) / np.hypot(*along.T)[:, None]
        points = points + normals * rng.normal(0, NOISE_MM, len(points))[:, None]
        n = len(points)
        loops.append(EdgeLoop(points, normals, np.full(n, NOISE_MM), np.zeros((n, len(e.shared_names)))))
    return e, tuple(loops)


def along(e: Estimate, y: float) -> list[Line]:
    """Straight edges that lie about that high."""
    return [f for f in e.features if f.kind == "line" and abs(f.start[1] - y) + abs(f.end[1] - y) < 0.2]


def test_words() -> None:
    assert saying(" e3 - r5  straight ") == Statement("straight", "E3", "R5")
    for words in ("", "E3", "E3 bent", "straight", "E3-E4-E5 arc", "E3straight"):
        with pytest.raises(WrongUsage):
            saying(words)


def test_one_straight_edge_takes_the_nick_in() -> None:
    """The nick is 3 of 40 mm and 0.3 mm deep: the edge's own line is found to a hundredth."""
    e, edges = plate()
    first, *_, last = sorted(along(e, 0.0), key=lambda f: f.start[0])
    done = mended_by_hand(e, edges, Statement("straight", first.label, last.label))
    (one,) = along(done.estimate, 0.0)
    assert done.labels == (one.label,)
    assert length(one) == pytest.approx(40, abs=0.3)
    assert abs((one.end[1] - one.start[1]) / length(one)) < 0.002
    untouched = {f.label: f for f in e.features}
    assert all(untouched[f.label] == f for f in done.estimate.features if f.kind == "circle")
    sd = math.sqrt(
        done.estimate.covariance()[done.estimate.slices()[one.label]][0, done.estimate.slices()[one.label]][0]
    )
    assert NOISE_MM / 30 < sd < 5 * NOISE_MM


ROUNDED_MM = 3.0


@pytest.mark.parametrize("seed", range(6))
def test_a_straightened_edge_runs_into_its_fillets_again(seed: int) -> None:
    """Both neighbours are fillets: drawn tangent, and so they are after, to a micrometre; what is known gains by it."""
    e, edges = plate(ROUNDED_MM, seed)
    first, *_, last = sorted(along(e, 0.0), key=lambda f: f.start[0])
    done = mended_by_hand(e, edges, Statement("straight", first.label, last.label))
    features = done.estimate.features
    at = next(i for i, f in enumerate(features) if f.label == done.labels[0])
    touching = [j for j in joints(features) if at in (j.first, j.second)]
    assert [j.tangent for j in touching] == [True, True]
    for j in touching:
        a, b = features[j.first], features[j.second]
        touch = tangency(a, b)
        assert touch is not None
        assert abs(touch.gap_mm) < 1e-3
        assert heading(a, True) @ heading(b, False) == pytest.approx(1.0, abs=1e-6)
        assert math.dist(a.end, b.start) < 1e-6
        fillet = a if a.kind == "arc" else b
        before = next(f for f in e.features if f.label == fillet.label)
        assert fillet.radius == pytest.approx(before.radius, abs=0.15)  # known to a sd of 0.02 to 0.05 mm
        assert sd_of_radius(done.estimate, fillet.label) <= sd_of_radius(e, fillet.label) + 1e-9
    others = {f.label: f for f in e.features}
    moved = {features[i].label for j in touching for i in (j.first, j.second)}
    stay = [f for f in features if f.label not in moved]
    assert len(stay) == 6  # two fillets, three edges and the hole
    for f in stay:
        was = others[f.label]
        if f.kind in ("arc", "circle"):
            assert (f.centre, f.radius) == (was.centre, was.radius)
        else:
            assert abs(float(right_normal(was) @ (middle(f) - middle(was)))) < 1e-9


def sd_of_radius(e: Estimate, label: str) -> float:
    own = e.slices()[label]
    return math.sqrt(e.covariance()[own, own][2, 2])


BEND_DEG = 12.0


def test_a_corner_that_is_none_of_a_tangent_stays_one() -> None:
    """The end's arc of radius 15 meets the lower edge at 12°: it misses touching by 15 · (1 - cos 12°) = 0.33 mm."""
    turn = math.radians(BEND_DEG)
    high, deep = 15 * (1 + math.cos(turn)), 15 * math.sin(turn)
    lower = [(0, 0), (14, 0), (15, 0.3), (16, 0), (40, 0)]
    loop: list[dict[str, object]] = [{"kind": "line", "start": a, "end": b} for a, b in itertools.pairwise(lower)]
    end = {"centre": (40 - deep, 15 * math.cos(turn)), "radius": 15.0, "turn": "ccw"}
    loop.append({"kind": "arc", "start": (40, 0), "end": (40 - deep, high), **end})
    upper = [(40 - deep, high), (0, high), (0, 0)]
    loop += [{"kind": "line", "start": a, "end": b} for a, b in itertools.pairwise(upper)]
    e, edges = seen_of([loop], 1)
    first, *_, last = sorted(along(e, 0.0), key=lambda f: f.start[0])
    done = mended_by_hand(e, edges, Statement("straight", first.label, last.label))
    arc = next(f for f in done.estimate.features if f.kind == "arc")
    edge = next(f for f in done.estimate.features if f.label == done.labels[0])
    turned = math.degrees(math.acos(float(heading(edge, True) @ heading(arc, False))))
    assert turned == pytest.approx(BEND_DEG, abs=2)


def test_a_hole_that_is_ignored_is_gone_and_a_round_one_is_a_circle() -> None:
    e, edges = plate()
    hole = next(f for f in e.features if f.kind == "circle")
    again = mended_by_hand(e, edges, Statement("round", hole.label, hole.label))
    now = next(f for f in again.estimate.features if f.kind == "circle")
    assert now.radius == pytest.approx(hole.radius, abs=3 * NOISE_MM)
    gone = mended_by_hand(e, edges, Statement("ignore", hole.label, hole.label))
    assert not any(f.kind == "circle" for f in gone.estimate.features)
    assert len(gone.edges) == len(edges) - 1


def test_a_nick_that_is_ignored_lets_its_neighbours_go_on() -> None:
    e, edges = plate()
    loop = [f for f in e.features if f.loop == 0]
    within = [f.label for f in loop if 17.9 < (flatten(f)[:, 0]).mean() < 21.1 and flatten(f)[:, 1].max() < 1]
    done = mended_by_hand(e, edges, Statement("ignore", within[0], within[-1]))
    assert len(along(done.estimate, 0.0)) == 1


def test_what_the_points_don_t_bear_out_is_refused() -> None:
    e, edges = plate()
    labels = [f.label for f in e.features if f.loop == 0]
    from calib.errors import PartRefused

    with pytest.raises((PartRefused, WrongUsage)):
        mended_by_hand(e, edges, Statement("straight", labels[-2], labels[1]))
    with pytest.raises(WrongUsage):
        mended_by_hand(e, edges, Statement("straight", "E99", "E99"))


def test_edge_points_are_read_back_and_damage_is_refused() -> None:
    _, edges = plate()
    content = edges_record.to_bytes(edges)
    again = edges_record.from_bytes(content, "x")
    assert len(again) == len(edges)
    assert np.allclose(again[0].points_mm, edges[0].points_mm, atol=1e-4)
    for bad in (b"", b"PK", content[: len(content) // 2], content[:50] + b"x" * 20 + content[70:]):
        with pytest.raises(JobRefused):
            edges_record.from_bytes(bad, "x")
    far: Array = edges[0].points_mm * 1e9
    with pytest.raises(JobRefused):
        edges_record.from_bytes(edges_record.to_bytes([replace(edges[0], points_mm=far)]), "x")


@pytest.fixture(scope="module")
def latch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The latch, traced."""
    folder = tmp_path_factory.mktemp("mend") / "latch"
    trace(LATCH, folder, Request(json.loads(LATCH.with_suffix(".truth.json").read_text())["thickness_mm"]))
    return folder


def test_by_command_from_photo_to_sketch(latch: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = Path(shutil.copytree(latch, tmp_path / "latch"))
    before = records.from_text((folder / job.TRACE).read_text(), "x")
    line = max((f for f in before.features if f.kind == "line"), key=lambda f: math.dist(f.start, f.end))
    hole = [f for f in before.features if f.kind == "circle"][-1]
    assert run(app, ["mend", str(folder), f"{line.label} straight", f"{hole.label} ignore"]) == 0
    assert f"A person decided: {line.label} is one straight edge." in capsys.readouterr().out
    after = records.from_text((folder / job.TRACE).read_text(), "x")
    assert {f.label for f in before.features} - {f.label for f in after.features} == {hole.label}
    new = next(f for f in after.features if f.label == line.label)
    middle = (np.add(line.start, line.end) - np.add(new.start, new.end)) / 2
    u = np.subtract(line.end, line.start) / math.dist(line.start, line.end)
    assert abs(middle @ [u[1], -u[0]]) < 0.03  # fitted to the same points it lies where it lay
    reconcile(folder)
    sketch(folder)
    assert "A person decided" in (folder / "sketch.svg").read_text()
    assert run(app, ["undo", str(folder)]) == 0
    assert records.from_text((folder / job.TRACE).read_text(), "x").features == before.features


@pytest.mark.parametrize(
    ("said", "exit_code"), [("E1 bent", 2), ("E99 straight", 2), ("D1 straight", 2), ("E1-E5 straight", 1)]
)
def test_bad_input_changes_nothing(latch: Path, capsys: pytest.CaptureFixture[str], said: str, exit_code: int) -> None:
    before = (latch / job.TRACE).read_bytes()
    assert run(app, ["mend", str(latch), said, "--json"]) == exit_code
    out = capsys.readouterr()
    assert "text" in json.loads(out.out)["error"]
    assert "Traceback" not in out.err
    assert (latch / job.TRACE).read_bytes() == before


def test_a_marks_file_says_it_by_places_in_the_photo(latch: Path, tmp_path: Path) -> None:
    """One touch near the middle of an edge, in the photo's pixels; and a word that there is none of."""
    from measure.job import view_record

    record = records.from_text((latch / job.TRACE).read_text(), "x")
    line = max((f for f in record.features if f.kind == "line"), key=lambda f: math.dist(f.start, f.end))
    sighted = view_record.sighted(view_record.from_text((latch / job.VIEW).read_text(), "x"))
    px = sighted.points_px(records.feature(line))
    marks = tmp_path / "marks.json"
    touch = [float(v) for v in px[len(px) // 2]]
    marks.write_text(json.dumps({"features": [{"say": "straight", "begin": touch}]}))
    folder = tmp_path / "job"
    done = trace(LATCH, folder, Request(record.thickness_mm), marks=marks)
    assert f"A person decided: {line.label} is one straight edge." in done.lines
    marks.write_text(json.dumps({"features": [{"say": "bent", "begin": touch}]}))
    with pytest.raises(WrongUsage):
        trace(LATCH, tmp_path / "not", Request(record.thickness_mm), marks=marks)
    assert not (tmp_path / "not").exists()


def test_a_job_without_edge_points_says_so(latch: Path, tmp_path: Path) -> None:
    folder = Path(shutil.copytree(latch, tmp_path / "old"))
    (folder / job.EDGES).unlink()
    with pytest.raises(JobRefused, match="trace its photo again"):
        mend(folder, ["E1 straight"])

"""Several parts in one photo: each a job of its own, by command and by touching them on the page."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from measure.bench import kept
from measure.cli.app import app
from measure.cli.run import run
from measure.geometry.features import flatten
from measure.job import job, records
from measure.silhouette.silhouette import NoSilhouette
from measure.steps import trace_parts as step
from tests.benches import bench, until

PHOTO = Path(__file__).parent / "accuracy" / "broken" / "gate-hook-two.jpg"
"""Two things lie there: the pieces of a broken hook, each as good a part as any."""
TRUTH = json.loads(PHOTO.with_suffix(".truth.json").read_text())


def extent_mm(folder: Path) -> tuple[float, float]:
    """The longer and the shorter side of what was traced."""
    record = records.from_text((folder / job.TRACE).read_text(), job.TRACE)
    points = np.concatenate([flatten(records.feature(f)) for f in record.features])
    long, short = sorted(np.ptp(points, axis=0), reverse=True)
    return float(long), float(short)


def test_two_parts_become_two_jobs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    thick = f"{TRUTH['thickness_mm']:g}"
    words = ["trace", str(PHOTO), "--thickness", f"{thick} {thick}", "--parts", "2", "--job", str(tmp_path / "hook")]
    assert run(app, [*words, "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["jobs"] == [str(tmp_path / f"hook-{n}") for n in (1, 2)]
    for n, part in enumerate(said["parts"], 1):
        folder = tmp_path / f"hook-{n}"
        assert all((folder / name).exists() for name in job.TRACED)
        assert len(part["features"]) > 2
        record = records.from_text((folder / job.TRACE).read_text(), job.TRACE)
        assert record.part == f"gate-hook-two {n}"
        assert not any(w.code == "something-beside" for w in record.warnings)  # the other one is known
    assert extent_mm(tmp_path / "hook-1") != extent_mm(tmp_path / "hook-2")
    assert not (tmp_path / "hook").exists()


@pytest.mark.parametrize(
    ("options", "what"),
    [
        (["--parts", "1"], "--parts is 2 to 12"),
        (["--parts", "2.5"], "--parts is 2 to 12"),
        (["--parts", "2", "--fragments", "2"], "one photo of whole parts"),
        (["--parts", "2", "--subject", "opening"], "one photo of whole parts"),
        (["--parts", "3", "--thickness", "4 3"], "2 thicknesses are given for 3 parts"),
        (["--parts", "2", "--thickness", "thin"], "is not a number"),
        (["--parts", "2"], "thickness is missing"),
    ],
)
def test_what_makes_no_sense_is_refused_before_the_photo_is_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], options: list[str], what: str
) -> None:
    assert run(app, ["trace", "none.jpg", "--job", str(tmp_path / "j"), *options]) == 2
    assert what in capsys.readouterr().err


@pytest.mark.parametrize(
    ("found", "what"),
    [
        (NoSilhouette("one-piece", 2), "Only 2 parts can be told from the table, not 3"),
        (NoSilhouette("more-pieces"), "More than 3 parts lie there"),
        (NoSilhouette("part-at-edge"), "reaches the edge of the photo"),
    ],
)
def test_another_number_of_parts_is_said(monkeypatch: pytest.MonkeyPatch, found: NoSilhouette, what: str) -> None:
    monkeypatch.setattr(step, "find_pieces", lambda *_: found)
    with pytest.raises(Exception, match=what):
        step._from_left_to_right(np.zeros((1, 1, 3), np.uint8), None, 4.0, 3)  # type: ignore[arg-type]


def test_each_part_that_is_touched_is_a_job_of_its_own(tmp_path: Path) -> None:
    """One of the two is drawn at first, as what something else lies beside; the picture shows where both are."""
    with bench(tmp_path / "jobs", workers=1, limits={"trace_s": 900.0}) as client:

        def settled(id: str) -> dict[str, Any]:
            def done() -> dict[str, Any] | None:
                found: dict[str, Any] = client.get(f"/api/jobs/{id}").json()
                return None if found["state"] in ("tracing", "waiting") else found

            return dict(until(done, 900.0))

        with open(PHOTO, "rb") as f:
            fields = {"name": "hook", "thickness": f"{TRUTH['thickness_mm']:g}", "owner": "A. Nobody"}
            client.post("/api/jobs", files={"photo": ("two.jpg", f)}, data=fields)
        first = settled("hook")
        assert first["refusal"] is None
        scale = first["photo"]["scale"]
        points = [[float(v) * scale for v in middle] for middle in middles()]
        asked = {"thickness": fields["thickness"], "points": points, "revision": first["revision"]}
        answer = client.post("/api/jobs/hook/parts", json=asked)
        assert answer.json() == {"jobs": ["hook", "hook-2"]}
        both = [settled(id) for id in ("hook", "hook-2")]
        assert [s["refusal"] for s in both] == [None, None]
        assert [s["name"] for s in both] == ["hook", "hook 2"]
        assert both[1]["owner"] == "A. Nobody"
        assert both[1]["ticket"] == both[0]["ticket"] + 1
        folder = tmp_path / "jobs"
        assert extent_mm(folder / "hook") != extent_mm(folder / "hook-2")
        known = kept.from_bytes((folder / "hook-2" / kept.FILE).read_bytes())
        assert known is not None
        assert len(known.asked.strokes.away) == 1


def middles() -> list[tuple[float, float]]:
    """A place on each piece, pixels of the photo."""
    from calib.photo.photo import load
    from measure.tracing.parts import reference_of
    from measure.tracing.request import Request
    from measure.tracing.whereabouts import find_pieces

    photo = load(PHOTO)
    request = Request(TRUTH["thickness_mm"])
    pieces = find_pieces(photo.rgb, reference_of(photo, None, request), request.height_mm)
    assert not isinstance(pieces, NoSilhouette)
    import shapely

    return [shapely.Polygon(p.contours_px[0]).representative_point().coords[0] for p in pieces]

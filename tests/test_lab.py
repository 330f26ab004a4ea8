"""The photo lab without its renderer: scenes by seed, what lies where, and that photos and their truths are one."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import shapely

from tests.accuracy import shapes as sh
from tests.accuracy.lab import blockers, grounds, meshes
from tests.accuracy.lab.camera import Camera, looking
from tests.accuracy.lab.lights import LIGHTS
from tests.accuracy.lab.meshes import Rim
from tests.accuracy.lab.population import random_scene
from tests.accuracy.lab.scene import Scene
from tests.accuracy.lab.shoot import SMALL_FILL, SMALL_PX, truth_of
from tests.accuracy.lab.verify import card_off_px

SAMPLE = Path(__file__).parent / "accuracy" / "sample"
SEEDS = range(60)


@pytest.fixture(scope="module")
def scenes() -> list[Scene]:
    return [random_scene(seed) for seed in SEEDS]


def above(tilt_deg: float = 0.0) -> Camera:
    return looking((10, 20), 300, fov_deg=90, tilt_deg=tilt_deg, azimuth_deg=0, size=(4000, 3000))


def test_the_camera_sees_as_a_pinhole_does() -> None:
    """By hand: 90° across 4000 px make f = 2000 px; 30 mm aside at 300 mm are 200 px; x right, y up is v down."""
    u, v = above().project(np.array([[40.0, 20.0, 0.0], [10.0, 50.0, 0.0]])).T
    assert u == pytest.approx([1999.5 + 200, 1999.5])
    assert v == pytest.approx([1499.5, 1499.5 - 200])


def test_a_tilted_camera_still_looks_at_its_point() -> None:
    camera = above(tilt_deg=20)
    assert camera.project(np.array([[10.0, 20.0, 0.0]]))[0] == pytest.approx([1999.5, 1499.5])
    assert camera.centre_mm == pytest.approx([10 + 300 * np.tan(np.radians(20)), 20, 300])  # towards azimuth 0


def test_what_is_nearer_seems_larger() -> None:
    """By hand: at height 60 under a camera at 300, a length seems 300 / 240 = 1.25 times as long."""
    low, high = (np.ptp(above().project(np.array([[0.0, 0, z], [20.0, 0, z]]))[:, 0]) for z in (0.0, 60.0))
    assert high / low == pytest.approx(1.25)


@pytest.mark.parametrize(
    ("rim", "face_mm"),
    [(Rim(), 20.0), (Rim("round", 0.4), 19.2), (Rim("chamfer", 0.3), 19.4)],  # by hand: less its size on both sides
)
def test_a_rim_takes_its_size_off_the_face_and_nothing_off_the_outline(rim: Rim, face_mm: float) -> None:
    pytest.importorskip("mapbox_earcut")
    body = meshes.extruded([sh.flatten(sh.rounded(20, 12, 2))], 0, 5, rim=rim, layered=True)
    x, z = body.corners[:, 0], body.corners[:, 2]
    assert np.ptp(x[z == 5]) == pytest.approx(face_mm, abs=1e-6)
    assert np.ptp(x[z == 0]) == np.ptp(x) == pytest.approx(20, abs=1e-6)


def test_a_seed_is_one_scene() -> None:
    assert random_scene(7) == random_scene(7)
    assert random_scene(7) != random_scene(8)


def test_all_kinds_come_up(scenes: list[Scene]) -> None:
    assert {s.level for s in scenes} == {"guide", "ordinary", "rough"}
    assert {s.subject for s in scenes} == {"part", "opening"}
    assert {s.rim.form for s in scenes} == {"sharp", "round", "chamfer"}
    assert {s.shade for s in scenes} == {"", "hand", "phone"}
    assert any(s.table in ("brick", "grass", "gravel", "newsprint") for s in scenes)
    assert any(s.body == "teeth" for s in scenes)
    assert any(s.printed for s in scenes)
    assert any(s.raised for s in scenes)


def test_who_follows_the_guide_has_it_easy(scenes: list[Scene]) -> None:
    for s in scenes:
        if s.level == "guide":
            assert s.phone.tilt_deg <= 12
            assert s.table in grounds.PLAIN
            assert not any([s.shade, s.glare, s.dust])


def test_part_and_card_lie_within_the_frame_and_apart(scenes: list[Scene]) -> None:
    for s in scenes:
        camera, card = s.camera, s.cards[0]
        corners = np.array(card.body.exterior.coords)
        for ring, z in ((s.rings[0], s.thickness_mm if s.subject == "part" else 0.0), (corners, card.thick)):
            u, v = camera.project(np.c_[ring, np.full(len(ring), z)]).T
            assert min(u.min(), v.min()) > 20, s.name
            assert u.max() < camera.width - 20, s.name
            assert v.max() < camera.height - 20, s.name
        assert card.body.distance(shapely.Polygon(s.rings[0])) >= 9  # the least gap that is drawn


def test_outlines_are_sound(scenes: list[Scene]) -> None:
    for s in scenes:
        part = shapely.Polygon(s.rings[0], s.rings[1:])
        assert part.is_valid, s.name
        holes = [shapely.Polygon(r) for r in s.rings[1:]]
        walls = [a.distance(b) for i, a in enumerate(holes) for b in [part.exterior, *holes[i + 1 :]]]
        assert all(w > 1.75 for w in walls), s.name  # 1.8 mm are asked for, of polygons


def test_a_hand_is_never_seen_and_shades_the_edge() -> None:
    camera, light, edge = above(), LIGHTS["lamp"], np.array([30.0, 10.0])
    hand = blockers.shadow_of_hand(light, edge, camera)
    assert hand is not None
    u, v = camera.project(np.c_[hand.ring, np.full(len(hand.ring), hand.z_mm)]).T
    assert not ((u > 0) & (u < camera.width) & (v > 0) & (v < camera.height)).any()
    lamp = np.array(light.lamps[0].at)
    through = edge + (lamp[:2] - edge) * hand.z_mm / lamp[2]  # where light from lamp to edge passes the hand's height
    assert shapely.Polygon(hand.ring).distance(shapely.Point(through)) < 1.0


def test_grounds_have_their_colour() -> None:
    """On the whole and about: what is printed or woven into them is lighter or darker."""
    rng = np.random.default_rng(0)
    for name, colour in grounds.COLOURS.items():
        if name == "sheet":  # a desk round it
            continue
        mean = grounds.ground(name, rng, 512).mean((0, 1))
        assert grounds.luminance(tuple(mean)) == pytest.approx(grounds.luminance(colour), rel=0.35), name


def test_truths_of_the_sample_are_those_of_its_seeds() -> None:
    for path in sorted(SAMPLE.glob("*.truth.json")):
        kept = json.loads(path.read_text())
        seed = int(kept["photo"].removesuffix(".jpg")[1:])
        now = json.loads(json.dumps(truth_of(random_scene(seed, width_px=SMALL_PX, fill=SMALL_FILL))))
        assert [s["id"] for loop in now["loops"] for s in loop["segments"]] == [
            s["id"] for loop in kept["loops"] for s in loop["segments"]
        ]
        assert now["camera"]["centre_mm"] == pytest.approx(kept["camera"]["centre_mm"])
        assert now["caliper"] == kept["caliper"]


def test_photos_of_the_sample_show_their_truth() -> None:
    """Within 0.15 px at the median, of most; light from beside draws a shadow along the card in the others."""
    off = [abs(float(np.median(card_off_px(p)))) for p in sorted(SAMPLE.glob("*.jpg"))]
    assert len(off) == 12
    assert sum(o < 0.15 for o in off) >= 7, off


def test_photos_of_the_sample_are_small() -> None:
    for p in SAMPLE.glob("*.jpg"):
        assert p.stat().st_size < 250_000

"""Two pieces put together: where they belong, or refused in one sentence."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely.ops import split

from calib.errors import PartRefused
from calib.reference.reference import ID_1
from calib.view.view import View, camera_prior, first_guess
from measure.broken.fragments import PLACING_NAMES, put_together
from measure.cli.app import app
from measure.cli.run import run
from measure.silhouette.candidates import Reserved
from measure.silhouette.silhouette import NoSilhouette, several_pieces
from tests.broken_in_two import hook, in_two, link, off_mm, plate, ragged, seen, solid
from tests.test_silhouette import RED, table_with

BREAKS = {
    "plate": (plate, [((34, 20), (39, 0))]),
    "hook": (hook, [((26, -3), (14, -10))]),
    "link": (link, [((-1, 12), (1, 4)), ((1, -4), (-2, -12))]),
}


def _broken(name: str, seed: int, rough: float = 0.5, **more: float):
    part, ends = BREAKS[name]
    rng = np.random.default_rng(seed)
    line = np.concatenate([ragged(a, b, rng, rough) for a, b in ends])
    return in_two(part(), line, rng, **more)


@pytest.mark.parametrize(("name", "seed"), [("plate", 3), ("hook", 6), ("hook", 1), ("link", 0), ("link", 4)])
def test_pieces_come_together_within_02_mm(name, seed):
    p = _broken(name, seed)
    joined = put_together(p.first, p.second)
    assert np.quantile(off_mm(p.whole, joined), 0.95) <= 0.2  # the goal that was set
    assert math.remainder(joined.mating.motion.turn_rad - p.turn_rad, 2 * math.pi) == pytest.approx(0, abs=0.005)
    assert joined.gap.rms_mm < 0.06  # three times the noise of an edge that was put in, from both sides
    assert joined.gap.worst_mm < 0.2
    assert len(joined.loops) == 1 + len(p.whole.interiors)
    assert len(joined.breaks) == len(joined.faces) == len(BREAKS[name][1])


def test_what_the_placing_adds_to_the_second_piece_holds():
    """The second piece's points lie off the truth by no more than twice what its placing is said to add."""
    inside = []
    for seed in range(5):
        p = _broken("plate", seed)
        joined = put_together(p.first, p.second)
        loop, own = joined.loops[0], joined.of_second[0] & np.isfinite(joined.loops[0].sigma_mm)
        off = shapely.distance(p.whole.exterior, shapely.points(loop.points_mm[own]))
        away = math.sqrt(max(float(np.mean(off**2)) - 0.015**2, 0.0))  # less the noise that was put in
        by = loop.sensitivity[own][:, -len(PLACING_NAMES) :]
        inside.append(away < 2 * float(np.sqrt((by**2).sum(1).mean())))
    assert sum(inside) >= 4


def test_shared_terms_move_both_pieces_as_one():
    """A photo with another scale shows both pieces larger: joined, they are the whole part larger, with no step."""
    p = _broken("plate", 2)
    joined = put_together(p.first, p.second)
    loop = joined.loops[0]
    outward = (loop.points_mm * loop.normals).sum(1)
    of_second = np.isfinite(loop.sigma_mm) & joined.of_second[0]
    alone = (p.second.loops[0].points_mm * p.second.loops[0].normals).sum(1)  # where it lies in the photo
    assert np.abs(alone).max() > 60
    assert np.abs((loop.sensitivity[:, 0] - outward)[of_second]).max() < 6  # of a scale of one


@pytest.mark.parametrize("seed", [0, 3])
def test_pieces_of_other_parts_do_not_fit(seed):
    first, second = _broken("plate", seed), _broken("hook", seed + 10)
    with pytest.raises(PartRefused) as why:
        put_together(first.first, second.second)
    assert why.value.code in ("pieces-differ", "pieces-ambiguous", "break-too-smooth")


def test_a_whole_part_is_no_piece_of_another():
    rng = np.random.default_rng(1)
    with pytest.raises(PartRefused, match="fit"):
        put_together(seen(solid(plate()), rng), seen(solid(link()), rng))


def test_a_piece_that_is_turned_over_does_not_fit():
    p = _broken("plate", 5)
    loops = [shapely.Polygon(e.points_mm * [-1, 1]) for e in p.second.loops]
    over = seen(loops[0].difference(shapely.union_all(loops[1:])), np.random.default_rng(2))
    with pytest.raises(PartRefused):
        put_together(p.first, over)


def test_a_strip_lost_between_the_pieces_is_refused():
    rng = np.random.default_rng(1)
    left = ragged((34, 20), (39, 0), rng)
    right = ragged((40, 20), (45, 0), rng)
    first, rest = sorted(split(solid(plate()), shapely.LineString(left)).geoms, key=lambda g: -g.area)
    second = max(split(rest, shapely.LineString(right)).geoms, key=lambda g: g.centroid.x)
    with pytest.raises(PartRefused):
        put_together(seen(first, rng), seen(second, rng))


def test_a_bite_out_of_the_break_is_told_as_a_hole_in_it():
    rng = np.random.default_rng(0)
    line = ragged((34, 20), (39, 0), rng)
    first, second = sorted(split(solid(plate()), shapely.LineString(line)).geoms, key=lambda g: -g.area)
    bitten = second.difference(shapely.Point(line[len(line) // 2]).buffer(3))
    joined = put_together(seen(first, rng), seen(bitten, rng))
    assert len(joined.across()) == 1
    assert put_together(seen(first, rng), seen(second, rng)).across() == []


@pytest.mark.parametrize(
    ("options", "code"),
    [
        (["--fragments", "3"], "fragments"),
        (["--fragments", "1"], "fragments"),
        (["--fragments", "two"], "fragments"),
        (["--fragments", "2", "--subject", "opening"], "fragments"),
    ],
)
def test_other_counts_are_wrong_usage(options, code, capsys, tmp_path: Path):
    photo = tmp_path / "photo.jpg"
    assert run(app, ["trace", str(photo), "--thickness", "4", "--json", *options]) == 2
    assert f'"code": "{code}"' in capsys.readouterr().out


def test_several_photos_of_pieces_are_wrong_usage(capsys):
    assert run(app, ["trace", "a.jpg", "b.jpg", "--thickness", "4", "--fragments", "2"]) == 2
    assert "one photo" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("places", "reason"),
    [
        ([(600, 100)], "one-piece"),
        ([(600, 100), (620, 330), (760, 330)], "more-pieces"),
        ([(600, 100), (724, 100)], "pieces-touch"),
    ],
)
def test_too_few_or_too_many_pieces_are_refused_by_name(places, reason):
    rgb, card = table_with([(at, (110, 120), RED) for at in places])
    size = rgb.shape[1::-1]
    view = View(first_guess(card, ID_1.rectangle, camera_prior(size, None))[0], np.zeros((10, 10)), size)
    found = several_pieces(rgb, view, Reserved((card,)), 0.0)
    assert isinstance(found, NoSilhouette)
    assert found.reason == reason
    assert found.message.text.endswith(".")

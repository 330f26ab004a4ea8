"""Photos that must not be measured: each refused in one sentence with the right exit code, and nothing written."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from measure.cli.app import app
from measure.cli.run import run
from tests.sample_photos import Pixels, copied, copied_in_plane, painted, project, save, scene, truth, turned, without
from tests.spoiled_photos import blurred, shaken

NO_CARD = {"no-card", "unclear", "wrong-shape"}
"""What may be said where no card, or not enough of one, is to be seen."""


def refused(capsys: pytest.CaptureFixture[str], photo: Path, code: int, error: set[str]) -> str:
    """Trace and draw a photo; both must refuse it alike. Returns the sentence."""
    folder = photo.parent / "job"
    said = ""
    for words in (["trace", "--job"], ["draw", "--out"]):
        capsys.readouterr()
        got = run(app, [words[0], str(photo), "--thickness", "4.2", words[1], str(folder), "--json"])
        out, err = capsys.readouterr()
        assert got == code, err
        assert len(err.strip().splitlines()) == 1, err
        assert "Traceback" not in err
        told = json.loads(out)["error"]
        assert told["code"] in error, told
        said = told["text"]
        assert said.strip() == err.strip()
        assert not folder.exists()
        if code == 2:
            break
    return said


# ------------------------------------------------------------------------------------------------------ no photo at all
def test_no_photo_at_all(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_text("not a photo")
    refused(capsys, tmp_path / "a.jpg", 1, {"not-a-photo"})
    (tmp_path / "b.jpg").touch()
    refused(capsys, tmp_path / "b.jpg", 1, {"photo-empty"})
    refused(capsys, tmp_path / "c.jpg", 2, {"no-file"})


# ------------------------------------------------------------------------------------------------------- card and part
def card_of(width_mm: float, height_mm: float) -> np.ndarray:
    """Outline of a card of another size, with square corners, where the sample's card lies."""
    w, h = width_mm / 2, height_mm / 2
    card = truth()["reference"][0]
    corners = turned(np.array([[-w, -h], [w, -h], [w, h], [-w, h]]), card["place"])
    return (project(truth()["camera"], corners, card["thick"]) + 0.5) * 0.5


def no_card() -> Pixels:
    return without(scene().rgb, scene().card_px)


def two_cards() -> Pixels:
    return copied_in_plane(scene().card_px, (0.0, -75.0), onto=scene().rgb)


def card_moved(beyond_px: int) -> Pixels:
    """The card pushed over the right edge of the photo by so much."""
    shift = scene().rgb.shape[1] - int(scene().card_px[:, 0].max()) + beyond_px
    return copied(scene().rgb, scene().card_px, (shift, 0), onto=no_card())


def card_cut_off() -> Pixels:
    return card_moved(60)


def card_at_the_very_edge() -> Pixels:
    return card_moved(2)


def business_card() -> Pixels:
    return painted(no_card(), card_of(85, 55), (235, 233, 228))


def playing_card() -> Pixels:
    return painted(no_card(), card_of(88, 63), (235, 233, 228))


def no_part() -> Pixels:
    return without(scene().rgb, scene().part_px)


def part_at_the_frames_edge() -> Pixels:
    shift = -int(scene().part_px[:, 0].min()) - 40
    return copied(scene().rgb, scene().part_px, (shift, 0), onto=without(scene().rgb, scene().part_px))


def part_touching_the_card() -> Pixels:
    gap = scene().card_px[:, 0].min() - scene().part_px[:, 0].max()
    alone = without(scene().rgb, scene().part_px)
    return copied(scene().rgb, scene().part_px, (round(gap) + 30, 0), onto=alone)


def nothing_but_table() -> Pixels:
    return without(no_card(), scene().part_px)


def out_of_focus() -> Pixels:
    return blurred(scene().rgb, 2.0)


def shaken_hand() -> Pixels:
    return shaken(scene().rgb, 8)


@pytest.mark.parametrize(
    ("photo", "error"),
    [
        (out_of_focus, {"blurred"}),
        (shaken_hand, {"blurred"}),
        (no_card, NO_CARD),
        (nothing_but_table, NO_CARD),
        (two_cards, {"two-cards"}),
        (card_cut_off, NO_CARD | {"cut-off"}),
        (card_at_the_very_edge, NO_CARD | {"cut-off"}),
        (business_card, NO_CARD | {"look-alike", "square-corners"}),
        (playing_card, NO_CARD | {"look-alike", "square-corners"}),
        (no_part, {"no-part"}),
        (part_at_the_frames_edge, {"part-at-edge"}),
        (part_touching_the_card, NO_CARD | {"part-touches-card"}),
    ],
)
def test_card_and_part(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, photo: Callable[[], Pixels], error: set[str]
) -> None:
    refused(capsys, save(photo(), tmp_path / "a.jpg"), 1, error)


def test_a_blurred_photo_of_two_pieces_is_refused_as_well(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    photo = save(out_of_focus(), tmp_path / "two.jpg")
    words = ["trace", str(photo), "--thickness", "4.2", "--fragments", "2", "--job", str(tmp_path / "job"), "--json"]
    assert run(app, words) == 1
    assert json.loads(capsys.readouterr().out)["error"]["code"] == "blurred"
    assert not (tmp_path / "job").exists()

"""The sample that the demo runs on: in an installed wheel within `measure`, in a checkout under samples/."""

from __future__ import annotations

from pathlib import Path

from calib.errors import WrongUsage

NAME = "vent latch plate"
THICKNESS_MM = 4.2
FOLDER = "vent-latch"


def photo() -> Path:
    """The sample's photo."""
    return _folder() / "photo.jpg"


def readings() -> Path:
    """The sample's caliper readings."""
    return _folder() / "readings.csv"


def _folder() -> Path:
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "samples" / FOLDER, package.parent / "samples" / FOLDER):
        if (folder / "photo.jpg").is_file():
            return folder
    raise WrongUsage("The sample photo is missing from this installation: install jawline again.", "no-sample")

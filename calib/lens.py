"""A lens profile: what a calibration of one phone's camera found, in a small JSON file.

    {"name": "workshop phone, main camera", "radial": 0.012, "radial_sd": 0.002}

`radial` is k1 of the usual convention (Brown 1971): a point at distance r from the axis, in units of the focal length,
is seen at r (1 + k1 r²). `radial_sd` is its standard uncertainty. `focal_35mm`, with `focal_35mm_sd`, may be added: the
focal length for a 36 mm wide frame; it then replaces the one in EXIF. `camera`, `exif_focal_35mm` and `aspect` say
which camera it is, as EXIF has them: a photo from another one is then refused.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import WrongUsage

if TYPE_CHECKING:
    from calib.photo import Photo

LIMITS: dict[str, tuple[float, float]] = {
    "radial": (-0.6, 0.6),
    "radial_sd": (0.0001, 0.2),
    "focal_35mm": (8.0, 400.0),
    "focal_35mm_sd": (0.01, 50.0),
    "exif_focal_35mm": (8.0, 400.0),
    "aspect": (1.0, 3.0),
}
SAME_ASPECT = 0.01
"""Within which a photo's sides have the ratio of the profile's photos, relative; more is a crop."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One camera's lens.

    Attributes:
        name: for the drawing and the records.
        radial: k1; radial_sd: its standard uncertainty.
        focal_35mm, focal_35mm_sd: focal length for a 36 mm wide frame and its standard uncertainty, mm, where known.
        camera: maker and model; exif_focal_35mm: focal length in EXIF; aspect: long side over short one; where known.
    """

    name: str
    radial: float
    radial_sd: float
    focal_35mm: float | None = None
    focal_35mm_sd: float | None = None
    camera: str | None = None
    exif_focal_35mm: float | None = None
    aspect: float | None = None

    def misfit(self, photo: Photo) -> str:
        """In what a photo is not of this profile's camera, as part of a sentence; empty where it may be."""
        h, w = photo.rgb.shape[:2]
        aspect = max(w, h) / min(w, h)
        if self.camera and self.camera != photo.camera:
            other = photo.camera or "a camera that EXIF does not name"
            return f"it was taken with {other}, the profile is of {self.camera}"
        if self.exif_focal_35mm and self.exif_focal_35mm != photo.focal_35mm:
            seen = f"{photo.focal_35mm:g} mm" if photo.focal_35mm else "no focal length"
            return f"its EXIF has {seen}, the profile is of the camera of {self.exif_focal_35mm:g} mm"
        if self.aspect and abs(aspect / self.aspect - 1) > SAME_ASPECT:
            return f"its sides are {aspect:.2f} to 1, those of the profile's photos {self.aspect:.2f} to 1"
        return ""

    def check(self, photo: Photo) -> None:
        """Refuse a photo of another camera.

        Raises:
            WrongUsage: with what is different.
        """
        why = self.misfit(photo)
        if why:
            raise WrongUsage(
                f"The lens profile {self.name} does not fit {photo.name}: {why}; leave --lens out, or give the right "
                "camera's profile.",
                "lens-other-camera",
            )

    def to_json(self) -> str:
        """The profile's file."""
        plain = {f.name: getattr(self, f.name) for f in fields(self)}
        return json.dumps({k: v for k, v in plain.items() if v is not None}, indent=1, ensure_ascii=False) + "\n"


def read_profile(path: Path) -> Profile:
    """A profile from its file.

    Raises:
        WrongUsage: the file is not there or not a profile; the sentence says what is wrong in it.
    """
    try:
        plain = json.loads(path.read_text("utf-8-sig"))
    except OSError as why:
        raise WrongUsage(f"The lens profile {path} can't be read ({(why.strerror or '').lower()}).", "lens") from None
    except ValueError:
        raise WrongUsage(f"The lens profile {path} is not valid JSON.", "lens") from None
    if not isinstance(plain, dict) or not isinstance(plain.get("name"), str) or not plain["name"].strip():
        raise WrongUsage(f'The lens profile {path} needs a "name", in a JSON object.', "lens")
    found = {key: _number(plain, key, path) for key in LIMITS}
    radial, sd = found["radial"], found["radial_sd"]
    if radial is None or sd is None:
        raise WrongUsage(f'The lens profile {path} needs the numbers "radial" and "radial_sd".', "lens")
    if (found["focal_35mm"] is None) != (found["focal_35mm_sd"] is None):
        raise WrongUsage(f'The lens profile {path} needs both "focal_35mm" and "focal_35mm_sd", or neither.', "lens")
    camera = plain.get("camera")
    if camera is not None and not isinstance(camera, str):
        raise WrongUsage(f'In the lens profile {path}, "camera" must be a text.', "lens")
    return Profile(
        plain["name"].strip()[:60],
        radial,
        sd,
        found["focal_35mm"],
        found["focal_35mm_sd"],
        camera,
        found["exif_focal_35mm"],
        found["aspect"],
    )


def _number(plain: dict[str, Any], key: str, path: Path) -> float | None:
    value = plain.get(key)
    if value is None:
        return None
    low, high = LIMITS[key]
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not math.isfinite(value)
        or not low <= value <= high
    ):
        raise WrongUsage(f'In the lens profile {path}, "{key}" must be a number from {low:g} to {high:g}.', "lens")
    return float(value)

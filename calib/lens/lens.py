"""A lens profile: what a calibration of one phone's camera found, in a small JSON file.

    {"name": "workshop phone, main camera", "radial": 0.012, "radial_sd": 0.002}

`radial` is k1 of the usual convention (Brown 1971): a point at distance r from the axis, in units of the focal length,
is seen at r (1 + k1 r²). `radial_sd` is its standard uncertainty. `focal_35mm`, with `focal_35mm_sd`, may be added: the
focal length for a 36 mm wide frame; it then replaces the one in EXIF. With it, `centre_35mm` may say where the axis
meets the frame, x to the right and y down from its middle as the sensor lies, likewise scaled, with `centre_35mm_sd`
for each way. `correlation` says how the errors of focal length, centre's x and y, and k1 go together: a calibration
knows some of their sums better than any of them. `tall` is true where the sensor's frame is taller than wide. `camera`,
`exif_focal_35mm` and `aspect` say which camera it is, as EXIF has them: a photo from another one is then refused.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import WrongUsage
from calib.files import content_of
from calib.messages import Remedy
from calib.written import printable

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from calib.photo.photo import Photo

LIMITS: dict[str, tuple[float, float]] = {
    "radial": (-0.6, 0.6),
    "radial_sd": (0.0001, 0.2),
    "focal_35mm": (8.0, 400.0),
    "focal_35mm_sd": (0.01, 50.0),
    "exif_focal_35mm": (8.0, 400.0),
    "aspect": (1.0, 3.0),
    "centre_35mm_sd": (0.001, 5.0),
}
MOST_CENTRE_35MM = 5.0
MAX_MB = 1.0
FRAME_MM = 36.0
"""Width of the frame that focal lengths and centres are given for."""
LEAST_EIGENVALUE = 1e-5
"""Of a matrix of correlations: with less, one of the errors would be known from the others, which no calibration is."""
SAME_ASPECT = 0.01
"""Within which a photo's sides have the ratio of the profile's photos, relative; more is a crop."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One camera's lens.

    Attributes:
        name: for the drawing and the records.
        radial: k1; radial_sd: its standard uncertainty.
        focal_35mm, focal_35mm_sd: focal length for a 36 mm wide frame and its standard uncertainty, mm, where known.
        centre_35mm: (x, y) of the axis from the frame's middle, as the sensor lies, y down, for a 36 mm wide frame;
            centre_35mm_sd: its standard uncertainty each way; where known.
        correlation: (4, 4) of focal length, centre's x and y, k1; None where they are known independently.
        tall: whether the sensor's frame is taller than wide.
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
    centre_35mm: tuple[float, ...] | None = None
    centre_35mm_sd: float | None = None
    correlation: tuple[tuple[float, ...], ...] | None = None
    tall: bool = False

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
                f"The lens profile {self.name} does not fit {photo.name}: {why}",
                "lens-other-camera",
                Remedy("no-lens"),
                "give the right camera's profile",
            )

    def to_json(self) -> str:
        """The profile's file."""
        plain = {f.name: getattr(self, f.name) for f in fields(self)}
        known = {k: v for k, v in plain.items() if v is not None and v is not False}
        lines = (f" {json.dumps(k)}: {json.dumps(v, ensure_ascii=False)}" for k, v in known.items())
        return "{\n" + ",\n".join(lines) + "\n}\n"


def read_profile(path: Path) -> Profile:
    """A profile from its file.

    Raises:
        WrongUsage: the file is not there or not a profile; the sentence says what is wrong in it.
    """
    try:
        plain = json.loads(content_of(path, MAX_MB).decode("utf-8-sig"))
    except OSError as why:
        raise WrongUsage(f"The lens profile {path} can't be read ({(why.strerror or '').lower()}).", "lens") from None
    except (ValueError, RecursionError):
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
        printable(plain["name"].strip())[:60],
        radial,
        sd,
        found["focal_35mm"],
        found["focal_35mm_sd"],
        camera,
        found["exif_focal_35mm"],
        found["aspect"],
        **_joint(plain, path),
    )


def _joint(plain: dict[str, Any], path: Path) -> dict[str, Any]:
    """What a profile says of the centre, and of how errors go together."""
    import numpy as np

    centre, correlation, tall = (plain.get(k) for k in ("centre_35mm", "correlation", "tall"))
    sd = _number(plain, "centre_35mm_sd", path)
    given = [k for k, v in (("centre_35mm", centre), ("centre_35mm_sd", sd)) if v is not None]
    if len(given) == 1 or (given and plain.get("focal_35mm") is None):
        text = 'needs "focal_35mm", "centre_35mm" and "centre_35mm_sd" together, or no centre'
        raise WrongUsage(f"The lens profile {path} {text}.", "lens")
    if centre is not None:
        at = _numbers(centre, (2,))
        if at is None or np.abs(at).max() > MOST_CENTRE_35MM:
            text = f"must be two numbers from -{MOST_CENTRE_35MM:g} to {MOST_CENTRE_35MM:g}"
            raise WrongUsage(f'In the lens profile {path}, "centre_35mm" {text}.', "lens")
        centre = tuple(at.tolist())
    if correlation is not None:
        m = _numbers(correlation, (4, 4))
        one = m is not None and np.allclose(m, m.T, atol=1e-9) and np.allclose(np.diag(m), 1, atol=1e-9)
        if not one or m is None or np.linalg.eigvalsh(m).min() < LEAST_EIGENVALUE or centre is None:
            text = "must be the 4 by 4 correlations of focal length, centre and radial term, all of them given"
            raise WrongUsage(f'In the lens profile {path}, "correlation" {text}.', "lens")
        correlation = tuple(map(tuple, m.tolist()))
    if tall is not None and not isinstance(tall, bool):
        raise WrongUsage(f'In the lens profile {path}, "tall" must be true or false.', "lens")
    return {"centre_35mm": centre, "centre_35mm_sd": sd, "correlation": correlation, "tall": bool(tall)}


def _numbers(value: Any, shape: tuple[int, ...]) -> NDArray[np.float64] | None:
    """An array from nested lists of numbers; None where they are none, or of another shape."""
    import numpy as np

    try:
        out = np.array(value)
    except ValueError:
        return None
    good = out.shape == shape and out.dtype.kind in "if" and np.isfinite(out).all()
    return out.astype(float) if good else None


def _number(plain: dict[str, Any], key: str, path: Path) -> float | None:
    value = plain.get(key)
    if value is None:
        return None
    low, high = LIMITS[key]
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not low <= value <= high  # which infinity and NaN are not either
    ):
        raise WrongUsage(f'In the lens profile {path}, "{key}" must be a number from {low:g} to {high:g}.', "lens")
    return float(value)

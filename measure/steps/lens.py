"""Photos of the printed sheet to a lens profile."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from calib.errors import PhotoRefused, ReferenceRefused, WrongUsage
from calib.lens import store as lens_store
from calib.lens.calibration import LEAST_PHOTOS, Calibration, calibrate, unknown_lens
from calib.lens.lens import FRAME_MM, Profile
from calib.lens.prior import on_sensor, sensor_size_px
from calib.photo.photo import Photo, load
from calib.photo.same_view import Views
from calib.rectangle.refusals import Failure
from calib.reference.found import Caution
from calib.reference.wanted import UNMEASURED, Bars
from calib.target.target import Target, contradicted_bars, locate_target, no_target, paper, wrong_bars
from calib.tools.budget import K95
from calib.view.bundle import Points
from calib.view.view import camera_prior
from measure.job import job
from measure.steps import Done, counted

MOST_RADIAL_SD, MOST_FOCAL_SD = 0.02, 0.03
"""A lens known no better than without a profile is none."""


def lens(
    photos: Sequence[Path], out: Path | None, *, name: str | None = None, bars: Bars = UNMEASURED, force: bool = False
) -> Done:
    """Find a camera's lens.

    Args:
        photos: of the same printed sheet by the same camera, three or more.
        out: the profile's file; None for the folder in which photos find their profiles.
        name: of the profile; the camera's by default.
        bars: check bars of the sheet, as measured.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: too few photos, or of different cameras; the file can't be written.
        Untrustworthy: a photo or its sheet can't be measured, or the photos tell no lens.
    """
    _check_enough(len(photos))
    wrong = wrong_bars(bars)
    if wrong is not None:
        raise WrongUsage.of(wrong)
    first: Photo | None = None
    targets: list[Target] = []
    seen: list[Points] = []
    names: list[str] = []
    views = Views()
    repeats: list[Caution] = []
    for path in photos:
        photo = load(path)
        first = first or photo
        twin = views.twin(photo.rgb, photo.name)
        if twin is not None:
            repeats.append(Caution("same-photo", f"{photo.name} shows the same view as {twin}: it counts once."))
            continue
        _check_same(first, photo)
        target = _target(photo)
        if targets and target.layout.name != targets[0].layout.name:
            raise WrongUsage(f"{photo.name} shows the sheet of another paper than the first photo.", "two-sheets")
        targets.append(target)
        seen.append(Points(target.points.which, on_sensor(target.points.points_px, photo), target.points.sigma_px))
        names.append(photo.name)
    assert first is not None
    _check_enough(len(names))
    size = sensor_size_px(first)
    layout = targets[0].layout
    guess = camera_prior(size, first.focal_35mm).focal_px
    try:
        found = calibrate(seen, layout.saddles_mm, paper(layout, bars), unknown_lens(size, guess), size)
    except np.linalg.LinAlgError:
        raise ReferenceRefused(_NO_LENS, "no-lens") from None
    contradicted = contradicted_bars(seen, layout, bars, unknown_lens(size, guess), size, found.adjusted)
    if contradicted is not None:
        raise ReferenceRefused.of(contradicted)
    if found.radial_sd > MOST_RADIAL_SD or found.focal_sd_px > MOST_FOCAL_SD * found.focal_px:
        raise ReferenceRefused(_NO_LENS, "no-lens")
    profile = profile_of(found, first, size, name)
    file = out or lens_store.folder() / f"{_plain(profile.name)}.json"
    job.check_writable(file.parent, (file.name,), force)
    written = job.write(file.parent, {file.name: profile.to_json().encode()}, force=force)
    return Done(
        "lens",
        tuple(written),
        _lines(profile, found, names, file),
        _result(profile, found, names),
        (*_cautions(found, names), *repeats),
    )


def _check_enough(photos: int) -> None:
    """Enough photos, each with a view of its own."""
    if photos < LEAST_PHOTOS:
        text = (
            f"A lens needs {LEAST_PHOTOS} photos of the printed sheet or more, each from another place, better six: "
            f"{counted(photos, 'photo')} won't do."
        )
        raise WrongUsage(text, "few-photos")


_NO_LENS = (
    "These photos don't tell the lens: take six of the sheet, some tilted by 20 degrees to different sides, one with "
    "the sheet in a corner of the frame, the phone held the same distance away as for parts."
)


def _target(photo: Photo) -> Target:
    h, w = photo.rgb.shape[:2]
    found = locate_target(photo.rgb, camera_prior((w, h), photo.focal_35mm)) or no_target()
    if isinstance(found, Failure):
        raise ReferenceRefused.of(found.after(f"{photo.name}: "))
    return found


def _check_same(first: Photo, photo: Photo) -> None:
    """All photos come from one camera and have one size."""
    same = (first.camera, first.focal_35mm) == (photo.camera, photo.focal_35mm)
    if not same:
        raise WrongUsage(
            f"{photo.name} was taken with another camera or focal length than {first.name}: give photos of one only.",
            "lens-other-camera",
        )
    if sensor_size_px(first) != sensor_size_px(photo):
        raise PhotoRefused(
            f"{photo.name} has another size than {first.name}, or was turned after it was taken: give photos as the "
            "phone wrote them, held the same way.",
            "photo-size",
        )


def profile_of(found: Calibration, photo: Photo, size: tuple[int, int], name: str | None) -> Profile:
    """The profile of a calibration.

    Args:
        found: the calibration; photo: one of its photos; size: of all of them, as the sensor lay, px.
        name: of the profile; the camera's by default.
    """
    wide = FRAME_MM / max(size)
    sd = np.sqrt(np.diag(found.covariance))
    centre = (found.adjusted.camera[1:3] - (np.array(size) - 1) / 2) * wide
    correlation = (found.covariance / np.outer(sd, sd)).round(6)
    return Profile(
        name=(name or photo.camera or "phone").strip()[:60],
        radial=round(found.radial, 5),
        radial_sd=round(found.radial_sd, 5),
        focal_35mm=round(found.focal_px * wide, 3),
        focal_35mm_sd=round(found.focal_sd_px * wide, 3),
        camera=photo.camera,
        exif_focal_35mm=photo.focal_35mm,
        aspect=round(max(size) / min(size), 4),
        centre_35mm=tuple(centre.round(4).tolist()),
        centre_35mm_sd=round(float(sd[1:3].max()) * wide, 4),
        correlation=tuple(map(tuple, correlation.tolist())),
        tall=size[1] > size[0],
    )


def _plain(name: str) -> str:
    """A file's name from a profile's."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "lens"


def _lines(profile: Profile, found: Calibration, names: list[str], file: Path) -> tuple[str, ...]:
    assert profile.focal_35mm is not None
    assert profile.focal_35mm_sd is not None
    kept = found.adjusted.used
    points = f"{sum(int(u.sum()) for u in kept)} of {sum(len(u) for u in kept)} points"
    return (
        f"Lens of {profile.name} from {counted(len(names), 'photo')}, {points}, residual {found.rms_px:.2f} px.",
        f"Focal length {profile.focal_35mm:.2f} ± {K95 * profile.focal_35mm_sd:.2f} mm (for a 36 mm wide frame).",
        f"Radial term {profile.radial:.4f} ± {K95 * profile.radial_sd:.4f}.",
        *(f"  {n:24} {rms:.2f} px" for n, rms in zip(names, found.adjusted.rms_px, strict=True)),
        f"Wrote {file}.",
    )


def _cautions(found: Calibration, names: list[str]) -> tuple[Caution, ...]:
    out = [
        Caution(
            "spoilt", f"{names[k]} pulls the lens away from what the other photos say: take it again, or leave it out."
        )
        for k in found.spoiling
    ]
    if found.missing:
        out.append(Caution("missing-view", f"The lens would be surer with {' and '.join(found.missing)}."))
    return tuple(out)


def _result(profile: Profile, found: Calibration, names: list[str]) -> dict[str, object]:
    return {
        "profile": profile.name,
        "focal_35mm": profile.focal_35mm,
        "focal_35mm_u95": round(K95 * (profile.focal_35mm_sd or 0.0), 4),
        "radial": profile.radial,
        "radial_u95": round(K95 * profile.radial_sd, 5),
        "rms_px": round(found.rms_px, 4),
        "photos": [
            {"photo": n, "rms_px": round(float(r), 4)} for n, r in zip(names, found.adjusted.rms_px, strict=True)
        ],
        "spoiling": [names[k] for k in found.spoiling],
        "missing": list(found.missing),
    }

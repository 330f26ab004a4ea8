"""What a lens profile is worth: lengths at the frame's edge, by a card near its middle, without a profile and with one.

    python -m tests.accuracy.lens [--photos 16]

Each photo has a camera of its own: focal length off by what EXIF leaves open, an axis off the middle, a lens that bends
by a radial term of ± 0.03 at the most. The profile comes from six photos of the printed sheet by that camera, their
points with the scatter that located ones have, through a file, as a person has it. Two minutes of work.
"""

import argparse
import tempfile
from pathlib import Path

import numpy as np

from calib.card.card import Card, find_card
from calib.lens.calibration import calibrate, unknown_lens
from calib.lens.lens import Profile, read_profile
from calib.lens.prior import prior_by
from calib.photo.photo import Photo
from calib.reference.wanted import Bars
from calib.target.layout import BAR_MM, LAYOUTS
from calib.target.target import paper
from calib.view.bundle import Points
from calib.view.view import Prior, View, camera_prior, project
from measure.geometry.dimensions import K95
from measure.steps.lens import profile_of
from tests.accuracy.small_photos import Scene, Thing, photo, rounded
from tests.rendered_sheet import Shot

SHEET = LAYOUTS["a4"]
WIDE = 2000
EXIF_MM = 27
LENGTH_MM = 50.0
POINT_PX, POINT_MM, BAR_SD_MM = 0.05, 0.012, 0.03
"""Scatter of a located point, of a printed one, and of a bar as measured."""
OUT = (0.70, 0.85)
"""How far from the middle the lengths lie, as share of half the frame's diagonal."""
FACES = ((0.60, 0.58, 0.50), (0.45, 0.50, 0.62), "waves")
"""Of cards."""
SHEET_VIEWS = (
    {"tilt_deg": 4.0},
    {"tilt_deg": 22.0, "towards_deg": 0.0},
    {"tilt_deg": 20.0, "towards_deg": 120.0, "turn_deg": 10.0, "height_mm": 420.0},
    {"tilt_deg": 18.0, "towards_deg": 240.0},
    {"tilt_deg": 8.0, "aim_mm": (150.0, 110.0), "height_mm": 420.0},
    {"tilt_deg": 15.0, "towards_deg": 300.0, "aim_mm": (-60.0, -40.0), "height_mm": 420.0},
)


def scene_of(number: int) -> Scene:
    """A card near the middle of the frame, by a camera of its own."""
    rng = np.random.default_rng(number)
    size = (85.60 + rng.normal(0, 0.04), 53.98 + rng.normal(0, 0.018))
    face = FACES[int(rng.integers(len(FACES)))]
    card = Thing(rounded(*size, 3.18), size, tuple(rng.uniform(-12, 12, 2)), float(rng.uniform(-30, 30)), face=face)
    convention = rng.choice([WIDE / 36, np.hypot(WIDE, 0.75 * WIDE) / 43.2666])  # by the long side or by the diagonal
    focal_px = (EXIF_MM + rng.uniform(-0.5, 0.5)) * convention
    return Scene(
        name=f"{number}",
        things=(card,),
        part_at=(0.0, 0.0),
        ground="grey",
        height=float(rng.uniform(190, 230)),
        tilt=float(rng.uniform(2, 12)),
        azimuth=float(rng.uniform(0, 360)),
        focal_35mm=float(focal_px * 36 / WIDE),
        radial=float(rng.uniform(-0.03, 0.03)),
        seed=number,
        wide=WIDE,
    )


def profile_for(scene: Scene, rng: np.random.Generator) -> Profile:
    """From photos of the sheet by a scene's camera, written and read."""
    size, camera = scene.size_px, scene.camera[6:]
    stretch = 1 + rng.normal(0, 0.003, 2)
    printed = SHEET.saddles_mm * stretch + rng.normal(0, POINT_MM, SHEET.saddles_mm.shape)
    seen = []
    for change in SHEET_VIEWS:
        q = Shot(size_px=size, **change).parameters()
        px = project(np.r_[q[:6], camera], np.c_[printed, np.zeros(len(printed))])
        px = px + rng.normal(0, POINT_PX, px.shape)
        which = np.flatnonzero(((px > 5) & (px < np.array(size) - 6)).all(1))
        seen.append(Points(which, px[which], np.full(len(which), POINT_PX)))
    bars = Bars(*(BAR_MM * stretch + rng.normal(0, BAR_SD_MM, 2)))
    guess = camera_prior(size, EXIF_MM).focal_px
    found = calibrate(seen, SHEET.saddles_mm, paper(SHEET, bars), unknown_lens(size, guess), size)
    with tempfile.TemporaryDirectory() as d:
        file = Path(d) / "lens.json"
        file.write_text(profile_of(found, blank(size), size, "drawn").to_json())
        return read_profile(file)


def blank(size_px: tuple[int, int]) -> Photo:
    """A photo of this size with EXIF alone."""
    return Photo(np.broadcast_to(np.uint8(0), (size_px[1], size_px[0], 3)), float(EXIF_MM), "Example P1", "a.jpg")


def lengths_px(scene: Scene, rng: np.random.Generator) -> list[np.ndarray]:
    """(2, 2) ends, as the camera sees them, of lengths near the frame's edge that lie on the table."""
    w, h = scene.size_px
    truth = View(scene.camera, np.zeros((10, 10)), (w, h))
    half = np.hypot(w, h) / 2
    out = []
    while len(out) < 4:
        way, along = rng.uniform(0, 2 * np.pi, 2)
        middle_px = np.array([w, h]) / 2 + rng.uniform(*OUT) * half * np.array([np.cos(way), np.sin(way)])
        middle = truth.plane(middle_px[None])[0]
        ends = middle + LENGTH_MM / 2 * np.array([[1.0], [-1.0]]) * [np.cos(along), np.sin(along)]
        px = truth.pixels(ends)
        if ((px > 0) & (px < np.array([w, h]) - 1)).all():
            out.append(px)
    return out


def measured(card: Card, ends_px: np.ndarray) -> tuple[float, float]:
    """Error and u95 of a length, mm."""
    view = card.solution.view
    at, change = view.plane(ends_px), view.plane_sensitivity(ends_px)
    along = (at[1] - at[0]) / np.hypot(*(at[1] - at[0]))
    gradient = along @ (change[1] - change[0])
    u95 = K95 * float(np.sqrt(gradient @ view.covariance @ gradient))
    return float(np.hypot(*(at[1] - at[0]))) - LENGTH_MM, u95


def judged(number: int) -> dict[str, list[tuple[float, float]]]:
    """Errors and u95 of one photo's lengths, without a profile and with one; empty where the card was refused."""
    scene, rng = scene_of(number), np.random.default_rng(1000 + number)
    rgb, size = photo(scene), scene.size_px
    plain = camera_prior(size, EXIF_MM)
    priors: dict[str, Prior] = {"without": plain, "with": prior_by(profile_for(scene, rng), plain, blank(size))}
    ends = lengths_px(scene, rng)
    cards = {name: find_card(rgb, prior) for name, prior in priors.items()}
    if not all(isinstance(c, Card) for c in cards.values()):
        return {}
    return {name: [measured(card, px) for px in ends] for name, card in cards.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--photos", type=int, default=16)
    photos = [judged(k) for k in range(parser.parse_args().photos)]
    good = [p for p in photos if p]
    print(f"{LENGTH_MM:g} mm at the frame's edge, card in its middle; {len(good)} photos of as many cameras", end="")
    print(f", {len(photos) - len(good)} refused")
    print(f"{'':16} error median  p95 mm  u95 median  p95 mm  inside u95")
    for name in ("without", "with"):
        error, u95 = np.abs(np.array([x for p in good for x in p[name]])).T
        inside = f"{100 * np.mean(error <= u95):5.0f} % of {len(u95)}"
        middle, most = (f"{np.median(v):12.3f}  {np.quantile(v, 0.95):6.3f}" for v in (error, u95))
        print(f"{name + ' profile':16} {middle}{most}  {inside}")


if __name__ == "__main__":
    main()

"""Is a scale ever taken from what gives none? Photos with decoys and with good cards, drawn and traced.

    python -m tests.accuracy.decoys [--only WORD …] [--save FOLDER]

No decoy may yield a drawing; the table says what each was refused for. Of the good ones it says how far the scale is
off at the part, and whether that lies in the interval that was given.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from PIL import Image

from calib.errors import JawlineError
from calib.photo.photo import Photo
from calib.view.view import View, project
from measure.tracing.request import Request
from measure.tracing.tracing import trace
from tests.accuracy.cards_photos import Decoy, decoys, goods
from tests.accuracy.small_photos import Scene, photo


@dataclass(frozen=True)
class Result:
    """What came of one photo: code and text of its refusal, or the scale's relative error, the half-width given, and
    the codes of what was said all the same."""

    name: str
    code: str
    text: str = ""
    error: float = 0.0
    u95: float = 0.0
    cautions: tuple[str, ...] = ()


def nth(k: int, save: Path | None = None) -> Result:
    """What comes of one photo, decoys first (outlines are functions and can't be sent to another process)."""
    return traced(([d.scene for d in decoys()] + list(goods()))[k], save)


def traced(scene: Scene, save: Path | None = None) -> Result:
    """Draw one photo and trace it."""
    rgb = photo(scene)
    if save:
        Image.fromarray(rgb).save(save / f"{scene.name.replace(' ', '-').replace(',', '')}.jpg", quality=92)
    given = Photo(rgb, round(scene.focal_35mm) if scene.exif else None, None, "drawn.jpg")
    try:
        found = trace(given, Request(scene.thickness_mm))
    except JawlineError as e:
        return Result(scene.name, e.code, e.text)
    said = tuple(c.code for c in found.cautions)
    return Result(scene.name, "", "", scale_error(scene, found.reference.view), found.scale.u95_relative, said)


def scale_error(scene: Scene, view: View) -> float:
    """Relative error of a view's scale at the part, on the plane that the part lies on."""
    base = scene.things[-1].base
    cross = np.array([[-10.0, 0.0], [10.0, 0.0], [0.0, -10.0], [0.0, 10.0]]) + scene.part_at
    at = view.plane(project(scene.camera, np.c_[cross, np.full(4, base)]))
    area = np.linalg.det(np.stack([at[1] - at[0], at[3] - at[2]])) / 400
    return float(np.sqrt(abs(area)) - 1)


def decoy_line(d: Decoy, r: Result) -> str:
    """One decoy in the table."""
    if not r.code:
        return f"{d.scene.name:52} DRAWN, scale off by {100 * r.error:+.2f} %, {', '.join(r.cautions) or 'silently'}"
    return f"{d.scene.name:52} {r.code}{'' if r.code in d.codes else '   (another reason would be true)'}"


def good_line(r: Result) -> str:
    """One good photo in the table."""
    if r.code:
        return f"{r.name:52} REFUSED {r.code}"
    inside = "inside" if abs(r.error) <= r.u95 else "OUTSIDE"
    return f"{r.name:52} scale {100 * r.error:+.3f} %, {inside} ± {100 * r.u95:.3f} %"


def main() -> None:
    """Print the table."""
    a = argparse.ArgumentParser(description="No silent wrong scale: decoys and good cards.")
    a.add_argument("--only", nargs="*", default=[""], help="scenes whose names hold one of these")
    a.add_argument("--save", type=Path, help="write the photos to this folder")
    a = a.parse_args()
    if a.save:
        a.save.mkdir(parents=True, exist_ok=True)
    every = list(decoys())
    wanted = [any(w in s.name for w in a.only) for s in [*(d.scene for d in every), *goods()]]
    bad = [d for d, this in zip(every, wanted, strict=False) if this]
    results = []
    with ProcessPoolExecutor(2) as pool:
        for r in pool.map(partial(nth, save=a.save), np.flatnonzero(wanted)):
            print(decoy_line(bad[len(results)], r) if len(results) < len(bad) else good_line(r), flush=True)
            results.append(r)
    good = results[len(bad) :]
    passed = [r.name for r in results[: len(bad)] if not r.code]
    other = sum(bool(r.code) and r.code not in d.codes for d, r in zip(bad, results, strict=False))
    refused = [r.name for r in good if r.code]
    done = [r for r in good if not r.code]
    print(f"\ndecoys: {len(bad)}, drawn all the same {len(passed)}: {', '.join(passed) or 'none'}")
    print(f"refused for another reason than the true one: {other}")
    print(f"good: {len(good)}, refused {len(refused)}: {', '.join(refused) or 'none'}")
    if done:
        off = np.abs([r.error for r in done])
        inside = sum(abs(r.error) <= r.u95 for r in done)
        print(
            f"scale off by median {100 * np.median(off):.3f} %, worst {100 * off.max():.3f} %; "
            f"{inside} of {len(done)} inside"
        )


if __name__ == "__main__":
    main()

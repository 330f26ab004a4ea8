"""A scene -> NAME.jpg and NAME.truth.json.

python -m tests.accuracy.lab.shoot FOLDER FIRST COUNT [--small]
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import numpy as np

from tests.accuracy import shapes as sh
from tests.accuracy.lab.develop import LARGEST_BYTES, developed, jpeg
from tests.accuracy.lab.population import random_scene
from tests.accuracy.lab.scene import Scene

SMALL_PX, SMALL_BYTES, SMALL_FILL = 1600, 250_000, (0.8, 0.92)
"""Photos that a repository can carry."""


def shoot(scene: Scene, folder: Path, largest: int = LARGEST_BYTES) -> Path:
    """Render a scene and write photo and truth.

    Args:
        largest: bytes that the photo may take.

    Returns:
        The photo.
    """
    from tests.accuracy.lab.render import light_of  # the renderer is not always there

    camera = scene.camera
    upright = developed(light_of(scene), camera, scene.phone, np.random.default_rng([scene.seed, 3]))
    data, quality = jpeg(upright, camera, scene.phone, largest)
    photo = folder / f"{scene.name}.jpg"
    photo.write_bytes(data)
    truth = truth_of(scene) | {"jpeg_quality": quality}
    (folder / f"{scene.name}.truth.json").write_text(json.dumps(truth, indent=1) + "\n")
    return photo


def truth_of(scene: Scene) -> dict[str, Any]:
    """What is true of a photo: outline, camera, card, dimensions, readings that jaws could take."""
    opening = scene.subject == "opening"
    loops = sh.label(scene.loops)
    card, phone = scene.cards[0], scene.phone
    readings = sh.caliper(loops, scene.thickness_mm, np.random.default_rng([scene.seed, 4]), opening)
    return {
        "photo": f"{scene.name}.jpg",
        "level": scene.level,
        "words": f"{scene.body}, drawn at random",
        "subject": scene.subject,
        "thickness_mm": 0.0 if opening else scene.thickness_mm,
        "plate_mm": scene.thickness_mm if opening else None,
        "camera": scene.camera.record(),
        "rim_mm": scene.rim.size_mm,
        "rim_form": scene.rim.form,
        "scene": {
            "body": scene.body,
            "table": scene.table,
            "light": scene.light,
            "shade": scene.shade,
            "glare": scene.glare,
            "printed": scene.printed,
            "dust": scene.dust,
            "raised_mm": scene.raised.height_mm if scene.raised else 0.0,
            "card": card.style if isinstance(card.style, str) else "plain",
            "colour": list(scene.colour),
            "fov": phone.fov_deg,
            "blur": phone.blur_px,
            "noise": phone.noise,
            "sharpen": phone.sharpen,
            "exif": phone.exif,
        },
        "place": list(scene.place),
        "reference": [
            {"w": c.w, "h": c.h, "r": c.r, "thick": c.thick, "place": list(c.place), "z0": 0.0} for c in scene.cards
        ],
        "expect": "drawing",
        "loops": loops,
        "dimensions": sh.dimensions(loops),
        "caliper": readings,
    }


def main() -> None:
    """Draw some photos."""
    a = argparse.ArgumentParser(description="Photos of the population, by seed.")
    a.add_argument("folder", type=Path)
    a.add_argument("first", type=int)
    a.add_argument("count", type=int)
    a.add_argument("--small", action="store_true", help="a sixth of the pixels, taken nearer, for tests")
    a = a.parse_args()
    a.folder.mkdir(parents=True, exist_ok=True)
    for seed in range(a.first, a.first + a.count):
        scene = random_scene(seed, width_px=SMALL_PX, fill=SMALL_FILL) if a.small else random_scene(seed)
        print(shoot(scene, a.folder, SMALL_BYTES if a.small else LARGEST_BYTES), flush=True)


if __name__ == "__main__":
    main()

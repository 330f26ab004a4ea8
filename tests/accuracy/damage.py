"""What comes of damaged files: python -m tests.accuracy.damage FORMAT [N] [--seed S]

A rendered photo at half its size, written in a format and damaged at random places (a bit flipped, a byte changed,
bytes left out or repeated). Files that are refused or decode to the same pixels, but for a few, are counted; of each
other one a part is drawn, and compared with the truth. Prints a line of the table in README.md.
"""

from __future__ import annotations

import argparse
import io
import json
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from calib.errors import JawlineError
from calib.photo.photo import load
from measure.steps.trace import trace
from measure.tracing.request import Request
from tests.accuracy.score import compare
from tests.test_damage import NOISE, spoiled

PHOTO = Path(__file__).with_name("photos") / "rack-wheel-clip.jpg"
HEAD = 2000
"""Bytes that hold lists of where things are."""
FEW = 300
"""Pixels that may differ: no more than a dot, which no edge is measured by (chosen)."""
WRONG_MM = 0.15
"""An outline is wrong where 5 % of it is farther off than this, as everywhere in the census, and than SOUND allows."""
OUTSIDE = 0.1
"""An outline is wrong too where more dimensions than this share lie outside their u95, and than SOUND allows."""
SOUND_MM, SOUND_SHARE = 0.02, 0.06
"""So much worse than what is drawn of the sound photo (which is not wholly right either)."""
KINDS: dict[str, tuple[str, dict[str, Any]]] = {
    "jpeg": ("JPEG", {"quality": 90}),
    "png": ("PNG", {}),
    "heic": ("HEIF", {"quality": 80}),
    "heic-tiles": ("HEIF", {"quality": 80, "tile_size": 512, "enc_params": {"x265:wpp": "0"}}),
    "webp": ("WEBP", {"quality": 90}),
    "webp-lossless": ("WEBP", {"lossless": True}),
    "tiff": ("TIFF", {}),
    "tiff-jpeg": ("TIFF", {"compression": "jpeg", "quality": 90}),
    "tiff-lzw": ("TIFF", {"compression": "tiff_lzw", "tiffinfo": {317: 2}}),
    "tiff-deflate": ("TIFF", {"compression": "tiff_adobe_deflate", "tiffinfo": {317: 2}}),
}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("kind", choices=KINDS)
    words.add_argument("n", type=int, nargs="?", default=300)
    words.add_argument("--seed", type=int, default=0)
    words.add_argument("--head", action="store_true", help=f"damage in the first {HEAD} bytes only")
    asked = words.parse_args()
    import pillow_heif

    pillow_heif.register_heif_opener()
    kind, options = KINDS[asked.kind]
    truth = json.loads(PHOTO.with_suffix(".truth.json").read_text())
    out = io.BytesIO()
    with Image.open(PHOTO) as im:
        im.convert("RGB").reduce(2).save(
            out, kind, **({} if kind == "TIFF" else {"exif": im.getexif().tobytes()}), **options
        )
    data = out.getvalue()
    counts: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.img"
        path.write_bytes(data)
        sound = load(path).rgb
        score, cautions = _drawn(path, truth, Path(folder) / "whole")
        whole = score, cautions - {"unchecked-file"}  # is said of the damaged ones too
        print(f"sound: p95 {whole[0]['p95_mm']:.3f}, inside u95 {whole[0]['coverage']}, {sorted(whole[1])}", flush=True)
        for seed in range(asked.seed, asked.seed + asked.n):
            broken = spoiled(data[:HEAD], seed, 12) + data[HEAD:] if asked.head else spoiled(data, seed, 12)
            path.write_bytes(broken)
            state = _state(path, sound, truth, whole, Path(folder) / f"job{seed}")
            counts[state.split(":")[0]] += 1
            if ":" in state or "silent" in state:
                print(f"    seed {seed}: {state}", flush=True)
    print(asked.kind, len(data), "bytes,", asked.n, "damages:", dict(counts))


def _drawn(path: Path, truth: dict[str, Any], job: Path) -> tuple[dict[str, Any], set[str]]:
    """The score and the cautions of what is drawn."""
    trace(path, job, Request(truth["thickness_mm"], truth["subject"]))
    traced = json.loads((job / "trace.json").read_text())
    return compare(truth, traced), {w["code"] for w in traced["warnings"]}


def _state(
    path: Path, sound: np.ndarray, truth: dict[str, Any], whole: tuple[dict[str, Any], set[str]], job: Path
) -> str:
    try:
        rgb = load(path).rgb
    except JawlineError:
        return "refused"
    if rgb.shape == sound.shape:
        other = int((np.abs(rgb.astype(int) - sound).max(2) > NOISE).sum())
        if other <= FEW:
            return "same" if other == 0 else "nearly the same"
    try:
        score, cautions = _drawn(path, truth, job)
    except JawlineError as why:
        return f"not drawn: {why.code}"
    new = sorted(cautions - whole[1])
    outside = 1 - (score["coverage"] or 0)
    most_mm = max(WRONG_MM, whole[0]["p95_mm"] + SOUND_MM)
    most_outside = max(OUTSIDE, 1 - (whole[0]["coverage"] or 0) + SOUND_SHARE)
    bad = score["mirrored"] or score["p95_mm"] > most_mm or outside > most_outside
    said = f"p95 {score['p95_mm']:.3f}, outside {outside:.2f}, {new}"
    if not bad:
        return "drawn right" + (f" and cautioned: {said}" if new else "")
    return f"wrong, cautioned: {said}" if new else f"wrong, silent: {said}"


if __name__ == "__main__":
    main()

"""Make the samples' outputs anew from their photos and readings: `python -m tests.make_samples [NAME …]`."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from measure.steps.draw import Drawing, draw

SAMPLES = Path(__file__).resolve().parent.parent / "samples"


def make(folder: Path) -> None:
    """One sample: outputs beside its photo, readings as they are."""
    truth = json.loads((folder / "truth.json").read_text())
    wanted = Drawing(
        folder / "photo.jpg",
        truth["thickness_mm"],
        truth["subject"],
        readings=folder / "readings.csv",
        name=truth["words"].split(" with ")[0].split(" for ")[0],
    )
    done = draw(wanted, folder, force=True, say=print)
    print("\n".join(done.lines))


def main() -> None:
    names = sys.argv[1:] or sorted(p.parent.name for p in SAMPLES.glob("*/photo.jpg"))
    for name in names:
        print(f"\n{name}")
        make(SAMPLES / name)


if __name__ == "__main__":
    main()

"""Whether a change of the code changes a result: every photo with its truth and every sample, through all commands.

python -m tests.same_results keep FOLDER      # with the code before
python -m tests.same_results compare FOLDER   # with the code after: what differs, and where first
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from measure.job.job import MANIFEST
from tests.accuracy import jaw_readings

HERE = Path(__file__).resolve().parent
PROGRAM = [sys.executable, "-c", "from measure.cli import main; main()"]
KEPT = (".json", ".dxf", ".svg")


def run(*words: object) -> str:
    """The exit code of a command and what it said, in which a name of a folder for the moment has no place."""
    done = subprocess.run([*PROGRAM, *map(str, words)], capture_output=True, text=True, cwd=HERE.parent)
    said = done.stdout + done.stderr
    for w in words:
        if isinstance(w, Path):
            said = said.replace(str(w), w.name)
    return f"{done.returncode}\n{said}"


def result(photo: Path, truth: dict[str, Any], work: Path, readings: Path | None) -> None:
    """A job of the photo, and what the commands said, left in a folder."""
    folder = work / "job"
    thickness = next(
        (r["reading_mm"] for r in truth.get("caliper", []) if r["kind"] == "thickness"), truth["thickness_mm"]
    )
    subject = ["--subject", "opening"] if truth.get("subject") == "opening" else []
    said = [run("trace", photo, "--thickness", thickness, "--job", folder, *subject)]
    if (folder / "trace.json").exists():
        if readings is None:
            readings = work / "readings.csv"
            jaw_readings.write(
                readings, jaw_readings.labelled(truth, json.loads((folder / "trace.json").read_text()))[0]
            )
        said += [run("read", folder, readings), run("reconcile", folder), run("sketch", folder), run("next", folder)]
    (work / "said.json").write_text(json.dumps(said))


def photos() -> list[tuple[str, Path, Path, Path | None]]:
    """Name, photo, truth and readings, of every photo and every sample."""
    found: list[tuple[str, Path, Path, Path | None]] = []
    for folder in ("photos", "openings", "broken"):
        for truth in sorted((HERE / "accuracy" / folder).glob("*.truth.json")):
            photo = truth.with_name(truth.name.replace(".truth.json", ".jpg"))
            if photo.exists():
                found.append((f"{folder}-{photo.stem}", photo, truth, None))
    for sample in sorted((HERE.parent / "samples").glob("*/truth.json")):
        found.append((sample.parent.name, sample.with_name("photo.jpg"), sample, sample.with_name("readings.csv")))
    return found


def difference(a: Any, b: Any, where: str = "") -> str:
    """The first place where two contents of JSON differ, or an empty string."""
    if type(a) is not type(b) or (not isinstance(a, dict | list) and a != b):
        return f"{where}: {a!r:.60} is now {b!r:.60}"
    if isinstance(a, dict):
        if a.keys() != b.keys():
            return f"{where}: keys {sorted(a.keys() ^ b.keys())}"
        return next(filter(None, (difference(a[k], b[k], f"{where}/{k}") for k in a)), "")
    if isinstance(a, list):
        if len(a) != len(b):
            return f"{where}: {len(a)} are now {len(b)}"
        return next(
            filter(None, (difference(x, y, f"{where}/{i}") for i, (x, y) in enumerate(zip(a, b, strict=True)))), ""
        )
    return ""


def drawn(path: Path) -> str:
    """What is drawn in a file: of a DXF its entities, as the rest has dates and numbers made up anew each time."""
    text = path.read_text()
    return text.partition("\nENTITIES\n")[2].partition("\nENDSEC\n")[0] if path.suffix == ".dxf" else text


def compared(before: Path, after: Path) -> list[str]:
    """What differs between the files of two folders, one sentence a file."""
    out = []
    names = {p.relative_to(f) for f in (before, after) for p in f.rglob("*") if p.suffix in KEPT and p.name != MANIFEST}
    for name in sorted(names):
        a, b = before / name, after / name
        if not a.exists() or not b.exists():
            out.append(f"{name}: only {'after' if b.exists() else 'before'}")
        elif a.suffix == ".json":
            found = difference(json.loads(a.read_text()), json.loads(b.read_text()))
            out += [f"{name}{found}"] if found else []
        elif drawn(a) != drawn(b):
            out.append(f"{name}: differs")
    return out


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("what", choices=["keep", "compare"])
    words.add_argument("folder", type=Path)
    words.add_argument("--only", nargs="+", default=[])
    a = words.parse_args()
    differs = 0
    for name, photo, truth, readings in photos():
        if a.only and not any(o in name for o in a.only):
            continue
        with TemporaryDirectory() as made:
            work = Path(made) / name
            work.mkdir()
            result(photo, json.loads(truth.read_text()), work, readings)
            if a.what == "keep":
                shutil.rmtree(a.folder / name, ignore_errors=True)
                for p in work.rglob("*"):
                    if p.suffix in KEPT:
                        (a.folder / name / p.relative_to(work)).parent.mkdir(parents=True, exist_ok=True)
                        shutil.copyfile(p, a.folder / name / p.relative_to(work))
                print(name, flush=True)
            else:
                found = compared(a.folder / name, work)
                differs += bool(found)
                print(name, "differs" if found else "the same", *found, sep="\n    ", flush=True)
    sys.exit(differs > 0)


if __name__ == "__main__":
    main()

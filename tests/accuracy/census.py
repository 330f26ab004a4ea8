"""What the program makes of one photo with exact truth: trace, readings, adjustment and the score of each.

Only the public commands are used, so that any version of the program can be judged.
"""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import subprocess
import tempfile
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

from tests.accuracy.jaw_readings import labelled, write
from tests.accuracy.score import compare

Row = dict[str, Any]
"""All that came of one photo; plain JSON values."""
Program = Callable[[Sequence[object]], tuple[int, str]]
"""Words of a command line -> exit code and what was said to people."""

TIMEOUT_S = 300
KEEP_FROM_MM = 0.12
"""A boundary that is off by this is worth looking at."""
USAGE = 2
"""Exit code of a program that does not know an option."""
SAID = 400
"""Characters kept of what was said."""
CLEAR_MM = 0.2
"""A rim from here on is what people call clearly rounded; invented."""


@dataclass(frozen=True)
class How:
    """How photos are judged.

    Attributes:
        program: words that start the program as a process; none: it runs in this process.
        told: whether every photo is traced once more, told what its rim is like.
        keep: a folder for what was refused or is off: photo, truth and what was found.
    """

    program: tuple[str, ...] = ()
    told: bool = False
    keep: Path | None = None

    @property
    def runs(self) -> Program:
        """The program to call."""
        return partial(_by_process, self.program) if self.program else _here


def judged(photo: Path, how: How) -> Row:
    """One photo of a folder with truth files."""
    truth = json.loads(photo.with_suffix(".truth.json").read_text())
    with tempfile.TemporaryDirectory(prefix="census") as folder:
        work = Path(folder)
        row = _facts(photo, truth) | _outcome(how.runs, photo, truth, work / "job")
        if how.told:
            told = _outcome(how.runs, photo, truth, work / "told", ["--rim", rim_word(truth)])
            row |= {"told": told} if told["rc"] != USAGE else {}
        if how.keep and (row["rc"] or row["trace"]["p95_mm"] > KEEP_FROM_MM):
            _keep(photo, work / "job", how.keep)
    return row


def drawn_and_judged(seed: int, how: How, width_px: int) -> Row:
    """A photo of the population, drawn on the spot and thrown away."""
    from tests.accuracy.lab.population import random_scene
    from tests.accuracy.lab.shoot import shoot

    with tempfile.TemporaryDirectory(prefix="census") as folder:
        return judged(shoot(random_scene(seed, width_px=width_px), Path(folder)), how)


def whatever_happens(judge: Callable[[], Row], name: str) -> Row:
    """The row, or one that says what kept it from being made."""
    try:
        return judge()
    except Exception:
        return {"name": name, "failed": traceback.format_exc()[-SAID:]}


def rim_word(truth: dict[str, Any]) -> str:
    """What its owner would answer when asked whether the upper edge is rounded."""
    size = truth.get("rim_mm", 0.0)
    return "sharp" if not size else "clear" if size >= CLEAR_MM else "little"


def thickness_mm(truth: dict[str, Any]) -> float:
    """As a caliper reads it."""
    read = [c["reading_mm"] for c in truth.get("caliper", []) if c["kind"] == "thickness"]
    return float(read[0] if read else truth["thickness_mm"])


def _facts(photo: Path, truth: dict[str, Any]) -> Row:
    return {
        "name": photo.stem,
        "level": truth["level"],
        "subject": truth["subject"],
        "thickness": truth["thickness_mm"],
        "tilt": truth["camera"]["tilt_deg"],
        "rim": truth.get("rim_mm", 0.0),
        "rim_form": truth.get("rim_form", "round" if truth.get("rim_mm") else "sharp"),
        "segments": sum(len(loop["segments"]) for loop in truth["loops"]),
        "scene": truth.get("scene", {}),
    }


def _outcome(run: Program, photo: Path, truth: dict[str, Any], job: Path, more: Sequence[str] = ()) -> Row:
    """Trace, readings, adjustment, and the score before and after the readings."""
    start = time.monotonic()
    opening = ["--subject", "opening"] if truth["subject"] == "opening" else []
    rc, said = run(["trace", photo, "--thickness", thickness_mm(truth), "--job", job, *opening, *more])
    unforeseen = "Traceback (most" in said or "was not made for" in said
    out: Row = {
        "rc": rc,
        "trace_s": round(time.monotonic() - start, 2),
        "said": said[-SAID:].strip(),
        "defect": unforeseen,
    }
    if rc:
        return out
    traced = json.loads((job / "trace.json").read_text())
    scale = traced["scale"]["u95_relative"]
    out |= {"trace": compare(truth, traced), "cautions": traced.get("warnings", []), "scale_u95": scale}
    rows, _ = labelled(truth, traced)
    if not rows:
        return out
    write(job.parent / "readings.csv", rows)
    rc, said = run(["read", job, job.parent / "readings.csv"])
    if rc == 0:
        rc, said = run(["reconcile", job])
    if rc:
        return out | {"rc_reconcile": rc, "said": said[-SAID:].strip(), "defect": "was not made for" in said}
    measured = json.loads((job / "measured.json").read_text())
    verdicts = [r["verdict"] for r in measured["readings"]]
    return out | {
        "rc_reconcile": 0,
        "measured": compare(truth, measured),
        "readings": len(verdicts),
        "false_alarms": sum(v != "kept" for v in verdicts),
    }


def _by_process(program: Sequence[str], words: Sequence[object]) -> tuple[int, str]:
    try:
        done = subprocess.run(
            [*program, *map(str, words)], capture_output=True, text=True, timeout=TIMEOUT_S, check=False
        )
    except subprocess.TimeoutExpired:
        return 1, f"No answer within {TIMEOUT_S} s."
    return done.returncode, done.stderr


def _here(words: Sequence[object]) -> tuple[int, str]:
    from measure.cli.app import app
    from measure.cli.run import run

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as said:
        return run(app, [str(w) for w in words]), said.getvalue()


def _keep(photo: Path, job: Path, folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for path in (photo, photo.with_suffix(".truth.json")):
        shutil.copy(path, folder / path.name)
    if (job / "trace.json").exists():
        shutil.copy(job / "trace.json", folder / f"{photo.stem}.trace.json")

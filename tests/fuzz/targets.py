"""What reads what others wrote: each takes an input or refuses it in a sentence."""

from __future__ import annotations

import io
import json
import random
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from starlette.testclient import TestClient

from calib.errors import JawlineError
from calib.lens.lens import read_profile
from calib.messages import LONGEST
from calib.photo.photo import check_header, load
from calib.reference.wanted import wanted
from calib.tools.jaws import read_tools
from calib.tools.printer import read_printer
from calib.written import plain_number
from measure.bench import kept
from measure.bench.live import live
from measure.broken.breaks import marked_break
from measure.edges.edge_loop import EdgeLoop
from measure.job import edges_record, job, records, revisions, view_record
from measure.planning.numbered import written_out
from measure.readings.readings import number, read_csv, read_words
from measure.silhouette.marks_file import read_marks
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.trial.sayings import parse, read_file
from tests.fuzz.mutate import as_json, reshaped, respoken, spoiled
from tests.jobs import plate, record, traced

SLOW_S = 3.0
"""Of one input, processor time; the slowest that is right is a photo of a few megapixels."""
Run = Callable[[random.Random], None]


@dataclass(slots=True)
class Tally:
    """What became of a target's cases: how many were taken and refused, and the slowest."""

    taken: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    defects: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Target:
    """Something that reads: its name, its share of all cases, and one case of it."""

    name: str
    share: float
    run: Run


def tried(target: Target, seed: int, tally: Tally) -> None:
    """One case, by its seed; what is neither taken nor refused in a sentence is noted with it."""
    began = time.process_time()
    try:
        target.run(random.Random(f"{target.name} {seed}"))
        tally.taken += 1
    except JawlineError as why:
        tally.refused += 1
        if not (why.text.isprintable() and 10 < len(why.text) <= LONGEST):
            tally.defects.append(f"{target.name} {seed}: no sentence: {why.text!r}")
    except Exception as why:
        tally.defects.append(f"{target.name} {seed}: {type(why).__name__}: {' '.join(str(why).split())[:160]}")
    took = time.process_time() - began
    tally.slowest_s = max(tally.slowest_s, took)
    if took > SLOW_S:
        tally.defects.append(f"{target.name} {seed}: {took:.1f} s")


# -------------------------------------------------------------------------------------------------------- good inputs
HEAD = "kind,features,value,unit,tool,note\n"
READINGS = f"{HEAD}width,E2 E4,60.02,mm,caliper,\nbore,D1,0.236,in,vernier,#1\n# mine\nthickness,,4.2,,,\n"
SPOKEN = "width E2 E4 60.02 bore D1 4.02 mm thickness 4.2 gap E5-E7 3 3/16 in vernier"
SAID = "tight at E2 E3, too long 0.3 at E1 E3; gap of 0,4 mm at E5, would not go in"
MARKS = {"part": [[[1, 2], [30.5, 40]]], "away": [[[5, 5]]], "card": [[0, 0], [100, 0], [100, 60], [0, 60]]}
LENS = {
    "name": "phone",
    "radial": 0.01,
    "radial_sd": 0.002,
    "focal_35mm": 26.0,
    "focal_35mm_sd": 0.2,
    "camera": "Acme One",
    "centre_35mm": [0.1, 0.2],
    "centre_35mm_sd": 0.1,
    "correlation": [[1, 0, 0, 0.1], [0, 1, 0, 0], [0, 0, 1, 0], [0.1, 0, 0, 1]],
}
PRINTER = {
    "name": "bench",
    "outside_mm": 0.06,
    "inside_mm": 0.11,
    "shrinkage": [0.002, 0.0025],
    "covariance": [[1e-4, 0, 0, 0], [0, 1e-4, 0, 0], [0, 0, 1e-6, 0], [0, 0, 0, 1e-6]],
}
TOOLS = b"[mine]\nstep_mm = 0.001\npermissible_mm = [[100, 0.02], [300, 0.03]]\nhand_mm = 0.003\nsource = 'x'\n"
KEPT = {
    "schema": "jawline-bench/1",
    "name": "plate",
    "note": "",
    "at": 1.0,
    "asked": {"subject": "part", "thickness_mm": 4.2},
    "photo": {"width": 100, "height": 80, "scale": 0.5},
    "refusal": {"code": "x", "text": "y"},
}
_RING = np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 5.0], [0.0, 5.0]])
EDGES = edges_record.to_bytes([EdgeLoop(_RING, _RING / 10, np.full(4, 0.01), np.zeros((4, 13)))])
VIEW = {
    "schema": "jawline/1",
    "photo": [4000, 3000],
    "picture": {"file": "trace-photo.jpg", "width": 2000, "height": 1500, "scale": 0.5},
    "camera": [0.0] * 10,
    "frame": [[1, 0, 0], [0, 1, 0]],
    "wall": [4.2, 0],
    "opening": False,
    "reference": {"name": "id-1", "corners": [[0, 0], [9, 0], [9, 5], [0, 5]], "outline": [[0, 0], [9, 0], [9, 5]]},
}
PHOTO_KINDS = {
    "JPEG": {"quality": 80},
    "PNG": {},
    "WEBP": {},
    "TIFF": {"compression": "tiff_lzw"},
    "HEIF": {"quality": 30},
}


def photos() -> dict[str, bytes]:
    """A small photo in each format, with EXIF."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Acme"
    ramp = Image.linear_gradient("L").resize((720, 540)).convert("RGB")
    out = {}
    for kind, options in PHOTO_KINDS.items():
        file = io.BytesIO()
        ramp.save(file, kind, exif=exif.tobytes(), **options)
        out[kind] = file.getvalue()
    return out


# -------------------------------------------------------------------------------------------------------------- targets
def targets(folder: Path, client: TestClient) -> Iterator[Target]:
    """All of them.

    Args:
        folder: an empty one to work in.
        client: of a bench with one job, `plate`.
    """
    file = folder / "x"
    images = photos()

    def of_file(reader: Callable[[Path], object], make: Callable[[random.Random], bytes]) -> Run:
        def run(rng: random.Random) -> None:
            file.write_bytes(make(rng))
            reader(file)

        return run

    def image(rng: random.Random) -> bytes:
        good = images[rng.choice(list(images))]
        head = rng.choice((60, 400, len(good)))
        return spoiled(rng, good[:head]) + good[head:]

    def csv(rng: random.Random) -> bytes:
        text = READINGS.encode(rng.choice(("utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1")))
        return spoiled(rng, text)

    yield Target("a photo's header", 0.16, of_file(check_header, image))
    yield Target("a photo, decoded", 0.02, of_file(load, image))
    yield Target("readings, a file", 0.14, lambda rng: void(read_csv(csv(rng))))
    yield Target("readings, words", 0.10, lambda rng: void(read_words([respoken(rng, SPOKEN)])))
    yield Target("worksheet", 0.04, lambda rng: void(written_out([respoken(rng, "2=4.02")], spoiled(rng, WORKSHEET))))
    yield Target("sayings", 0.10, lambda rng: void(parse([respoken(rng, SAID)])))
    yield Target(
        "trials.csv",
        0.04,
        lambda rng: void(read_file(text_of(spoiled(rng, f"revision,said\n1,{SAID}\n".encode())), "t")),
    )
    yield Target("marks", 0.05, of_file(read_marks, lambda rng: as_json(rng, MARKS)))
    yield Target("lens profiles", 0.05, of_file(read_profile, lambda rng: as_json(rng, LENS)))
    yield Target("printers", 0.05, of_file(read_printer, lambda rng: as_json(rng, PRINTER)))
    yield Target("tools", 0.03, of_file(read_tools, lambda rng: spoiled(rng, TOOLS)))
    yield Target("numbers and names", 0.04, _numbers)
    yield from _of_jobs(folder)
    yield from _of_the_bench(client)


TRIALS = f"revision,said\n1,{SAID}\n".encode()
WORKSHEET = f"{HEAD}width,E2 E4,,mm,caliper,1\nbore,D1,,mm,caliper,2\n".encode()


def void(_: object) -> None:
    """Nothing: what was read is not looked at."""


def text_of(data: bytes) -> str:
    """As much of it as is text."""
    return data.decode("utf-8", "replace")


NUMBERS: tuple[tuple[Callable[[str], object], str], ...] = (
    (plain_number, "4,2 mm"),
    (number, "1 3/8"),
    (wanted, "120 x 80 x 3"),
    (wanted, "a4"),
    (lambda words: marked_break(plate(), words), "E1 - E2"),
)


def _numbers(rng: random.Random) -> None:
    reader, good = rng.choice(NUMBERS)
    reader(respoken(rng, good))


def _of_jobs(folder: Path) -> Iterator[Target]:
    """Files of a job that were spoiled, and a job with such a file."""
    good = json.loads(records.to_text(record()))
    whole = traced(folder / "plate")
    reconcile(whole)
    measured = json.loads((whole / job.MEASURED).read_text())
    kept_files = {p.name: p.read_bytes() for p in whole.iterdir() if p.is_file()}
    revision = {
        "schema": "jawline/1",
        "revision": 1,
        "trace": "x",
        "features": good["features"],
        "drawn": good["features"],
    }
    place = folder / "r" / revisions.FOLDER / "1"
    place.mkdir(parents=True)

    def of_text(plain: Any, reader: Callable[[str], object]) -> Callable[[random.Random], None]:
        return lambda rng: void(reader(text_of(as_json(rng, plain))))

    def as_revision(rng: random.Random) -> None:
        (place / revisions.RECORD).write_bytes(as_json(rng, revision))
        revisions.read(folder / "r", 1).outline()

    def as_manifest(rng: random.Random) -> None:
        (folder / "r" / job.MANIFEST).write_bytes(
            as_json(rng, {"files": {"a": ["b"]}, "taken": [], "drawn": {"fit": "snug"}})
        )
        job.Manifest.read(folder / "r")

    def restored() -> None:
        for name, content in kept_files.items():
            (whole / name).write_bytes(content)

    def as_live(rng: random.Random) -> None:
        restored()
        (whole / job.TRACE).write_text(json.dumps(reshaped(rng, good)), "utf-8", "surrogatepass")
        live(whole)

    def as_sketch(rng: random.Random) -> None:
        restored()
        plain = reshaped(rng, measured)
        if isinstance(plain, dict):
            plain["made_from"] = {}
        (whole / job.MEASURED).write_text(json.dumps(plain), "utf-8", "surrogatepass")
        sketch(whole, force=True)

    yield Target("trace.json", 0.06, of_text(good, lambda t: records.estimate(records.from_text(t, "t"), "t")))
    yield Target("trace-edges.npz", 0.06, lambda rng: void(edges_record.from_bytes(spoiled(rng, EDGES), "e")))
    yield Target("trace-view.json", 0.03, of_text(VIEW, lambda t: view_record.sighted(view_record.from_text(t, "v"))))
    yield Target("bench.json", 0.02, lambda rng: void(kept.from_bytes(as_json(rng, KEPT))))
    yield Target("revision.json", 0.02, as_revision)
    yield Target(".jawline.json", 0.02, as_manifest)
    yield Target("a job, worked out", 0.005, as_live)
    yield Target("a job, drawn", 0.002, as_sketch)


BODIES: dict[str, Any] = {
    "readings": {
        "kind": "width",
        "features": ["E2", "E4"],
        "value": "60.02",
        "unit": "mm",
        "tool": "caliper",
        "note": "x",
    },
    "trace": {
        "thickness": "4.2",
        "subject": "part",
        "fragments": 1,
        "strokes": {"part": [[[1, 2]]], "away": []},
        "revision": 1,
    },
    "trial": {"said": "tight at E2", "revision": 1},
    "complete": {"by": "open", "broken": "E1-E2", "revision": 1},
    "make": {"what": "poster", "options": {"as": "snug"}},
    "undo": {"revision": 1},
}


ADDRESSES = ("/api/jobs/plate/revisions/1.svg", "/api/jobs/plate/files/trace.json", "/static/job.js", "/job/plate")


def _of_the_bench(client: TestClient) -> Iterator[Target]:
    def answered(answer: Any) -> None:
        if answer.status_code >= 500:
            raise AssertionError(f"{answer.status_code} {answer.text[:200]}")
        if "content-security-policy" not in answer.headers:
            raise AssertionError(f"no headers with {answer.status_code}")
        if answer.status_code >= 400:
            raise JawlineError("The bench refused it in a sentence.", "refused")

    def body(rng: random.Random) -> None:
        path = rng.choice(list(BODIES))
        answered(client.post(f"/api/jobs/plate/{path}", content=as_json(rng, BODIES[path])))

    def address(rng: random.Random) -> None:
        good = rng.choice(
            ("/api/jobs/plate/revisions/1.svg", "/api/jobs/plate/files/trace.json", "/static/job.js", "/job/plate")
        )
        path = "/" + text_of(spoiled(rng, good.encode(), 2)).lstrip("/")
        query = text_of(spoiled(rng, b"features=E1,E3&revision=12&token=x", 3))
        cookie = spoiled(rng, b"a=b; jawline-fixer-8765=x; c=d", 2).replace(b"\n", b"").replace(b"\r", b"")
        url = client.base_url.copy_with(raw_path=(quoted(path) + "?" + quoted(query)).encode())
        answered(client.request(rng.choice(("GET", "GET", "DELETE", "PUT")), url, headers={"Cookie": cookie}))

    yield Target("the bench, bodies", 0.03, body)
    yield Target("the bench, addresses", 0.02, address)


def quoted(text: str) -> str:
    """As a browser sends it."""
    from urllib.parse import quote

    return quote(text, safe="/%&=,.?;:@-_~")

"""What the browser tests share: jobs made without the page, and outlines read back from a DXF."""

from __future__ import annotations

import json
import re
import shutil
import time
import urllib.request
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
from ezdxf.math import bulge_to_arc

from measure.bench import kept
from measure.bench.settings import Limits
from measure.bench.shelf import slug
from measure.job import job as files
from tests.sample_photos import FOLDER

PHOTO = FOLDER / "photo.jpg"
THICKNESS = "4,2"
LEG_MM, SLOT_MM = 62.03, 5.0
"""Two of its true sizes, by `truth.json`: over the long leg, and across the slot."""
NEAR_MM = 0.2
"""Edges are taken for these when they are so nearly so far apart; no other two edges there are. Invented."""
TRACE_S = Limits().trace_s
"""The bench itself gives up a trace after so long: a busy machine takes more of it than an idle one."""
TRACE_MS = 1000 * TRACE_S


@dataclass(frozen=True, slots=True)
class Bench:
    """A running bench: its address, the folder of its jobs, and the owners' page where there is one."""

    url: str
    folder: Path
    intake: str = ""

    def ask(
        self, path: str, body: bytes | None = None, kind: str = "application/json", method: str | None = None
    ) -> Any:
        """The JSON that it answers with."""
        headers = {"X-Jawline": "1", "Origin": self.url, "Content-Type": kind}
        request = urllib.request.Request(self.url + path, data=body, headers=headers, method=method)
        with urllib.request.urlopen(request, timeout=20) as answer:
            return json.load(answer)

    def post(self, path: str, **body: Any) -> Any:
        """Post JSON."""
        return self.ask(path, json.dumps(body).encode())

    def state(self, job: str) -> Any:
        """The whole state of a job."""
        return self.ask(f"/api/jobs/{job}")

    def upload(self, name: str, photo: Path = PHOTO, thickness: str = THICKNESS) -> str:
        """A new job of a photo; its id."""
        border = uuid.uuid4().hex
        parts = b"".join(
            f'--{border}\r\nContent-Disposition: form-data; name="{key}"\r\n\r\n{value}\r\n'.encode()
            for key, value in {"thickness": thickness, "subject": "part", "name": name}.items()
        )
        head = f'--{border}\r\nContent-Disposition: form-data; name="photo"; filename="{photo.name}"\r\n'
        parts += f"{head}Content-Type: image/jpeg\r\n\r\n".encode() + photo.read_bytes()
        body = parts + f"\r\n--{border}--\r\n".encode()
        return str(self.ask("/api/jobs", body, f"multipart/form-data; boundary={border}")["id"])

    def settled(self, job: str) -> Any:
        """The state once nothing is under way."""
        until = time.monotonic() + TRACE_S
        while (state := self.state(job))["state"] in ("waiting", "tracing"):
            assert time.monotonic() < until, state
            time.sleep(0.1)
        return state

    def traced(self, name: str) -> str:
        """A new job of the sample photo, traced: once for each bench, after that as a copy of what came of it."""
        first = self.folder.with_name(f"{self.folder.name}-traced")
        if not first.exists():
            job = self.upload(name)
            state = self.settled(job)
            assert state["state"] == "traced", state
            shutil.copytree(self.folder / job, first)
            return job
        return self.copied(first, name)

    def copied(self, first: Path, name: str) -> str:
        """A new job with the files of one that lies elsewhere."""
        known = kept.from_bytes((first / kept.FILE).read_bytes())
        assert known is not None
        made = self.folder / slug(name)
        assert not made.exists(), f"there is a job of the name {name} already"
        shutil.copytree(first, made)
        trace = (made / files.TRACE).read_text().replace(json.dumps(known.name), json.dumps(name), 1)  # its title
        own = {kept.FILE: kept.to_bytes(known.model_copy(update={"name": name})), files.TRACE: trace.encode()}
        files.write(made, own)  # as jawline's own
        return made.name


def features_of_dxf(path: Path) -> list[dict[str, Any]]:
    """Lines, arcs and circles on the layer OUTLINE, as a job has them; the longest polyline is loop 0."""
    loops: list[list[dict[str, Any]]] = []
    for e in ezdxf.readfile(path).modelspace().query('*[layer=="OUTLINE"]'):
        if e.dxftype() == "CIRCLE":
            loops.append([{"kind": "circle", "centre": list(e.dxf.center)[:2], "radius": e.dxf.radius}])
        else:
            points = list(e.get_points("xyb"))
            loops.append([_segment(a, b) for a, b in zip(points, points[1:] + points[:1], strict=True)])
    loops.sort(key=lambda loop: -len(loop))
    return [s | {"loop": k, "label": f"S{k}-{i}"} for k, loop in enumerate(loops) for i, s in enumerate(loop)]


def _segment(a: tuple[float, ...], b: tuple[float, ...]) -> dict[str, Any]:
    ends: dict[str, Any] = {"start": list(a[:2]), "end": list(b[:2])}
    if not a[2]:
        return {"kind": "line", **ends}
    centre, _, _, radius = bulge_to_arc(a[:2], b[:2], a[2])
    return {
        "kind": "arc",
        "centre": list(centre)[:2],
        "radius": radius,
        "turn": "ccw" if a[2] > 0 else "cw",
        **ends,
    }


def across(state: Any, mm: float) -> tuple[list[str], float]:
    """Two edges so far apart, by their labels, and what the photo says of the distance."""
    for d in state["dimensions"]:
        if d["kind"] == "distance" and abs(d["value_mm"] - mm) < NEAR_MM:
            return d["features"], d["value_mm"]
    raise AssertionError(f"no two edges are about {mm} mm apart")


def leg_and_slot(state: Any) -> tuple[str, str]:
    """The labels of the edges over the sample's long leg, and of its slot's."""
    return " ".join(across(state, LEG_MM)[0]), " ".join(across(state, SLOT_MM)[0])


def on_screen(page: Any, state: Any, points_px: Sequence[Sequence[float]]) -> list[tuple[float, float]]:
    """Where points of the photo, in its own pixels, are in the window just now."""
    box = page.locator("#view").bounding_box()
    x, y, k = (float(v) for v in re.findall(r"-?\d[-\d.e]*", page.locator("#world").get_attribute("transform")))
    shown = (np.asarray(points_px, float) + 0.5) * state["photo"]["scale"]
    return [(box["x"] + x + k * px, box["y"] + y + k * py) for px, py in shown]


def painted_on(page: Any, state: Any, points_px: Sequence[Sequence[float]]) -> None:
    """Paint one stroke through points of the photo."""
    first, *others = on_screen(page, state, points_px)
    page.mouse.move(*first)
    page.mouse.down()
    for p in others:
        page.mouse.move(*p, steps=8)
    page.mouse.up()


def retraced(page: Any) -> str:
    """Press “Trace again” and wait until that is done; the state then, or what it was refused for."""
    with page.expect_response("**/trace"):
        page.click("#trace-again")
    page.locator("#progress").wait_for(state="visible")
    page.locator("#progress").wait_for(state="hidden", timeout=TRACE_MS)
    return "refused" if page.locator("#refusal").is_visible() else "traced"

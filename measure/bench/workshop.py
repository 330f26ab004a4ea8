"""What concerns printing: a printer's own figures by a test piece, snap hooks, and the thin places of a part."""

from __future__ import annotations

from typing import Any

from pydantic import Field
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from calib.errors import WrongUsage
from calib.words import Words, joined
from measure.bench.answers import ASKED, Answer
from measure.bench.routes import Posted, body, desk_of, job_of
from measure.steps import Done

MOST_ROWS, LONGEST = 40, 40
"""Fields of a form, and characters of a number that is asked for."""
TYPES = {"3mf": "model/3mf", "pdf": "application/pdf"}
CALLED = {
    "undercut": Words("The undercut"),
    "length": Words("The length"),
    "thick": Words("The thickness at the root"),
    "width": Words("The width"),
    "angle": Words("The slope"),
    "strain": Words("The permissible strain"),
    "modulus": Words("The modulus"),
    "friction": Words("The friction"),
    "material": Words("The material"),
    "layers": Words("How the layers lie"),
    "assemblies": Words("How often it is put together"),
}
"""What the page calls what is told of a hook."""
TEST_PIECE = Words("printer test piece")


class PrinterBody(Posted):
    """What the caliper reads on a printed test piece, by the numbers on its sheet."""

    name: str
    readings: dict[str, str] = Field(max_length=MOST_ROWS)


class HookBody(Posted):
    """A snap hook, as it is written."""

    told: dict[str, str] = Field(max_length=MOST_ROWS)
    taper: bool = False


async def printers(request: Request) -> Response:
    """GET /api/printers"""
    return Answer(await run_in_threadpool(_printers))


def _printers() -> dict[str, Any]:
    from measure.planning.worksheet import JAWS
    from measure.printing import coupon
    from measure.steps.printer import known_printers

    sizes = [
        {"number": s.number, "words": joined(" ", (JAWS[s.kind], "–".join(s.features))), "nominal_mm": s.nominal_mm}
        for s in coupon.SIZES
    ]
    return {"printers": known_printers(), "sizes": sizes, "least": coupon.LEAST_READINGS}


async def test_piece(request: Request) -> Response:
    """GET /api/printers/test-piece.{kind}"""
    kind = request.path_params["kind"]
    if kind not in TYPES:
        raise HTTPException(404)
    content = await run_in_threadpool(_test_piece, kind, ASKED.get())
    headers = {"Content-Disposition": f'attachment; filename="test-piece.{kind}"'}
    return Response(content, media_type=TYPES[kind], headers=headers)


def _test_piece(kind: str, language: str) -> bytes:
    from measure.steps.printer import COUPON, coupon_files

    files = coupon_files(TEST_PIECE, Words("The values go into the form where this sheet came from."), language)
    return files[next(n for n in COUPON if n.endswith(kind))]


async def measured(request: Request) -> Response:
    """POST /api/printers"""
    asked = await body(request, PrinterBody)
    found = await run_in_threadpool(_measured, asked)
    return Answer({**found, **await run_in_threadpool(_printers)})


def _measured(asked: PrinterBody) -> dict[str, Any]:
    from measure.steps.printer import measure_printer

    words = [f"{n}={value.strip()}" for n, value in asked.readings.items() if value.strip()]
    if any(" " in w for w in words):
        raise WrongUsage(Words("One value a field: write what the caliper shows, such as 50.08."), "reading")
    done = measure_printer(asked.name, words)
    return {"name": done.result["printer"], "lines": list(done.lines[:-1])}


async def thin(request: Request) -> Response:
    """GET /api/jobs/{id}/thin?limit=3&line=0.42"""
    of = await job_of(request)
    asked = {key: request.query_params.get(key, "")[:LONGEST] for key in ("limit", "line")}
    return Answer(await run_in_threadpool(desk_of(request).thin, of, asked))


async def hook(request: Request) -> Response:
    """POST /api/clip"""
    asked = await body(request, HookBody)
    return Answer(said(await run_in_threadpool(_hook, asked)))


def _hook(asked: HookBody) -> Done:
    from measure.steps.clip import clip

    told = {key: text.strip() for key, text in asked.told.items() if key in CALLED and text.strip()}
    return clip(told, asked.taper, CALLED.__getitem__)


def said(done: Done) -> dict[str, Any]:
    """What a step says, for the page."""
    from measure.bench.phrases import on_page

    cautions = [c.said(on_page) for c in done.cautions]
    return {"lines": list(done.lines), "cautions": cautions, "result": done.result}

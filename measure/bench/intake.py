"""The owners' page: a photo is looked at while they wait; a good one becomes a waiting job,
of which they are told the number of its ticket and nothing else."""

from __future__ import annotations

import asyncio
import shutil

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from calib.words import Words
from measure.bench import routes, tasks
from measure.bench.answers import Answer
from measure.bench.guards import SVG_POLICY
from measure.bench.shelf import base_name
from measure.bench.uploads import Gate, NotTaken, received

FULL = Words("We have as many photos as we can look at: please bring the part to the event.")


async def page(request: Request) -> Response:
    """GET /intake"""
    from measure.guide import words

    return routes.page(request, "intake.html", steps=words.STEPS)


async def picture(request: Request) -> Response:
    """GET /intake/pictures/{name}.svg"""
    from measure.bench.pictures import as_svg

    try:
        svg = await run_in_threadpool(as_svg, request.path_params["name"])
    except KeyError:
        raise HTTPException(404) from None
    headers = {"Content-Security-Policy": SVG_POLICY, "Cache-Control": "max-age=3600"}
    return Response(svg, media_type="image/svg+xml", headers=headers)


async def photo(request: Request) -> Response:
    """POST /api/intake"""
    desk = routes.desk_of(request)
    limits = desk.settings.limits
    gate: Gate = request.app.state.owners_gate
    with gate.passing(request.client.host if request.client else ""):
        if not await run_in_threadpool(desk.has_room):
            raise NotTaken(503, "full", FULL)
        got = await received(request, limits, desk.session.place())
    out = desk.session.place()
    copies: list[tasks.Copied] = []
    try:
        with gate.looking():
            order = tasks.CheckOrder(got.photo, out, base_name(got.name))
            large = got.megapixels > limits.large_megapixels
            do = desk.workers.do
            looked = do(tasks.check, order, limits.check_s, copies.append, large=large, guest=True)
            answer = await asyncio.wrap_future(looked)
        if copies and copies[0].may_be_kept:
            made = await run_in_threadpool(desk.put_by, out, copies[0].photo, got.fields)
            known = await run_in_threadpool(made.kept)
            answer = {**answer, "kept": True, "ticket": known.ticket if known else None}
        return Answer({"kept": False, "ticket": None, **answer})
    finally:
        await run_in_threadpool(shutil.rmtree, out, True)
        await run_in_threadpool(shutil.rmtree, got.photo.parent, True)

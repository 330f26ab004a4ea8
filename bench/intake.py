"""The owners' page: a photo is looked at while they wait; a good one becomes a waiting job. It shows nothing else."""

from __future__ import annotations

import asyncio
import shutil

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from bench import routes, tasks
from bench.uploads import Cut, received


async def page(request: Request) -> Response:
    """GET /intake"""
    from measure.guide import words

    return routes.page(request, "intake.html", steps=words.STEPS)


async def photo(request: Request) -> Response:
    """POST /api/intake"""
    desk = routes.desk_of(request)
    limits = desk.settings.limits
    with request.app.state.gate.passing(request.client.host if request.client else ""):
        if not await run_in_threadpool(desk.has_room):
            raise Cut(503, "full", "We have as many photos as we can look at: please bring the part to the event.")
        got = await received(request, limits, desk.place())
    out = desk.place()
    copies: list[tasks.Copied] = []
    try:
        order = tasks.CheckOrder(got.photo, out, got.name)
        answer = await asyncio.wrap_future(desk.workers.do(tasks.check, order, limits.check_s, copies.append))
        if copies and copies[0].may_be_kept:
            await run_in_threadpool(desk.put_by, out, copies[0].photo, got.fields)
            answer = {**answer, "kept": True}
        return JSONResponse({"kept": False, **answer})
    finally:
        await run_in_threadpool(shutil.rmtree, out, True)
        await run_in_threadpool(shutil.rmtree, got.photo.parent, True)

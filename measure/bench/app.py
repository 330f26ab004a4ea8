"""The application: which address is answered by what."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from calib.errors import JawlineError
from calib.words import Words
from measure.bench import intake, routes, workshop
from measure.bench.answers import by_error, refused
from measure.bench.desk import Desk, Stale
from measure.bench.events import Bell
from measure.bench.guards import Guards
from measure.bench.settings import Settings
from measure.bench.uploads import Gate, NotTaken

HERE = Path(__file__).parent


class Bench(Starlette):
    """The application with its guards around it: around the framework's own refusals too."""

    guarded: Settings

    def build_middleware_stack(self) -> ASGIApp:
        """What a request goes through."""
        return Guards(super().build_middleware_stack(), self.guarded)


def application(settings: Settings) -> Starlette:
    """The bench as an ASGI application; its workers live as long as its lifespan."""
    bell = Bell()
    desk = Desk(settings, bell.ring)

    @contextlib.asynccontextmanager
    async def at_work(app: Starlette) -> AsyncIterator[None]:
        bell.open()
        with desk:
            try:
                yield
            finally:
                bell.close()

    answers: list[Route | Mount] = [
        Route("/", routes.jobs_page),
        Route("/job/{id}", routes.job_page),
        Route("/api/jobs", routes.jobs),
        Route("/api/jobs", routes.new_job, methods=["POST"]),
        Route("/api/jobs/{id}", routes.job),
        Route("/api/jobs/{id}", routes.describe, methods=["POST"]),
        Route("/api/jobs/{id}", routes.remove, methods=["DELETE"]),
        Route("/api/jobs/{id}/events", routes.events),
        Route("/api/jobs/{id}/trace", routes.trace, methods=["POST"]),
        Route("/api/jobs/{id}/parts", routes.parts, methods=["POST"]),
        Route("/api/jobs/{id}/photo", routes.another_photo, methods=["POST"]),
        Route("/api/target-{paper}.pdf", routes.target),
        Route("/api/jobs/{id}/readings", routes.add_reading, methods=["POST"]),
        Route("/api/jobs/{id}/readings/{key}", routes.remove_reading, methods=["DELETE"]),
        Route("/api/jobs/{id}/readings/{key}", routes.change_reading, methods=["POST"]),
        Route("/api/jobs/{id}/undo", routes.undo, methods=["POST"]),
        Route("/api/jobs/{id}/complete", routes.complete, methods=["POST"]),
        Route("/api/jobs/{id}/mend", routes.mend, methods=["POST"]),
        Route("/api/jobs/{id}/draw", routes.draw, methods=["POST"]),
        Route("/api/jobs/{id}/trial", routes.trial, methods=["POST"]),
        Route("/api/jobs/{id}/offers", routes.offers),
        Route("/api/jobs/{id}/caliper", routes.caliper, methods=["POST"]),
        Route("/api/jobs/{id}/thin", workshop.thin),
        Route("/api/printers", workshop.printers),
        Route("/api/printers", workshop.measured, methods=["POST"]),
        Route("/api/printers/test-piece.{kind}", workshop.test_piece),
        Route("/api/clip", workshop.hook, methods=["POST"]),
        Route("/api/jobs/{id}/make", routes.make, methods=["POST"]),
        Route("/api/jobs/{id}/sketch.svg", routes.sketch_svg),
        Route("/api/jobs/{id}/revisions", routes.revisions),
        Route("/api/jobs/{id}/revisions/{n}.svg", routes.revision_svg),
        Route("/api/jobs/{id}/revisions/{n}/{name}", routes.revision_file),
        Route("/api/jobs/{id}/photo.jpg", routes.photo),
        Route("/api/jobs/{id}/thumbnail.jpg", routes.thumbnail),
        Route("/api/jobs/{id}/files/{name}", routes.download),
        Mount("/static", StaticFiles(directory=HERE / "static")),
    ]
    if settings.intake:
        answers += [
            Route("/intake/pictures/{name}.svg", intake.picture),
            Route("/intake", intake.page),
            Route("/api/intake", intake.photo, methods=["POST"]),
        ]
    app = Bench(
        routes=answers,
        lifespan=at_work,
        exception_handlers={
            JawlineError: _by_error,
            NotTaken: _cut,
            Stale: _stale,
            HTTPException: _by_status,
            Exception: _unexpected,
        },
    )
    app.guarded = settings
    app.state.desk, app.state.bell = desk, bell
    app.state.gate, app.state.owners_gate = Gate(settings.limits), Gate(settings.limits)
    return app


async def _by_error(request: Request, why: Any) -> Response:
    return by_error(why)


async def _cut(request: Request, why: Any) -> Response:
    answer = refused(why.status, why.code, why.text)
    answer.headers["Connection"] = "close"  # the rest of the body is not waited for
    return answer


async def _stale(request: Request, why: Any) -> Response:
    return refused(
        409, "stale", Words("Somebody has changed this job meanwhile: look at it as it is now."), **why.state
    )


async def _by_status(request: Request, why: Any) -> Response:
    texts = {404: Words("There is nothing at this address."), 405: Words("That can't be done at this address.")}
    text = texts.get(why.status_code, str(why.detail))
    if request.url.path.startswith(("/api/", "/static/")):
        return refused(why.status_code, "no-page", text)
    words = {"title": "Not found" if why.status_code == 404 else "Not possible", "text": text}
    return routes.page(request, "problem.html", why.status_code, **words)


async def _unexpected(request: Request, why: Any) -> Response:
    return refused(
        500, "unexpected", Words("The bench met something that it was not made for ({name}).", name=type(why).__name__)
    )

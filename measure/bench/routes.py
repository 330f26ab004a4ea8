"""What each address answers, for the fixer. Anything that takes a moment is done in a thread."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Mapping
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, Response

from calib.errors import JawlineError, WrongUsage
from calib.files import is_plain
from calib.words import Words
from measure.bench import kept
from measure.bench.answers import ASKED, Answer
from measure.bench.desk import Desk, Stale
from measure.bench.events import Bell, Stream
from measure.bench.guards import SVG_POLICY
from measure.bench.pages import templates
from measure.bench.phrases import IN_TWO
from measure.bench.shelf import Job, plain_name
from measure.bench.uploads import NotTaken, body_of, received
from measure.broken.by_hand.words import LONGEST_MM
from measure.job.records import Pair
from measure.rim import rim_word
from measure.subject import subject_of
from measure.tracing.thickness import thickness_mm

M = TypeVar("M", bound=BaseModel)
LONGEST_FIELD = 4000
"""Characters of any text that is sent; what may be shorter still is judged where it is understood."""
MOST_LABELS, MOST_PARTS = 64, 12
_NUMBER = re.compile("[0-9]{1,9}")
_REVISION = re.compile("[0-9]{1,18}")


class Posted(BaseModel):
    """A request's JSON: unknown keys are let pass."""

    model_config = ConfigDict(extra="ignore", allow_inf_nan=False, str_max_length=LONGEST_FIELD)

    revision: int | None = None


class TraceBody(Posted):
    """What is to be traced, and how; coordinates in the shown picture."""

    thickness: str | float | None = None
    subject: str = "part"
    rim: str = "unknown"
    fragments: Literal[1, 2] = 1
    strokes: kept.StrokesRecord = kept.StrokesRecord()
    card_corners: tuple[Pair, ...] | None = None
    scale: kept.ScaleChoices = kept.ScaleChoices()


class PartsBody(TraceBody):
    """Where on the shown picture each part is touched: the first is this job's."""

    points: Annotated[tuple[Pair, ...], Field(min_length=1, max_length=MOST_PARTS)]


class AboutBody(Posted):
    """What a job is called, and whose it is."""

    name: str | None = None
    owner: str | None = None
    contact: str | None = None
    note: str | None = None
    owner_drawn: bool | None = None


class ReadingBody(Posted):
    """A reading."""

    kind: str
    features: list[str] = Field(default=[], max_length=MOST_LABELS)
    value: str | float
    unit: str = "mm"
    tool: str = "caliper"
    note: str = ""


class OtherReadingBody(Posted):
    """What is to be other about a reading."""

    kind: str | None = None
    features: list[str] | None = Field(default=None, max_length=MOST_LABELS)
    value: str | float | None = None
    unit: str | None = None
    tool: str | None = None


class CompleteBody(Posted):
    """A completion."""

    by: str | None = None
    broken: str | None = None
    drawn: str | None = None


class DrawBody(Posted):
    """What is drawn in a break so far, and a touch on the shown picture that adds to it."""

    broken: str
    drawn: str = ""
    tool: Literal["on", "to", "arc"] = "on"
    size_mm: Annotated[float, Field(gt=0, le=LONGEST_MM)] | None = None
    at: Pair | None = None
    near: Annotated[float, Field(gt=0, le=1e4)] = 1.0


class CaliperBody(Posted):
    """What the caliper at hand can do, mm."""

    reach: str
    inside: str
    tip: str


class MendBody(Posted):
    """What a person says of features."""

    said: str


class TrialBody(Posted):
    """What is said of a trial print."""

    said: str


class MakeBody(Posted):
    """Files to be made."""

    what: str
    options: dict[str, Any] = {}


def desk_of(request: Request) -> Desk:
    """The desk."""
    desk: Desk = request.app.state.desk
    return desk


async def job_of(request: Request) -> Job:
    """The job that the address names, if the listing has it."""
    found = await run_in_threadpool(desk_of(request).shelf.get, request.path_params["id"])
    if found is None:
        raise HTTPException(404)
    return found


async def body(request: Request, form: type[M]) -> M:
    """The request's JSON.

    Raises:
        Cut: it is none, or not as it should be.
    """
    content = await body_of(request, desk_of(request).settings.limits)
    try:
        plain = json.loads(content or b"{}")
        json.dumps(plain, ensure_ascii=False).encode()  # half a character (a lone surrogate) can be written nowhere
        return form.model_validate(plain)
    except (ValueError, RecursionError) as why:
        where = "JSON"
        if isinstance(why, ValidationError):
            first = why.errors(include_url=False, include_input=False)[0]
            where = f"{'.'.join(str(x) for x in first['loc'])}: {first['msg']}".lower()
        raise NotTaken(400, "request", Words("The request can't be understood ({where}).", where=where)) from None


def page(request: Request, template: str, status: int = 200, **words: Any) -> HTMLResponse:
    """A page from its template, in the language of whoever asked."""
    return HTMLResponse(templates(ASKED.get()).get_template(template).render(words), status)


def how(
    subject: str, thickness: str | None, rim: str | None, scale: kept.ScaleChoices | None = None
) -> kept.TraceChoices:
    """What is to be traced, by the words of a form, in one piece.

    Raises:
        WrongUsage: they make no sense.
    """
    kind = subject_of(subject)
    if not (thickness or "").strip():
        if kind == "part":
            text = Words(
                "The part's thickness is missing: measure it with the caliper (0 goes on without it, less surely)."
            )
            raise WrongUsage(text, "thickness")
        thickness = None
    scale = scale or kept.ScaleChoices()
    scale.wanted()  # before anything is kept
    return kept.TraceChoices(
        subject=kind, thickness_mm=thickness_mm(thickness, kind), rim=rim_word(rim or None), scale=scale
    )


def how_by_form(fields: Mapping[str, str]) -> kept.TraceChoices:
    """The same by the fields of a form that was sent with a photo."""
    said = {key: fields.get(key, "").strip() for key in kept.ScaleChoices.model_fields}
    try:
        scale = kept.ScaleChoices(**said)
    except ValidationError:
        raise WrongUsage(Words("What gives the scale is written too long."), "reference") from None
    return how(fields.get("subject") or "part", fields.get("thickness"), fields.get("rim"), scale)


def require_joinable(asked: kept.TraceChoices) -> None:
    """Two pieces are joined of a part, and by their edges alone.

    Raises:
        WrongUsage: it is an opening, or something has been painted.
    """
    if asked.subject == "opening":
        raise WrongUsage(
            Words("An opening has no pieces to join: leave “{in_two}” unticked.", in_two=IN_TWO), "fragments"
        )
    if asked.strokes.part or asked.strokes.away:
        text = Words(
            "What is painted is for a part in one piece: clear it, or leave “{in_two}” unticked.", in_two=IN_TWO
        )
        raise WrongUsage(text, "fragments")


# ------------------------------------------------------------------------------------------------------------ pages
async def jobs_page(request: Request) -> Response:
    """GET /"""
    return page(request, "jobs.html")


async def job_page(request: Request) -> Response:
    """GET /job/{id}"""
    of = await job_of(request)
    from measure.printing.strength.materials import MATERIALS

    name = await run_in_threadpool(desk_of(request).name, of)
    return page(request, "job.html", in_two=IN_TWO, id=of.id, name=name, materials=list(MATERIALS))


# ------------------------------------------------------------------------------------------------------------- jobs
async def jobs(request: Request) -> Response:
    """GET /api/jobs"""
    return Answer({"jobs": await run_in_threadpool(desk_of(request).listing)})


async def new_job(request: Request) -> Response:
    """POST /api/jobs"""
    desk = desk_of(request)
    with request.app.state.gate.passing(request.client.host if request.client else ""):
        got = await received(request, desk.settings.limits, desk.session.place())
    try:
        asked = how_by_form(got.fields)
    except WrongUsage:
        await run_in_threadpool(shutil.rmtree, got.photo.parent, True)
        raise
    of = await run_in_threadpool(desk.take, got.photo, got.name, got.fields, asked)
    return Answer({"id": of.id}, 202)


async def job(request: Request) -> Response:
    """GET /api/jobs/{id}"""
    return Answer(await run_in_threadpool(desk_of(request).state, await job_of(request)))


async def describe(request: Request) -> Response:
    """POST /api/jobs/{id}"""
    of, asked = await job_of(request), await body(request, AboutBody)
    said = asked.model_dump(exclude_none=True, exclude={"revision"})
    return Answer(await run_in_threadpool(desk_of(request).describe, of, said, asked.revision))


async def remove(request: Request) -> Response:
    """DELETE /api/jobs/{id}?revision=N"""
    of, seen = await job_of(request), request.query_params.get("revision", "")
    await run_in_threadpool(desk_of(request).remove, of, int(seen) if _REVISION.fullmatch(seen) else None)
    return Answer({"removed": of.id})


async def events(request: Request) -> Response:
    """GET /api/jobs/{id}/events"""
    of, desk = await job_of(request), desk_of(request)
    bell: Bell = request.app.state.bell
    if bell.listeners >= desk.settings.limits.listeners:
        raise NotTaken(503, "busy", Words("Too many pages are open: close some."))
    return Stream(bell, of.id, lambda: desk.progress(of))


# ---------------------------------------------------------------------------------------------------------- changes
async def trace(request: Request) -> Response:
    """POST /api/jobs/{id}/trace"""
    of, asked, desk = await job_of(request), await body(request, TraceBody), desk_of(request)
    thickness = None if asked.thickness is None else str(asked.thickness)
    drawn = {"strokes": asked.strokes, "card_corners": asked.card_corners, "fragments": asked.fragments}
    wanted = how(asked.subject, thickness, asked.rim, asked.scale).model_copy(update=drawn)
    if wanted.fragments == 2:
        require_joinable(wanted)
    await run_in_threadpool(desk.retrace, of, wanted, asked.revision)
    return Answer({"id": of.id}, 202)


async def parts(request: Request) -> Response:
    """POST /api/jobs/{id}/parts"""
    of, asked, desk = await job_of(request), await body(request, PartsBody), desk_of(request)
    thickness = None if asked.thickness is None else str(asked.thickness)
    wanted = how(asked.subject, thickness, asked.rim, asked.scale)
    made = await run_in_threadpool(desk.parts, of, wanted, asked.points, asked.revision)
    return Answer({"jobs": [j.id for j in made]}, 202)


async def another_photo(request: Request) -> Response:
    """POST /api/jobs/{id}/photo"""
    of, desk = await job_of(request), desk_of(request)
    with request.app.state.gate.passing(request.client.host if request.client else ""):
        got = await received(request, desk.settings.limits, desk.session.place())
    try:
        asked = how_by_form(got.fields)
        seen = got.fields.get("revision", "")
        revision = int(seen) if _REVISION.fullmatch(seen) else None
        too = got.fields.get("use") == "too"
        await run_in_threadpool(desk.another_photo, of, got.photo, got.name, asked, too, revision)
    except (JawlineError, Stale):
        await run_in_threadpool(shutil.rmtree, got.photo.parent, True)
        raise
    return Answer({"id": of.id}, 202)


async def target(request: Request) -> Response:
    """GET /api/target-{paper}.pdf"""
    from calib.target.layout import LAYOUTS
    from measure.drawing.target_pdf import target_pdf

    layout = LAYOUTS.get(request.path_params["paper"])
    if layout is None:
        raise HTTPException(404)
    content = await run_in_threadpool(target_pdf, layout)
    headers = {"Content-Disposition": f'attachment; filename="printed-sheet-{layout.name}.pdf"'}
    return Response(content, media_type="application/pdf", headers=headers)


async def add_reading(request: Request) -> Response:
    """POST /api/jobs/{id}/readings"""
    of, asked = await job_of(request), await body(request, ReadingBody)
    return Answer(await run_in_threadpool(desk_of(request).add_reading, of, asked.model_dump()))


async def remove_reading(request: Request) -> Response:
    """DELETE /api/jobs/{id}/readings/{key}?revision=N"""
    of, key, seen = await job_of(request), request.path_params["key"], request.query_params.get("revision", "")
    revision = int(seen) if _REVISION.fullmatch(seen) else None
    return Answer(await run_in_threadpool(desk_of(request).remove_reading, of, key, revision))


async def change_reading(request: Request) -> Response:
    """POST /api/jobs/{id}/readings/{key}"""
    of, asked, key = await job_of(request), await body(request, OtherReadingBody), request.path_params["key"]
    change = desk_of(request).change_reading
    return Answer(await run_in_threadpool(change, of, key, asked.model_dump(exclude_none=True), asked.revision))


async def undo(request: Request) -> Response:
    """POST /api/jobs/{id}/undo"""
    of, asked, desk = await job_of(request), await body(request, Posted), desk_of(request)
    return Answer(await run_in_threadpool(desk.change, of, asked.revision, of.undo))


async def complete(request: Request) -> Response:
    """POST /api/jobs/{id}/complete"""
    of, asked = await job_of(request), await body(request, CompleteBody)
    done = desk_of(request).complete
    return Answer(await run_in_threadpool(done, of, asked.by, asked.broken, asked.drawn, asked.revision))


async def draw(request: Request) -> Response:
    """POST /api/jobs/{id}/draw"""
    of, asked = await job_of(request), await body(request, DrawBody)
    return Answer(await run_in_threadpool(desk_of(request).draw, of, asked.model_dump()))


async def mend(request: Request) -> Response:
    """POST /api/jobs/{id}/mend"""
    of, asked = await job_of(request), await body(request, MendBody)
    return Answer(await run_in_threadpool(desk_of(request).mend, of, asked.said, asked.revision))


async def trial(request: Request) -> Response:
    """POST /api/jobs/{id}/trial"""
    of, asked = await job_of(request), await body(request, TrialBody)
    return Answer(await run_in_threadpool(desk_of(request).trial, of, asked.said, asked.revision))


async def make(request: Request) -> Response:
    """POST /api/jobs/{id}/make"""
    of, asked = await job_of(request), await body(request, MakeBody)
    files = await run_in_threadpool(desk_of(request).make, of, asked.what, asked.options, ASKED.get())
    return Answer({"files": files})


async def caliper(request: Request) -> Response:
    """POST /api/jobs/{id}/caliper"""
    of, asked = await job_of(request), await body(request, CaliperBody)
    told = {f"{key}_mm": text for key, text in asked.model_dump(exclude={"revision"}).items()}
    return Answer(await run_in_threadpool(desk_of(request).caliper, of, told))


# ------------------------------------------------------------------------------------------------------- to look at
async def offers(request: Request) -> Response:
    """GET /api/jobs/{id}/offers?features=E1,E3"""
    of = await job_of(request)
    labels = [x.strip().upper() for x in request.query_params.get("features", "").split(",") if x.strip()]
    return Answer({"offers": await run_in_threadpool(desk_of(request).offers, of, labels[:8])})


async def sketch_svg(request: Request) -> Response:
    """GET /api/jobs/{id}/sketch.svg?over=photo"""
    of, over = await job_of(request), request.query_params.get("over") == "photo"
    revision, svg = await run_in_threadpool(desk_of(request).memory.sketch, of, ASKED.get(), over)
    headers = {
        "ETag": f'"{revision}-{ASKED.get()}{"-photo" if over else ""}"',
        "Cache-Control": "no-cache",
        "Content-Security-Policy": SVG_POLICY,
    }
    if request.headers.get("if-none-match") == headers["ETag"]:
        return Response(status_code=304, headers=headers)
    return Response(svg, media_type="image/svg+xml", headers=headers)


async def revisions(request: Request) -> Response:
    """GET /api/jobs/{id}/revisions"""
    return Answer({"revisions": await run_in_threadpool(desk_of(request).revisions, await job_of(request))})


async def revision_svg(request: Request) -> Response:
    """GET /api/jobs/{id}/revisions/{n}.svg"""
    of, number = await job_of(request), request.path_params["n"]
    if not _NUMBER.fullmatch(number):
        raise HTTPException(404)
    svg = await run_in_threadpool(desk_of(request).revision, of, int(number))
    headers = {"Cache-Control": "no-cache", "Content-Security-Policy": SVG_POLICY}
    return Response(svg, media_type="image/svg+xml", headers=headers)


async def photo(request: Request) -> Response:
    """GET /api/jobs/{id}/photo.jpg"""
    found = desk_of(request).traces.picture(await job_of(request))
    if found is None:
        raise HTTPException(404)
    return FileResponse(found, media_type="image/jpeg", headers={"Cache-Control": "no-cache"})


async def thumbnail(request: Request) -> Response:
    """GET /api/jobs/{id}/thumbnail.jpg"""
    small = await run_in_threadpool(desk_of(request).thumbnail, await job_of(request))
    if small is None:
        raise HTTPException(404)
    return Response(small, media_type="image/jpeg", headers={"Cache-Control": "no-cache"})


async def download(request: Request) -> Response:
    """GET /api/jobs/{id}/files/{name}"""
    from measure.bench.state import DOWNLOADS

    of, name = await job_of(request), request.path_params["name"]
    known = next((n for n in DOWNLOADS if n == name), None)
    path = of.folder / known if known else None
    if known is None or path is None or not is_plain(path):
        raise HTTPException(404)
    headers = {"Content-Security-Policy": SVG_POLICY}
    return FileResponse(path, filename=f"{plain_name(of.id)}-{known}", headers=headers)


async def revision_file(request: Request) -> Response:
    """GET /api/jobs/{id}/revisions/{n}/{name}"""
    of, number, name = await job_of(request), request.path_params["n"], request.path_params["name"]
    n = int(number) if _NUMBER.fullmatch(number) else 0
    found = await run_in_threadpool(desk_of(request).revision_file, of, n, name)
    if found is None:
        raise HTTPException(404)
    headers = {"Content-Security-Policy": SVG_POLICY}
    return FileResponse(found, filename=f"{plain_name(of.id)}-{n}-{found.name}", headers=headers)

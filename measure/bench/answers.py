"""Answers that are no pages: JSON, and refusals in one sentence with a code."""

from __future__ import annotations

from contextvars import ContextVar
from typing import Any

from starlette.responses import JSONResponse

from calib.errors import JawlineError
from calib.languages import ENGLISH, all_said_in
from calib.messages import LONGEST
from calib.written import printable, shortened
from measure.bench.phrases import on_page

STATUS = {
    "no-job": 404,
    "no-file": 404,
    "no-reading": 404,
    "revision": 404,
    "missing-step": 409,
    "busy": 409,
    "no-photo": 409,
    "nothing-to-undo": 409,
    "readings-since": 409,
    "not-overwritten": 409,
    "no-history": 409,
    "photo-too-large": 413,
    "not-writable": 507,
}
"""HTTP status of a refusal by its code; 422 for all others."""


ASKED: ContextVar[str] = ContextVar("language", default=ENGLISH)
"""The language of whoever asked: set where a request comes in, read only where its answer is put into words."""


class Answer(JSONResponse):
    """Plain values, the texts among them in the language of whoever asked."""

    def render(self, content: Any) -> bytes:
        """The body."""
        return super().render(all_said_in(ASKED.get(), content))


def refused(status: int, code: str, text: str, **more: Any) -> Answer:
    """A refusal; what it quotes may hold anything, half characters too."""
    return Answer({"error": {"code": code, "text": shortened(printable(text), LONGEST)}, **more}, status)


def by_error(why: JawlineError) -> Answer:
    """A refusal for one of jawline's own."""
    return refused(STATUS.get(why.code, 422), why.code, why.said(on_page))

"""Photos that are sent: received under limits of size, time and number, into the session's own folder.

A body is counted while it comes and cut as soon as it is too large, too slow or pauses too long; it is never held in
memory. The photo's header is read before anybody decodes it.
"""

from __future__ import annotations

import asyncio
import contextlib
import shutil
import time
from collections.abc import AsyncIterator, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.formparsers import MultiPartException
from starlette.requests import ClientDisconnect, Request
from starlette.types import Message

from calib.photo.photo import SENT, check_header
from calib.words import Words
from measure.bench.settings import Limits

MOST_ADDRESSES = 4096
MOST_FIELDS, COPIED_BYTES = 12, 1 << 20
"""Fields that a form may have, and how much of a photo is copied at once."""
LONGEST_NAME = 1000
SLOW = Words("The photo arrived too slowly: send it again where the connection is better.")


class NotTaken(Exception):
    """An upload is not taken: HTTP status, a short code and a sentence."""

    def __init__(self, status: int, code: str, text: str) -> None:
        super().__init__(text)
        self.status, self.code, self.text = status, code, text


def no_form() -> NotTaken:
    """A form that can't be read."""
    return NotTaken(400, "form", Words("The form can't be understood: send one photo, and nothing long beside it."))


@dataclass(frozen=True, slots=True)
class Received:
    """A form with a photo.

    Attributes:
        photo: the file, alone in a folder of its own.
        name: what its sender calls it.
        fields: the other fields.
        megapixels: that the photo claims.
    """

    photo: Path
    name: str
    fields: Mapping[str, str]
    megapixels: float


@dataclass(slots=True)
class Gate:
    """Who may send now: so many at once, and each address so many in a while (a bucket that fills drop by drop).

    There is one for the fixer and one for owners, so that neither uses up what the other may.
    """

    limits: Limits
    _open: dict[str, int] = field(default_factory=dict)
    _drops: dict[str, tuple[float, float]] = field(default_factory=dict)
    _looking: int = 0

    @contextlib.contextmanager
    def passing(self, address: str) -> Iterator[None]:
        """Let an upload through.

        Raises:
            Cut: too many, or too often.
        """
        self._take_drop(address)
        own = self._open.get(address, 0)
        if sum(self._open.values()) >= self.limits.receiving or own >= self.limits.each_receiving:
            raise NotTaken(503, "busy", Words("Many photos are being sent just now: try again in a minute."))
        self._open[address] = own + 1
        try:
            yield
        finally:
            self._open[address] -= 1
            if not self._open[address]:
                del self._open[address]

    @contextlib.contextmanager
    def looking(self) -> Iterator[None]:
        """A photo is looked at, or waits for that.

        Raises:
            Cut: too many are.
        """
        if self._looking >= self.limits.looking:
            raise NotTaken(503, "busy", Words("Many photos are being looked at just now: try again in a minute."))
        self._looking += 1
        try:
            yield
        finally:
            self._looking -= 1

    def _take_drop(self, address: str) -> None:
        now = time.monotonic()
        if len(self._drops) >= MOST_ADDRESSES:
            full = self.limits.burst * self.limits.refill_s
            self._drops = {a: x for a, x in self._drops.items() if now - x[1] < full}
        left, at = self._drops.get(address, (float(self.limits.burst), now))
        left = min(self.limits.burst, left + (now - at) / self.limits.refill_s)
        if left < 1 or len(self._drops) >= MOST_ADDRESSES:
            raise NotTaken(
                429, "too-often", Words("That were many photos in a short time: wait a minute, then send the next one.")
            )
        self._drops[address] = (left - 1, now)


async def received(request: Request, limits: Limits, place: Path) -> Received:
    """Receive a form with one photo.

    Args:
        request: multipart/form-data with a file `photo`.
        limits: see there.
        place: an empty folder for the file; it is removed if nothing is taken.

    Raises:
        Cut: too large, too slow, or no such form.
        PhotoRefused: not a photo, or one that claims to be too large or small.
    """
    try:
        return await _received(request, limits, place)
    except BaseException:
        shutil.rmtree(place, ignore_errors=True)
        raise


async def _received(request: Request, limits: Limits, place: Path) -> Received:
    most = int((limits.upload_mb * 1e6) + limits.form_kb * 1e3)
    too_large = NotTaken(
        413,
        "photo-too-large",
        Words("The photo is larger than {upload_mb:g} MB: send it as a JPEG.", upload_mb=limits.upload_mb),
    )
    length = request.headers.get("content-length", "")
    if length.isdecimal() and int(length[:20]) > most:
        raise too_large
    if not request.headers.get("content-type", "").startswith("multipart/form-data"):
        raise NotTaken(415, "form", Words("A photo is sent as a form (multipart/form-data)."))
    counted = _Counted(request, limits, most, too_large)
    guarded = Request(request.scope, counted)
    try:
        form = await guarded.form(max_files=1, max_fields=MOST_FIELDS, max_part_size=int(limits.form_kb * 1e3))
    except ClientDisconnect:
        raise NotTaken(400, "cut-short", Words("The photo did not arrive whole: send it again.")) from None
    except MultiPartException:
        raise no_form() from None
    except Exception as why:
        if counted.why:
            raise counted.why from None
        if getattr(why, "status_code", None) == 400:
            raise no_form() from None
        raise
    try:
        file = form.get("photo")
        if not isinstance(file, UploadFile):
            raise NotTaken(400, "no-photo", Words("There is no photo in the form: choose one and send it again."))
        if (file.size or 0) > limits.upload_mb * 1e6:
            raise too_large
        path = place / SENT
        await run_in_threadpool(_kept, file, path)
        megapixels = await run_in_threadpool(check_header, path)
        fields = {k: v for k, v in form.items() if isinstance(v, str)}
        return Received(path, (file.filename or "")[:LONGEST_NAME], fields, megapixels)
    finally:
        await form.close()


def _kept(file: UploadFile, path: Path) -> None:
    with open(path, "wb") as out:
        shutil.copyfileobj(file.file, out, COPIED_BYTES)


class _Counted:
    """Receives the body of a request, counts it, and gives up on it."""

    def __init__(self, request: Request, limits: Limits, most: int, too_large: NotTaken) -> None:
        self._receive, self._limits, self._left, self._too_large = request.receive, limits, most, too_large
        self._until = time.monotonic() + limits.upload_s
        self.why: NotTaken | None = None

    async def __call__(self) -> Message:
        wait = min(self._limits.pause_s, self._until - time.monotonic())
        try:
            async with asyncio.timeout(max(wait, 0.0)):
                message = await self._receive()
        except TimeoutError:
            self.why = NotTaken(408, "too-slow", SLOW)
            raise self.why from None
        self._left -= len(message.get("body", b""))
        if self._left < 0:
            self.why = self._too_large
            raise self.why
        return message


async def body_of(request: Request, limits: Limits) -> bytes:
    """The whole of a small body.

    Raises:
        Cut: it is not small, or too slow.
    """
    too_large = NotTaken(413, "too-large", Words("The request is too large."))
    counted = _Counted(request, limits, int(limits.form_kb * 1e3), too_large)
    out = b""
    async for chunk in _chunks(Request(request.scope, counted)):
        out += chunk
    return out


async def _chunks(request: Request) -> AsyncIterator[bytes]:
    try:
        async for chunk in request.stream():
            yield chunk
    except ClientDisconnect:
        raise NotTaken(400, "cut-short", Words("The request did not arrive whole.")) from None

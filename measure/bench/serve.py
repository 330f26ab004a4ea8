"""Start the bench: choose its tokens, say where it is, and serve until Ctrl-C."""

from __future__ import annotations

import contextlib
import os
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any, TextIO

import uvicorn

from calib.errors import WrongUsage
from calib.written import printable
from measure.bench.app import application
from measure.bench.connections import Connection
from measure.bench.guards import EVERYWHERE
from measure.bench.settings import LOOPBACK, Settings

TOKEN_BYTES = 24
"""Of the secret in an address: 192 bits, which nobody guesses."""
KEPT_OPEN_S, HEADER_BYTES, WAITING = 15, 32 * 1024, 128
"""How long a silent connection is kept, how long a request's head may be, and how many connections may wait to be taken
(common practice)."""
LOCK = ".jawline-bench.lock"


def serve(
    folder: Path,
    *,
    port: int,
    host: str | None = None,
    intake: bool = False,
    language: str = "",
    show: bool = True,
    out: TextIO = sys.stdout,
) -> None:
    """Serve the jobs of a folder until Ctrl-C.

    Args:
        folder: the jobs are in it; it is made if it is not there.
        port: where to listen; 0 for any that is free.
        host: address to listen at; this machine alone by default.
        intake: whether owners may send photos.
        language: that is spoken to everybody; empty for each browser's own.
        show: whether a browser is opened, if there is a display.
        out: where the addresses are said; standard output by default.

    Raises:
        WrongUsage: the folder can't be used, another bench has it, or nothing can listen there.
    """
    out = out or sys.stdout
    _make_folder(folder)
    with _alone(folder), _listening(host or LOOPBACK, port) as listener:
        guarded = intake or host is not None
        settings = Settings(
            folder=folder,
            host=host or LOOPBACK,
            port=listener.getsockname()[1],
            intake=intake,
            language=language,
            fixer_token=secrets.token_urlsafe(TOKEN_BYTES) if guarded else "",
            owner_token=secrets.token_urlsafe(TOKEN_BYTES) if intake else "",
        )
        _say(settings, out)
        if show and _has_display():
            threading.Thread(target=webbrowser.open, args=(fixer_address(settings),), daemon=True).start()
        server = _Server(
            uvicorn.Config(
                application(settings),
                http=Connection,
                log_level="info" if os.environ.get("JAWLINE_DEBUG") == "1" else "critical",
                access_log=False,
                server_header=False,
                date_header=False,
                proxy_headers=False,
                timeout_keep_alive=KEPT_OPEN_S,
                timeout_graceful_shutdown=2,
                h11_max_incomplete_event_size=HEADER_BYTES,
                ws="none",
            )
        )
        with contextlib.suppress(KeyboardInterrupt):  # how the server passes on that it has ended
            server.run(sockets=[listener])
        print("The bench is closed. Every reading is in its job.", file=out, flush=True)


class _Server(uvicorn.Server):
    """Lets go of all listeners first when it is to end, since a page that listens never hangs up by itself."""

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self.config.app.state.bell.close()  # type: ignore[union-attr]
        super().handle_exit(sig, frame)


def fixer_address(settings: Settings) -> str:
    """Where the fixer finds the bench."""
    return _address(settings, "/", settings.fixer_token)


def owner_address(settings: Settings) -> str:
    """Where owners send their photos."""
    return _address(settings, "/intake", settings.owner_token)


def _address(settings: Settings, path: str, token: str) -> str:
    host = _own_address() if settings.host in EVERYWHERE else settings.host
    name = f"[{host}]" if ":" in host else host
    return f"http://{name}:{settings.port}{path}{f'?token={token}' if token else ''}"


def _own_address() -> str:
    """This machine's address in its network: that which it would send from. Nothing is sent."""
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as s:
        s.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737), nobody's
        return str(s.getsockname()[0])
    return LOOPBACK


def _say(settings: Settings, out: TextIO) -> None:
    address = fixer_address(settings)
    print(f"The bench: {address}", file=out)
    if settings.fixer_token:
        _code(address, out)
        if settings.host == LOOPBACK:
            print("It listens on this machine only; --host 0.0.0.0 lets phones in the same network in.", file=out)
    if settings.intake:
        owners = owner_address(settings)
        print(f"For owners, who can send a photo there and see nothing else: {owners}", file=out)
        _code(owners, out)
    print(f"Jobs are in {printable(str(settings.folder))}. Ctrl-C ends it.", file=out, flush=True)


def _code(address: str, out: TextIO) -> None:
    """The address as a QR code, if the terminal can show one."""
    import segno

    with contextlib.suppress(UnicodeEncodeError, LookupError):
        "█▀▄".encode(getattr(out, "encoding", None) or "utf-8")  # else they would be printed as question marks
        segno.make(address, micro=False).terminal(out, compact=True)


def _has_display() -> bool:
    return sys.platform in ("win32", "darwin") or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as why:
        reason = (why.strerror or str(why)).lower()
        raise WrongUsage(f"{folder} can't be the folder of jobs ({reason}).", "not-writable") from None
    if not os.access(folder, os.W_OK | os.X_OK):
        raise WrongUsage(f"{folder} can't be the folder of jobs (permission denied).", "not-writable")


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """No second bench works on the folder meanwhile.

    Raises:
        WrongUsage: another one does.
    """
    from filelock import FileLock, Timeout

    try:
        lock = FileLock(folder / LOCK).acquire(blocking=False)
    except Timeout:
        raise WrongUsage(f"Another bench has the folder {folder} already: use that one.", "bench-twice") from None
    with lock:
        yield


@contextlib.contextmanager
def _listening(host: str, port: int) -> Iterator[Any]:
    """A socket that listens.

    Raises:
        WrongUsage: it can't.
    """
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
        listener = socket.create_server((host, port), family=family, backlog=WAITING)
    except OSError as why:
        reason = (why.strerror or str(why)).lower()
        raise WrongUsage(
            f"Nothing can listen at {host}, port {port} ({reason}): choose another --port or --host.", "port"
        ) from None
    with listener:
        yield listener

"""Who may ask what: looked at before anything else of a request, around everything that may answer it.

Host: only names that this bench is known by, so that no foreign name can be pointed at it (DNS rebinding). Changes:
only from its own pages, by Origin and by a header that no foreign page can send. Token: compared in constant time; the
owners' opens nothing but the owners' page. Every answer carries the same strict headers.
"""

from __future__ import annotations

import ipaddress
import secrets
import socket
from collections.abc import MutableMapping
from typing import Any, Literal
from urllib.parse import parse_qs, quote, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from calib.languages import wished
from calib.words import Words
from measure.bench.answers import ASKED, refused
from measure.bench.settings import Settings

Who = Literal["fixer", "owner"]
CHANGES = ("POST", "PUT", "PATCH", "DELETE")
FOR_OWNERS = ("/intake", "/api/intake", "/static")
HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; connect-src 'self'; "
        "font-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}
HTTP_PORT = 80
MOST_PARAMETERS = 100
WHO = "jawline.who"
"""Where a request's scope says that it is the fixer's."""
UNEXPECTED = Words("The bench met something that it was not made for.")
SVG_POLICY = "default-src 'none'; style-src 'unsafe-inline'"
"""Of a drawing, which is opened by itself: no script, whatever is written in it."""


class Guards:
    """Around the whole application."""

    def __init__(self, app: ASGIApp, settings: Settings) -> None:
        self.app, self.settings = app, settings
        self.names = known_names(settings.host)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        ASKED.set(self.settings.language or wished(Headers(scope=scope).get("accept-language", "")))

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
                headers.setdefault("Vary", "Accept-Language")
            await send(message)

        begun = False

        async def noting(message: Message) -> None:
            nonlocal begun
            begun = True
            await with_headers(message)

        try:
            await (self.refusal(scope) or self.app)(scope, receive, noting)
        except Exception:
            if not begun:  # else the server would answer by itself, without the headers
                await refused(500, "unexpected", UNEXPECTED)(scope, receive, with_headers)
            raise

    def refusal(self, scope: MutableMapping[str, Any]) -> Response | None:
        """What is answered instead of going on; None to go on."""
        headers = Headers(scope=scope)
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self.is_own(hosts[0]):
            return refused(403, "host", Words("This bench is not known by that name: use the address that it printed."))
        if ".." in scope["path"].replace("\\", "/").split("/"):
            return refused(404, "no-page", Words("There is nothing at this address."))
        if scope["method"] in CHANGES:
            origin = headers.get("origin")
            if origin is not None and origin not in (f"http://{hosts[0]}", f"https://{hosts[0]}"):
                return refused(403, "origin", Words("Changes are taken from the bench's own pages only."))
            if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
                return refused(403, "origin", Words("Changes are taken from the bench's own pages only."))
            if headers.get("x-jawline") != "1":
                return refused(403, "header", Words("The request lacks the header X-Jawline: 1."))
        return self._by_token(scope, headers)

    def _by_token(self, scope: MutableMapping[str, Any], headers: Headers) -> Response | None:
        if not self.settings.fixer_token:
            scope[WHO] = "fixer"
            return None
        path: str = scope["path"]
        try:
            query = parse_qs(scope["query_string"].decode("latin-1"), max_num_fields=MOST_PARAMETERS)
        except ValueError:
            return refused(400, "request", Words("The address has too many parameters."))
        given = [*query.get("token", []), *self._cookies(headers)]
        who: set[Who] = {w for text in given if (w := self._who(text))}
        if "fixer" in who:
            scope[WHO] = "fixer"
        for_owners = any(path == p or path.startswith(f"{p}/") for p in FOR_OWNERS)
        if "fixer" not in who and not ("owner" in who and for_owners):
            return refused(
                403, "token", Words("The address lacks its token: use the one that the bench printed, whole.")
            )
        if scope["method"] != "GET" or "token" not in query or path.startswith(("/api/", "/static/")):
            return None
        return self._into_cookie(scope, query)

    def _into_cookie(self, scope: MutableMapping[str, Any], query: dict[str, list[str]]) -> Response:
        """The token goes from the address, where others can see it, into a cookie."""
        rest = {k: v for k, v in query.items() if k != "token"}
        path: str = scope["path"]
        where = quote("/" + path.lstrip("/\\")) + ("?" + urlencode(rest, doseq=True) if rest else "")
        answer = RedirectResponse(where, 303)
        for text in query["token"]:
            if who := self._who(text):
                answer.set_cookie(self._cookie(who), text, httponly=True, samesite="lax", path="/")
        return answer

    def _cookie(self, who: Who) -> str:
        return f"jawline-{who}-{self.settings.port}"

    def _cookies(self, headers: Headers) -> list[str]:
        """What our own cookies hold; whatever others stand beside them is never looked at (RFC 6265, 5.4)."""
        pairs = (x.partition("=") for line in headers.getlist("cookie") for x in line.split(";"))
        own = (self._cookie("fixer"), self._cookie("owner"))
        return [value.strip().strip('"') for name, _, value in pairs if name.strip() in own]

    def _who(self, text: str) -> Who | None:
        """Whose token it is; both are compared, each in constant time."""
        sent = text.encode("utf-8", "replace")
        fixer = secrets.compare_digest(sent, self.settings.fixer_token.encode())
        owner = secrets.compare_digest(sent, self.settings.owner_token.encode())
        if fixer and self.settings.fixer_token:
            return "fixer"
        return "owner" if owner and self.settings.owner_token else None

    def is_own(self, host: str) -> bool:
        """Whether a Host header names this bench: its port, and a name of its own, or a number if it listens to all."""
        try:
            parts = urlsplit(f"//{host}")
            name, port = (parts.hostname or "").rstrip("."), parts.port
        except ValueError:
            return False
        if parts.username is not None or parts.path or (port or HTTP_PORT) != self.settings.port:
            return False
        return name in self.names or (self.settings.host in EVERYWHERE and _is_number(name))


EVERYWHERE = ("0.0.0.0", "::", "")


def known_names(host: str) -> set[str]:
    """Names that a bench is known by."""
    names = {"localhost", "127.0.0.1", "::1", host.lower()}
    if not host.startswith("127.") and host not in ("localhost", "::1"):
        own = socket.gethostname().lower()
        names |= {own, f"{own.split('.')[0]}.local"}
    return names - {""}


def _is_number(name: str) -> bool:
    """An address in numbers can't be pointed anywhere else."""
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True

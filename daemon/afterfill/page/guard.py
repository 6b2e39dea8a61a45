"""What every request has to pass before any part of the page sees it, and what every answer says.

In this order: the name that was asked for, the method, where a change comes from, its size, the
password's session, how often.
"""

import asyncio
import time
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import quote

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from afterfill.page.sessions import COOKIE, Session, Sessions
from afterfill.page.site import Site

LARGEST_BODY = 8192  # bytes; the longest form has a few hundred
LONGEST_HEAD = 16_384  # bytes
_BODY_WITHIN_S = 10.0
_FORM = "application/x-www-form-urlencoded"
OPEN_PATHS = frozenset(
    {"/login", "/page.css", "/page.js", "/icon.svg"}
)  # these tell nothing of a tank
CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": CSP,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "cache-control": "no-store",
    "referrer-policy": "same-origin",  # "no-referrer" would also take Origin from our own forms
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class Guard:
    """Around the application."""

    def __init__(self, app: ASGIApp, site: Site, sessions: Sessions) -> None:
        self._app, self._site, self._sessions = app, site, sessions

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        send = _with_headers(send)
        refusal = self._refusal(scope)
        if refusal is None and scope["method"] == "POST":
            body = await _body(receive)
            refusal = body if isinstance(body, Response) else None
            receive = _again(b"" if isinstance(body, Response) else body, receive)
        await (refusal or self._app)(scope, receive, send)

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        head = (len(part) for pair in scope["headers"] for part in pair)
        if sum(head, len(scope["query_string"]) + len(scope["path"])) > LONGEST_HEAD:
            return _no(431, "too large")
        local = (scope.get("server") or ("", 0))[0]
        if headers.get("host", "").lower() not in self._site.hosts(local):
            return _no(421, "this page is not to be found under that name")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return _no(405, "only GET and POST")
        foreign = self._foreign(scope["method"], headers, local)
        if foreign is not None:
            return foreign
        token = _token(headers)
        used = scope["path"] != "/live"  # a phone left on the shelf does not use it
        session = self._sessions.of(token, time.monotonic(), used=used)
        scope["afterfill.token"], scope["afterfill.session"] = token, session
        if scope["path"] in OPEN_PATHS:
            return None
        return _unknown(scope) if session is None else _too_often(scope, session)

    def _foreign(self, method: str, headers: Headers, local: str) -> Response | None:
        site, mode = headers.get("sec-fetch-site"), headers.get("sec-fetch-mode")
        if method != "POST":
            inside = site in (None, "same-origin", "none") or mode == "navigate"
            return None if inside else _no(403, "asked for by another site")
        if headers.get("origin", "").lower() not in self._site.origins(local):
            return _no(403, "a change must come from the page itself")
        if site not in (None, "same-origin"):
            return _no(403, "a change must come from the page itself")
        if headers.get("content-type", "").partition(";")[0].strip().lower() != _FORM:
            return _no(415, "not a form")
        length = headers.get("content-length", "0")
        too_large = not length.isdecimal() or int(length) > LARGEST_BODY
        return _no(413, "too large") if too_large else None


def _unknown(scope: Scope) -> Response:
    if scope["method"] != "GET" or scope["path"] == "/live":
        return _no(401, "log in first")
    query = scope["query_string"].decode("latin-1")
    wanted = scope["path"] + (f"?{query}" if query else "")
    return RedirectResponse(f"/login?next={quote(wanted)}", 303)


def _too_often(scope: Scope, session: Session) -> Response | None:
    if scope["method"] == "POST" and not session.changes.take(time.monotonic()):
        return _no(429, "too many changes at once: wait a moment, then send it again")
    return None


def _token(headers: Headers) -> str | None:
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return None if found is None else found.value


def _no(status: int, words: str) -> Response:
    return PlainTextResponse(f"{words}\n", status)


async def _body(receive: Receive) -> bytes | Response:
    """The whole body, or what is answered to one that is too large or too slow."""
    found = b""
    try:
        async with asyncio.timeout(_BODY_WITHIN_S):
            while True:
                message = await receive()
                found += bytes(message.get("body", b""))
                if len(found) > LARGEST_BODY:
                    return _no(413, "too large")
                if not message.get("more_body"):
                    return found
    except TimeoutError:
        return _no(408, "too slow")


def _again(body: bytes, receive: Receive) -> Receive:
    """A `receive` that hands on what was read already."""
    told = False

    async def replayed() -> Message:
        nonlocal told
        if told:
            return await receive()
        told = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replayed


def _with_headers(send: Send) -> Send:
    async def sent(message: Any) -> None:  # noqa: ANN401 - as the interface has it
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sent

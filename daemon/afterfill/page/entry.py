"""Coming in by the password, and going out again."""

import asyncio
import logging
import re
import time

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from afterfill.page.layout import button, document, form, link
from afterfill.page.parts import Parts, fields_of
from afterfill.page.sessions import COOKIE, LONGEST_S
from afterfill.report.markup import Html, tag, void

_log = logging.getLogger(__name__)
_INSIDE = re.compile(r"/(?![/\\])[\w/.~?=&%+:-]*", re.ASCII)
_one_at_a_time = asyncio.Lock()  # each try takes 16 MB


async def login_page(_: Parts, request: Request) -> Response:
    """The form that asks for the password."""
    return _asked(_wanted(request.query_params.get("next")))


def _asked(wanted: str, wrong: str = "", status: int = 200) -> Response:
    field = void("input",
        id="password", name="password", type="password", autocomplete="current-password",
        required="required", autofocus="autofocus", maxlength="200",
    )  # fmt: skip
    label = tag("label", "Password", for_="password")
    # a link from a mail comes without the cookie (SameSite=Strict); this one, from here, with it
    inside = link(wanted, "I am logged in already: go on") if wanted != "/" else Html("")
    return document(
        "Log in",
        tag("h1", "Log in to afterfill"),
        tag("p", wrong, class_="wrong", role="alert") if wrong else Html(""),
        form("/login", tag("p", label, field, class_="field"),
             void("input", type="hidden", name="next", value=wanted), button("Log in")),
        tag("p", inside),
        status=status,
    )  # fmt: skip


async def login(parts: Parts, request: Request) -> Response:
    """A new session for who knows the password."""
    given = await fields_of(request)
    wanted = _wanted(given.get("next"))
    client = request.client.host if request.client else ""
    if not parts.logins.take(client, time.monotonic()):
        _log.warning("too many tries of the password from %s", client)
        return _asked(wanted, "Too many tries: wait a minute.", 429)
    async with _one_at_a_time:
        right = await asyncio.to_thread(parts.password.is_it, given.get("password", "")[:1000])
    if not right:
        _log.warning("a wrong password from %s", client)
        return _asked(wanted, "That is not the password.", 403)
    answer = RedirectResponse(wanted, 303)
    answer.set_cookie(
        COOKIE, parts.sessions.begin(time.monotonic()), max_age=int(LONGEST_S), path="/",
        secure=parts.site.secure, httponly=True, samesite="strict",
    )  # fmt: skip
    return answer


async def logout(parts: Parts, request: Request) -> Response:
    """The session ends, here and in the browser."""
    parts.sessions.end(request.scope["afterfill.token"])
    answer = RedirectResponse("/login", 303)
    answer.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return answer


def _wanted(text: str | None) -> str:
    """Where to go after the log-in: a place within the page, or its beginning."""
    return text if text is not None and _INSIDE.fullmatch(text) else "/"

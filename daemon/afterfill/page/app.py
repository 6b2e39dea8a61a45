"""The routes: what is asked for, what is changed, and what is answered."""

import asyncio
import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from afterfill.config import Config
from afterfill.errors import AfterfillError
from afterfill.page import answers, entry, questions
from afterfill.page.aside import Aside
from afterfill.page.guard import Guard
from afterfill.page.layout import ICON, SCRIPT, STYLE, document, link
from afterfill.page.live import Live
from afterfill.page.parts import Parts
from afterfill.page.password import Password
from afterfill.page.reader import Reader
from afterfill.page.sessions import Sessions
from afterfill.page.site import Site
from afterfill.report.markup import tag

_log = logging.getLogger(__name__)
Handler = Callable[[Parts, Request], Awaitable[Response]]


def made(config: Config, path: Path, site: Site, password: Password) -> Starlette:
    """The application for the configuration that stands at `path`."""
    sessions = Sessions()
    reader, days = Reader(config.journal.path), Reader(config.journal.path, keeps_open=False)
    live = Live(config, reader, days)
    parts = Parts(config, site, password, sessions, reader, live, Aside(path))

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        warming = asyncio.create_task(live.warm())
        yield
        warming.cancel()
        await reader.close()
        await days.close()

    def route(where: str, handler: Handler, method: str = "GET") -> Route:
        async def handled(request: Request) -> Response:
            try:
                return await handler(parts, request)
            except AfterfillError as error:
                return _sentence(parts, request, str(error), 400 if error.exit_code == 2 else 503)

        return Route(where, handled, methods=[method])

    app = Starlette(
        routes=[
            route("/login", entry.login_page),
            route("/login", entry.login, "POST"),
            route("/logout", entry.logout, "POST"),
            route("/page.css", _style),
            route("/page.js", _script),
            route("/icon.svg", _icon),
            route("/", questions.home),
            route("/live", questions.live),
            route("/tank/{tank}", questions.tank),
            route("/tank/{tank}/log", questions.sheet),
            route("/tank/{tank}/log/{kind}", answers.log, "POST"),
            route("/tank/{tank}/alarm/{name}", questions.alarm),
            route("/tank/{tank}/alarm/{name}/{action}", answers.alarm, "POST"),
            route("/tank/{tank}/plan", questions.plan),
            route("/tank/{tank}/rescue", questions.rescue),
            route("/tank/{tank}/history", questions.history),
            route("/tank/{tank}/months", questions.months),
            route("/tank/{tank}/report", questions.report),
        ],
        middleware=[Middleware(Guard, site=site, sessions=sessions)],
        exception_handlers={HTTPException: _not_there, Exception: _failed},
        lifespan=lifespan,
    )
    app.router.redirect_slashes = False
    return app


async def _style(_: Parts, request: Request) -> Response:
    return Response(STYLE, media_type="text/css")


async def _script(_: Parts, request: Request) -> Response:
    return Response(SCRIPT, media_type="text/javascript")


async def _icon(_: Parts, request: Request) -> Response:
    return Response(ICON, media_type="image/svg+xml")


def _sentence(parts: Parts, request: Request, words: str, status: int) -> Response:
    """That something was not done, and why."""
    tank = request.path_params.get("tank")
    tanks = list(parts.config.tank) if request.scope.get("afterfill.session") else []
    return document(
        "Not done", tag("h1", "Not done"), tag("p", words, class_="wrong", role="alert"),
        tanks=tanks, tank=tank if tank in tanks else None, view="-", status=status,
    )  # fmt: skip


async def _not_there(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 404
    words = "There is no such page." if status == 404 else "This cannot be done so."
    return document(
        "Not there", tag("h1", words), tag("p", link("/", "To the tanks")), status=status
    )


async def _failed(request: Request, error: Exception) -> Response:
    _log.error("%s %s failed", request.method, request.url.path, exc_info=error)
    words = "The page itself has failed here; its log says more. The service goes on."
    return document("Failed", tag("h1", "Failed"), tag("p", words, class_="wrong"), status=500)

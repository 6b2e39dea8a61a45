"""What is asked for: nothing here changes anything."""

import secrets
import time
from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.errors import JournalError, UsageError
from afterfill.page.alarm_view import alarm_html
from afterfill.page.forms import Sheet, known, sheet_html, usual_refill
from afterfill.page.history import history_html
from afterfill.page.layout import document, path_of, without_options
from afterfill.page.live import MOST_LISTENERS, News
from afterfill.page.parts import Parts, notes_of, session_of, tank_of
from afterfill.page.plans import plan_form, poured_link, rescue_form
from afterfill.page.sessions import COOKIE
from afterfill.report.markup import Html, tag
from afterfill.report.style import STYLE_SOURCE
from afterfill.tank_table import tank_table

_REPORT_CSP = (
    f"default-src 'none'; style-src {STYLE_SOURCE}; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'"
)


@dataclass(frozen=True, slots=True)
class Worked:
    """A plan or report as HTML, what comes first and what stands behind it; or what is wrong."""

    first: str = ""
    more: str = ""
    wrong: str = ""
    status: int = 200


async def home(parts: Parts, request: Request) -> Response:
    """All tanks, or the one."""
    if len(parts.tanks) == 1:
        return await _shown(parts, request, parts.tanks[0])
    news = await parts.live.now(None)
    return document(
        news.said, *_live_region(news, "/live"), tanks=parts.tanks,
        notes=notes_of(session_of(request)), live=True,
    )  # fmt: skip


async def tank(parts: Parts, request: Request) -> Response:
    """One tank."""
    return await _shown(parts, request, tank_of(parts, request))


async def _shown(parts: Parts, request: Request, name: str) -> Response:
    news = await parts.live.now(name)
    try:
        day = await parts.live.day(name)
    except JournalError:
        day = Html("")  # the answer above says why
    where = f"/live?tank={path_of(name).rpartition('/')[2]}"
    return document(
        news.said, *_live_region(news, where),
        tag("section", tag("h2", "The last day"), tag("div", day, id="day")),
        tag("section", Html(news.figures), id="figures"),
        tanks=parts.tanks, tank=name, notes=notes_of(session_of(request)), live=True,
    )  # fmt: skip


def _live_region(news: News, where: str) -> list[Html]:
    lost = "No news from the page: what stands here is old. Is the Pi on, and the phone at home?"
    return [
        tag("p", news.said, id="said", role="status", class_="unseen"),
        tag("p", lost, id="lost", role="alert", class_="wrong", hidden="hidden"),
        tag("div", news.now, id="now", data_live=where),
    ]


async def live(parts: Parts, request: Request) -> Response:
    """The stream of news, as long as the session lasts."""
    name = request.query_params.get("tank")
    if name is not None and name not in parts.config.tank:
        raise HTTPException(404)
    if name is None and len(parts.tanks) == 1:
        name = parts.tanks[0]
    if parts.live.listeners >= MOST_LISTENERS:
        raise HTTPException(503)
    token = request.cookies.get(COOKIE)

    def goes_on() -> bool:
        return parts.sessions.of(token, time.monotonic(), used=False) is not None

    return StreamingResponse(parts.live.stream(name, goes_on), media_type="text/event-stream")


async def sheet(parts: Parts, request: Request) -> Response:
    """What can be told of a tank; a plan may have filled in the refill."""
    name = tank_of(parts, request)
    usual, lines = await parts.reader.read(lambda journal: known(journal, parts.config, name))
    given = dict(request.query_params)
    planned = bool(given.get("litres"))
    it = Sheet(
        parts.config, name, usual, secrets.token_urlsafe(12),
        kind="refill" if planned else given.get("open", ""), given=given if planned else None,
        lines=lines,
    )  # fmt: skip
    return document(
        f"{name}: log", sheet_html(it), tanks=parts.tanks, tank=name, view="/log",
        notes=notes_of(session_of(request)),
    )  # fmt: skip


async def alarm(parts: Parts, request: Request) -> Response:
    """One alarm, and what may be answered to it."""
    name, alarm_name = tank_of(parts, request), str(request.path_params["name"])
    if alarm_name not in DEFINITIONS:
        raise HTTPException(404)
    ticket = secrets.token_urlsafe(12)
    html = await parts.reader.read(
        lambda journal: alarm_html(journal, parts.config, name, alarm_name, ticket)
    )
    return document(
        alarm_name, html, tanks=parts.tanks, tank=name, view="-",
        notes=notes_of(session_of(request)),
    )  # fmt: skip


async def plan(parts: Parts, request: Request) -> Response:
    """A refill before it is poured: planned as soon as a volume is known."""
    name, given = tank_of(parts, request), dict(request.query_params)
    usual = await parts.reader.read(lambda journal: usual_refill(journal, name))
    it = Sheet(parts.config, name, usual, "", kind="plan", given=given or None)
    form, question = plan_form(it)
    found, poured = Worked(), Html("")
    if question is not None:
        found = await _worked_out(parts, request, "plan", name, question)
        poured = poured_link(name, question)
    return document(
        f"{name}: plan", tag("h1", f"{name}: a refill, before it is poured"), *_wrong(found.wrong),
        Html(found.first), poured if found.first else Html(""), Html(found.more), form,
        tanks=parts.tanks, tank=name, view="/plan", status=found.status,
    )  # fmt: skip


async def rescue(parts: Parts, request: Request) -> Response:
    """What to do about disinfectant in the tank."""
    name, given = tank_of(parts, request), dict(request.query_params)
    form, question = rescue_form(given)
    found = await _worked_out(parts, request, "rescue", name, question)
    return document(
        f"{name}: rescue plan", tag("h1", f"{name}: rescue plan"), *_wrong(found.wrong),
        Html(found.first), Html(found.more), form,
        tanks=parts.tanks, tank=name, view="-", status=found.status,
    )  # fmt: skip


def _wrong(words: str) -> list[Html]:
    return [tag("p", without_options(words), class_="wrong", role="alert")] if words else []


async def _worked_out(
    parts: Parts, request: Request, kind: str, name: str, question: dict[str, object]
) -> Worked:
    if not session_of(request).work.take(time.monotonic()):
        return Worked(wrong="Too much at once: wait a moment.", status=429)
    try:
        first, *more = await parts.aside.asked(kind, name, question)
        return Worked(first, "".join(more))
    except UsageError as error:
        return Worked(wrong=str(error), status=400)


async def history(parts: Parts, request: Request) -> Response:
    """Refills and alarms, with the report of each."""
    name = tank_of(parts, request)
    shown = tank_table(parts.config, name).shown
    html = await parts.reader.read(lambda journal: history_html(journal, name, shown, time.time()))
    return document(f"{name}: history", html, tanks=parts.tanks, tank=name, view="/history")


async def months(parts: Parts, request: Request) -> Response:
    """A year, month by month."""
    name = tank_of(parts, request)
    found = await _worked_out(parts, request, "months", name, {})
    return document(
        f"{name}: months", *_wrong(found.wrong), Html(found.first),
        tanks=parts.tanks, tank=name, view="/history", status=found.status,
    )  # fmt: skip


async def report(parts: Parts, request: Request) -> Response:
    """The page of `afterfill report`, which brings its own style and nothing else."""
    name, given = tank_of(parts, request), request.query_params
    question = {key: given[key] for key in ("refill", "from", "to") if key in given}
    found = await _worked_out(parts, request, "report", name, dict(question))
    if found.wrong:
        return document(
            "Report", tag("h1", "No report"), *_wrong(found.wrong), tanks=parts.tanks, tank=name,
            view="/history", status=found.status,
        )  # fmt: skip
    return HTMLResponse(found.first, headers={"content-security-policy": _REPORT_CSP})

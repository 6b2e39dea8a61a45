"""What is changed: each is a word of the keeper's, left in the journal's inbox for the service."""

import asyncio
import secrets
from collections.abc import Iterator
from contextlib import contextmanager

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.alarm.answer import Answer, answer
from afterfill.cli.log.understood import said_back, understood
from afterfill.cli.submission import Submitted, submitted
from afterfill.cli.times import past_from, present_s
from afterfill.errors import PayloadError, UsageError
from afterfill.page.forms import TOLD_KINDS, Sheet, payload_of, sheet_html, usual_refill
from afterfill.page.layout import document, path_of
from afterfill.page.parts import Parts, fields_of, session_of, tank_of
from afterfill.page.sessions import Session
from afterfill.payloads import ALARM_ACTIONS


class SentTwice(Exception):
    """A form came that was sent before."""


_LONGEST_TICKET = 40
_TWICE = "That was logged already: it is not logged again."


async def log(parts: Parts, request: Request) -> Response:
    """A refill, a test, a dose, work, stock."""
    tank, kind = tank_of(parts, request), str(request.path_params["kind"])
    if kind not in TOLD_KINDS:
        raise HTTPException(404)
    given, session = await fields_of(request), session_of(request)
    try:
        with once(session, given.get("ticket", "")):
            left, said = await asyncio.to_thread(_told, parts, tank, kind, given)
    except SentTwice:
        session.notes.append(_TWICE)
        return RedirectResponse(path_of(tank), 303)
    except (PayloadError, UsageError) as error:
        return await _again(parts, tank, kind, given, str(error))
    session.notes += [_sentence(words) for words in left.words(said)]
    return RedirectResponse(path_of(tank), 303)


@contextmanager
def once(session: Session, ticket: str) -> Iterator[None]:
    """Spends the ticket, unless what is done with it fails. Raises SentTwice, and PayloadError for
    what is no ticket."""
    if not 0 < len(ticket) <= _LONGEST_TICKET:
        raise PayloadError("this form cannot be used: open it again, nothing was logged")
    if not session.spend(ticket):
        raise SentTwice
    try:
        yield
    except BaseException:
        session.spent.remove(ticket)
        raise


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _told(parts: Parts, tank: str, kind: str, given: dict[str, str]) -> tuple[Submitted, str]:
    now_s = present_s()
    time_s = past_from(given.get("at", "").strip() or None, now_s)
    event = understood(kind, payload_of(given), parts.config, tank=tank, time_s=time_s)
    left = submitted(parts.config.journal.path, event)
    return left, said_back(event, parts.config, now_s)


async def _again(parts: Parts, tank: str, kind: str, given: dict[str, str], wrong: str) -> Response:
    """The form once more, with what was typed and why it cannot be."""
    usual = await parts.reader.read(lambda journal: usual_refill(journal, tank))
    ticket = secrets.token_urlsafe(12)
    it = Sheet(parts.config, tank, usual, ticket, kind=kind, given=given, wrong=wrong)
    return document(
        f"{tank}: not logged", sheet_html(it), tanks=parts.tanks, tank=tank, view="/log", status=400
    )


async def alarm(parts: Parts, request: Request) -> Response:
    """An alarm is acknowledged, put aside, taken back."""
    tank, name = tank_of(parts, request), str(request.path_params["name"])
    action = next((it for it in ALARM_ACTIONS if it == request.path_params["action"]), None)
    if name not in DEFINITIONS or action is None:
        raise HTTPException(404)
    given, session = await fields_of(request), session_of(request)

    def done() -> Answer:
        return answer(action, name, dict(payload_of(given)), parts.config, tank)

    try:
        with once(session, given.get("ticket", "")):
            found = await asyncio.to_thread(done)
    except SentTwice:
        return RedirectResponse(path_of(tank), 303)
    session.notes += [_sentence(words) for words in found.words()]
    return RedirectResponse(path_of(tank), 303)

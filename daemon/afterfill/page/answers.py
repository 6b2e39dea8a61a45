"""What is changed: each is a word of the keeper's, left in the journal's inbox for the service."""

import asyncio
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.alarm.answer import Answer, answer
from afterfill.cli.configured import reading_journal
from afterfill.cli.log.said_back import said_back
from afterfill.cli.submission import Submitted, submitted
from afterfill.cli.times import past_from, present_s
from afterfill.errors import PayloadError, UsageError
from afterfill.journal.understood import understood
from afterfill.page.forms import SURE, TOLD_KINDS, Sheet, known, payload_of, sheet_html
from afterfill.page.layout import document, path_of
from afterfill.page.parts import Parts, fields_of, session_of, tank_of
from afterfill.page.sessions import Session
from afterfill.payloads import ALARM_ACTIONS, CORRECTION


class Doubtful(PayloadError):
    """What was typed is strange: it is taken when it is sent once more as meant so."""


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
        doubtful = isinstance(error, Doubtful)
        return await _again(parts, tank, kind, given, str(error), doubtful=doubtful)
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
    now_s, at, path = present_s(), given.get("at", "").strip(), parts.config.journal.path
    payload = _correction(given) if kind == CORRECTION else payload_of(given)
    with reading_journal(path) if path.exists() else nullcontext() as journal:
        it = understood(
            kind, payload, tank=tank, config=parts.config, journal=journal,
            time_s=past_from(at or None, now_s), dated=bool(at),
        )  # fmt: skip
    if it.doubt and not given.get(SURE):
        raise Doubtful(f"{it.doubt}. Is it meant so?")
    left = submitted(path, it.event)
    return left, said_back(it.event, parts.config, now_s)


def _correction(given: dict[str, str]) -> dict[str, object]:
    """A word is taken back, or said otherwise: what is left empty stays."""
    said: dict[str, object] = dict(payload_of(given))
    number = given.get("of", "")
    said["of"] = int(number) if number.isascii() and number.isdecimal() else number
    if said.pop("remove", None) is not None:
        said["remove"] = True
    return said


async def _again(
    parts: Parts, tank: str, kind: str, given: dict[str, str], wrong: str, *, doubtful: bool
) -> Response:
    """The form once more, with what was typed and why it cannot be."""
    usual, lines = await parts.reader.read(lambda journal: known(journal, parts.config, tank))
    ticket = secrets.token_urlsafe(12)
    it = Sheet(
        parts.config, tank, usual, ticket, kind=kind, given=given, wrong=wrong, doubtful=doubtful,
        lines=lines,
    )  # fmt: skip
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

"""What all handlers share, and what they ask of a request."""

from dataclasses import dataclass, field
from urllib.parse import parse_qsl

from starlette.exceptions import HTTPException
from starlette.requests import Request

from afterfill.config import Config
from afterfill.errors import PayloadError
from afterfill.page.aside import Aside
from afterfill.page.live import Live
from afterfill.page.password import Password
from afterfill.page.rate import LoginRate
from afterfill.page.reader import Reader
from afterfill.page.sessions import Session, Sessions
from afterfill.page.site import Site

_MOST_FIELDS = 40


@dataclass
class Parts:
    """Made once, when the page starts."""

    config: Config
    site: Site
    password: Password
    sessions: Sessions
    reader: Reader
    live: Live
    aside: Aside
    logins: LoginRate = field(default_factory=LoginRate)

    @property
    def tanks(self) -> list[str]:
        """The names of all."""
        return list(self.config.tank)


def session_of(request: Request) -> Session:
    """The session of a request: the guard refuses those that have none."""
    session = request.scope["afterfill.session"]
    assert isinstance(session, Session)
    return session


def tank_of(parts: Parts, request: Request) -> str:
    """The tank in the address. Raises HTTPException when there is none of that name."""
    tank = str(request.path_params["tank"])
    if tank not in parts.config.tank:
        raise HTTPException(404)
    return tank


async def fields_of(request: Request) -> dict[str, str]:
    """What a form holds. Raises PayloadError when it is none."""
    try:
        body = (await request.body()).decode("utf-8", "replace")
        return dict(parse_qsl(body, keep_blank_values=True, max_num_fields=_MOST_FIELDS))
    except ValueError as error:
        raise PayloadError("this form cannot be read") from error


def notes_of(session: Session) -> list[str]:
    """What a person is to be told once, taken."""
    notes, session.notes = session.notes, []
    return notes

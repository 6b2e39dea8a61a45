"""Letters by the many services that the library apprise knows; loaded only when it is used."""

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from typing import Any

from afterfill.errors import SinkUnavailable
from afterfill.sinks.notify_letter import Letter

_MISSING = "needs apprise: install it with `pip install 'afterfill[notify]'`"


class PushPost:
    """One address of the file."""

    def __init__(self, service: Any, address: str, where: str) -> None:  # noqa: ANN401 - untyped
        """Use `posts_in`. `service` is apprise's object for `address`."""
        self._service = service
        self._address = address
        self._where = where

    @property
    def name(self) -> str:
        """The service's kind, and where the address stands: it holds secrets itself."""
        return f"{self._address.partition(':')[0]} ({self._where})"

    @property
    def address(self) -> str:
        """The whole URL. Never shown."""
        return self._address

    def examine(self) -> None:
        """Nothing more: the address was understood when this was made."""

    def send(self, letter: Letter) -> None:
        """See `Post.send`; apprise's own time-outs are 4 s, unless the URL says otherwise."""
        apprise = _library(self._where)
        courier = apprise.Apprise()
        courier.add(self._service)
        kind = apprise.NotifyType.FAILURE if letter.urgent else apprise.NotifyType.INFO
        with _said(apprise) as said:
            done = courier.notify(
                body=letter.text,
                title=letter.subject,
                notify_type=kind,
                attach=None if letter.picture is None else str(letter.picture),
            )
        if not done:
            raise SinkUnavailable(
                f"{self.name} did not take the message ({self._reason(said.getvalue())}); check "
                "the address, and whether the service can be reached"
            )

    def _reason(self, log: str) -> str:
        """The library's last words, without the parts of the address that are secret."""
        lines = [line.strip() for line in log.splitlines() if line.strip()]
        words = lines[-1] if lines else "no reason given"
        for secret in _secrets(self._service, self._address):
            words = words.replace(secret, "***")
        return words[:200]


def _secrets(service: Any, address: str) -> Iterator[str]:  # noqa: ANN401 - untyped
    yield address
    known = [getattr(service, name, None) for name in ("password", "user", "fullpath")]
    parts = address.partition("://")[2].replace("?", "/").replace("@", "/").replace(":", "/")
    host = getattr(service, "host", None)
    for part in [*known, *parts.split("/")]:
        if isinstance(part, str) and len(part) > 5 and part != host:
            yield part


@contextmanager
def _said(apprise: Any) -> Iterator[StringIO]:  # noqa: ANN401 - untyped
    """What the library logs meanwhile: its only way to give a reason."""
    said = StringIO()
    handler = logging.StreamHandler(said)
    handler.setFormatter(logging.Formatter("%(message)s"))
    handler.setLevel(logging.WARNING)
    logger = apprise.logger
    logger.addHandler(handler)
    propagate, logger.propagate = logger.propagate, False  # its words may hold the address
    try:
        yield said
    finally:
        logger.propagate = propagate
        logger.removeHandler(handler)


def posts_in(file: Path) -> Sequence[PushPost]:
    """One recipient for each address in `file`: a line each, `#` begins a comment.

    Raises SinkUnavailable when the file cannot be read, holds no address or a wrong one, or when
    apprise is not installed. Nothing is sent.
    """
    lines = list(_addresses(file))
    if not lines:
        raise SinkUnavailable(f"{file} holds no address; write one into it, a line each")
    apprise = _library(str(file))
    return [_post(apprise, file, number, line) for number, line in lines]


def _addresses(file: Path) -> Iterator[tuple[int, str]]:
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise SinkUnavailable(
            f"{file} cannot be read ({error}); correct [[notify]] url_file"
        ) from error
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip() and not line.lstrip().startswith("#"):
            yield number, line.strip()


def _post(apprise: Any, file: Path, number: int, line: str) -> PushPost:  # noqa: ANN401 - untyped
    with _said(apprise):
        service = apprise.Apprise.instantiate(line)
    if service is None:
        raise SinkUnavailable(
            f"{file}, line {number}: apprise knows no such address ({line.partition(':')[0]}:...); "
            "its documentation lists the services and how each is written"
        )
    return PushPost(service, line, f"{file.name}, line {number}")


def _library(where: str) -> Any:  # noqa: ANN401 - untyped, and optional
    try:
        import apprise
    except ImportError as error:
        raise SinkUnavailable(f"{where} {_MISSING}") from error
    return apprise

"""Check of the page: whether it answers, or could be served as it is configured."""

import http.client
from collections.abc import Iterator
from pathlib import Path

from afterfill.cli.check.finding import Finding
from afterfill.config import Config
from afterfill.errors import AfterfillError
from afterfill.service.page_needs import MISSING_PACKAGES, bound, has_packages, long_enough, split
from afterfill.sinks.secret_file import secret_in

_LOG_IN = b"Log in to afterfill"  # what the page shows without a password
_PATIENCE_S = 3.0
_ADVICE = "is it there, with a password in it, and may this user read it?"
_ANY = {"0.0.0.0": "127.0.0.1", "::": "::1"}


def page_findings(config: Config) -> Iterator[Finding]:
    """Nothing to say where no [page] is configured."""
    if config.page is None:
        return
    listen = config.page.listen
    if listen is None:
        off = "off, since [page] sets no listen: write an address of this machine and a port there"
        yield Finding("page", "unknown", off)
    elif (trouble := _trouble(config.page.password_file)) is not None:
        yield Finding("page", "fault", trouble)
    else:
        yield _at(listen)


def _trouble(secret: Path | None) -> str | None:
    if not has_packages():
        return MISSING_PACKAGES
    if secret is None:
        return (
            "it does not serve without a password: write one of 8 characters or more into a file "
            "(chmod 600), and name that in password_file"
        )
    try:
        long_enough(secret_in(secret, "password_file", _ADVICE))
    except AfterfillError as error:
        return str(error)
    return None


def _at(listen: str) -> Finding:
    """Who is at the address: the page, another program, or no one."""
    try:
        bound(listen).close()
    except AfterfillError as error:
        if _is_the_page(listen):
            return Finding("page", "ok", f"http://{listen} asks for the password")
        return Finding("page", "fault", str(error))
    return Finding(
        "page", "unknown",
        f"not running; {listen} is free: start it with `afterfill page`, or "
        "`sudo systemctl enable --now afterfill-page`",
    )  # fmt: skip


def _is_the_page(listen: str) -> bool:
    address, port = split(listen)
    asked = http.client.HTTPConnection(_ANY.get(address, address), port, timeout=_PATIENCE_S)
    try:
        asked.request("GET", "/login")
        return _LOG_IN in asked.getresponse().read(100_000)
    except (OSError, http.client.HTTPException):
        return False
    finally:
        asked.close()

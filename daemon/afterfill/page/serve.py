"""The server: what it listens on, and the parts of the page put together.

A process of its own, which `command.py` becomes: ``python -m afterfill.page.serve CONFIG LISTEN
PASSWORD_FILE URL``, an empty URL for none.
"""

import asyncio
import logging
import sys
from pathlib import Path

import uvicorn
from pydantic import TypeAdapter, ValidationError

from afterfill.config_fields import ListenAddress
from afterfill.config_file import load
from afterfill.errors import AfterfillError, UsageError
from afterfill.page.app import made
from afterfill.page.guard import LONGEST_HEAD
from afterfill.page.memory import settle
from afterfill.page.password import Password
from afterfill.page.site import Site
from afterfill.service.log_lines import LogLines
from afterfill.service.page_needs import bound
from afterfill.sinks.secret_file import secret_in

_log = logging.getLogger(__name__)
_MOST_CONNECTIONS = 64  # a household's phones with their live streams, several times over


def main() -> None:
    """Serve until stopped; a mistake is one sentence, and its exit code."""
    path, listen, secret, url = sys.argv[1:5]
    try:
        serve(Path(path), listen, Path(secret), url or None)
    except AfterfillError as error:
        sys.stderr.write(f"afterfill: {error}\n")
        raise SystemExit(error.exit_code) from error


def serve(path: Path, listen: str, secret: Path, url: str | None) -> None:
    """Serve until stopped. `path`: the configuration; `secret`: the password's file.

    Raises UsageError, ConfigError, SinkUnavailable (no password), DeviceUnavailable (no address).
    """
    config = load(path)
    _log_to_stderr()
    settle()
    password = Password(secret_in(secret, "password_file"))
    listener = bound(_checked(listen))
    site = Site(int(listener.getsockname()[1]), None if url is None else url.rstrip("/"))
    app = made(config, path, site, password)
    server = uvicorn.Server(
        uvicorn.Config(
            app, http="h11", loop="asyncio", ws="none", log_config=None, access_log=False,
            server_header=False, proxy_headers=False, limit_concurrency=_MOST_CONNECTIONS,
            h11_max_incomplete_event_size=LONGEST_HEAD, timeout_keep_alive=10,
            timeout_graceful_shutdown=2,
        )
    )  # fmt: skip
    _log.info("the page is at http://%s", listen)
    asyncio.run(server.serve(sockets=[listener]))


def _checked(listen: str) -> str:
    try:
        return TypeAdapter[str](ListenAddress).validate_python(listen)
    except ValidationError as error:
        raise UsageError(f"--listen: {error.errors()[0]['ctx']['error']}") from error


def _log_to_stderr() -> None:
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(LogLines())
    logging.basicConfig(handlers=[handler], level=logging.INFO)
    logging.getLogger("uvicorn.error").setLevel(logging.WARNING)


if __name__ == "__main__":
    main()

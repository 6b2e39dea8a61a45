"""One time-series database behind /api/v2/write: writes lines, says in words what it refused."""

from pathlib import Path

import urllib3
from influxdb_client.client.influxdb_client import InfluxDBClient
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException

from afterfill.config import Influxdb
from afterfill.errors import SinkUnavailable
from afterfill.shown import shown
from afterfill.sinks.secret_file import secret_in

_TIMEOUT_MS = 4_000  # the service stops within 5 s, also while a database hangs
_REFUSES_POINTS = (400, 413, 422)


class PointsRefused(Exception):
    """The database took the request and refused some of its points; the good ones are stored."""


class Database:
    """Owned by one thread. Connects at the first write, and again after a failure."""

    def __init__(self, settings: Influxdb) -> None:
        self._settings = settings
        self._client: InfluxDBClient | None = None

    def close(self) -> None:
        """Let go of the connection. Safe twice."""
        if self._client is not None:
            self._client.close()  # type: ignore[no-untyped-call]  # the client's own gap
            self._client = None

    def write(self, lines: list[str]) -> None:
        """Write `lines` and return when they are stored.

        Raises PointsRefused with the database's reason, or SinkUnavailable with one sentence.
        """
        try:
            self._write(lines)
        except ApiException as error:
            if error.status in _REFUSES_POINTS:
                raise PointsRefused(_reason(error)) from error
            self.close()
            raise SinkUnavailable(self._sentence(error)) from error
        except (urllib3.exceptions.HTTPError, OSError) as error:
            self.close()
            raise SinkUnavailable(
                f"the database at {self._settings.url} does not answer ({_cause(error)}); "
                "is it running? The journal keeps everything until then"
            ) from error

    def _write(self, lines: list[str]) -> None:
        if self._client is None:
            self._client = InfluxDBClient(
                url=self._settings.url,
                token=_token(self._settings.token_file),
                org=self._settings.org,
                timeout=_TIMEOUT_MS,
                enable_gzip=True,
            )
        self._client.write_api(write_options=SYNCHRONOUS).write(
            self._settings.bucket,
            self._settings.org,
            lines,
        )

    def _sentence(self, error: ApiException) -> str:
        url, bucket = self._settings.url, self._settings.bucket
        match error.status:
            case 401 | 403:
                return (
                    f"the database at {url} refuses the token ({error.status}); check [influxdb] "
                    f"token_file and its right to write into '{bucket}'"
                )
            case 404:
                return (
                    f"the database at {url} knows no bucket '{bucket}' or takes no "
                    "/api/v2/write (404); check [influxdb] url, org and bucket"
                )
            case _:
                return f"the database at {url} cannot take points now ({_reason(error)})"


def _token(file: Path | None) -> str:
    if file is None:
        return ""
    token = secret_in(file, "[influxdb] token_file").strip()
    if not (token.isascii() and token.isprintable()):  # the library would say it again
        raise SinkUnavailable(
            f"[influxdb] token_file {file} holds more than a token: leave one line of plain "
            "letters, digits and signs"
        )
    return token


def _reason(error: ApiException) -> str:
    message = error.message
    text = message.decode("utf-8", "replace") if isinstance(message, bytes) else str(message)
    return f"{error.status}: {shown(' '.join(text.split()), 300)}"


def _cause(error: Exception) -> str:
    return str(getattr(error, "reason", error) or error).split(": ", 1)[-1]

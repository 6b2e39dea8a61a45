"""A sign of life to a web address, so that a watcher there notices when it stops coming.

It is sent only while the core goes on: the newest record of the journal must be fresh. A service
whose core hangs falls silent, although this thread still runs.
"""

import http.client
import logging
import threading
import urllib.error
import urllib.request
from collections.abc import Callable
from pathlib import Path

from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Journal
from afterfill.records import Stamp
from afterfill.shown import parts_of, without_secrets
from afterfill.sinks.health import SinkHealth
from afterfill.sinks.notify.status import DeliveryStatus
from afterfill.sinks.secret_file import secret_in

_TIMEOUT_S = 10.0
_RETRY_S = 60.0
_SLACK_S = 90.0  # time is told to a silent tank each 30 s; three of these
_log = logging.getLogger(__name__)


class Heartbeat:
    """Run `run` in a thread of its own; `health` may be asked by any thread."""

    def __init__(
        self,
        journal_path: Path,
        url_file: Path,
        every_s: float,
        now: Callable[[], Stamp],
        *,
        fresh_s: float,
    ) -> None:
        """`fresh_s`: how old [s] the journal's newest record may be, see `fresh_within_s`."""
        self._path = journal_path
        self._url_file = url_file
        self._every_s = every_s
        self._now = now
        self._fresh_s = fresh_s
        self._status = DeliveryStatus()

    def health(self) -> SinkHealth:
        """How the signs of life are doing."""
        return self._status.health(self._now().monotonic_s)

    def run(self, stop: threading.Event) -> None:
        """Send until `stop` is set. Raises JournalError when the journal fails."""
        begun_s = self._now().monotonic_s
        with Journal.open(self._path, read_only=True) as journal:
            while not stop.is_set():
                beaten = self._beat(journal, begun_s)
                stop.wait(self._every_s if beaten else min(_RETRY_S, self._every_s))

    def _beat(self, journal: Journal, begun_s: float) -> bool:
        now = self._now()
        age_s = newest_age_s(journal, now)
        fresh = age_s is not None and age_s <= self._fresh_s
        if not fresh and now.monotonic_s - begun_s < self._fresh_s:
            return False  # the first records of a new start are not committed yet
        try:
            if not fresh:
                raise SinkUnavailable(_no_progress(age_s))
            send(self._url_file)
        except SinkUnavailable as error:
            if self._status.failed("", str(error)):
                _log.warning("%s", error)
            return False
        self._status.delivered("", self._now().monotonic_s)
        return True


def fresh_within_s(commit_every_s: float) -> float:
    """How old [s] the newest record may be while the core goes on."""
    return commit_every_s + _SLACK_S


def newest_age_s(journal: Journal, now: Stamp) -> float | None:
    """Age [s] of the newest record of this boot; None when there is none."""
    newest = journal.entries(journal.last_seq() - 1, limit=1)
    if not newest or newest[0].stamp.boot_id != now.boot_id:
        return None
    return now.monotonic_s - newest[0].stamp.monotonic_s


def _no_progress(age_s: float | None) -> str:
    known = (
        "there is no record since this boot"
        if age_s is None
        else f"the newest is {age_s:.0f} s old"
    )
    return f"no sign of life is sent, since the journal gets no new records ({known})"


def send(url_file: Path) -> None:
    """One GET of the address in `url_file`. Raises SinkUnavailable; the address is not shown."""
    url = _url(url_file)
    try:
        with urllib.request.urlopen(url, timeout=_TIMEOUT_S):
            return
    except urllib.error.HTTPError as error:
        with error:
            reason = f"{error.code} {error.reason}"
    except OSError as error:
        reason = str(getattr(error, "reason", error) or type(error).__name__)
    except (http.client.HTTPException, ValueError) as error:  # their words quote the address
        reason = f"it cannot be asked or understood, {type(error).__name__}"
    reason = without_secrets(reason, parts_of(url))
    raise SinkUnavailable(
        f"the heartbeat address in {url_file} did not take the sign of life ({reason}); check it"
    )


def _url(file: Path) -> str:
    url = secret_in(file, advice="correct [[notify]] heartbeat_url_file").strip()
    if not url.startswith(("http://", "https://")):
        raise SinkUnavailable(f"{file} must hold one address that begins with https:// or http://")
    return url


def examine(url_file: Path) -> None:
    """Find what is wrong without the network. Raises SinkUnavailable."""
    _url(url_file)

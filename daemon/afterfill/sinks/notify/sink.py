"""The sink that reaches a person: one thread for each [[notify]] table.

The journal is the queue. What a recipient has been told is kept beside it (meta), written after
the other side has accepted a message: a kill in between tells it once more, never not at all.
"""

import hashlib
import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from afterfill.back_off import BackOff
from afterfill.config import Notify
from afterfill.errors import JournalDamaged, JournalError, SinkUnavailable
from afterfill.journal.store import Entry, Journal
from afterfill.planning.shown import PLAIN, Shown
from afterfill.record_kinds import words_of
from afterfill.records import Estimate, Stamp
from afterfill.sinks.health import SinkHealth
from afterfill.sinks.notify.channels import deliveries_of
from afterfill.sinks.notify.message import Delivery, Message
from afterfill.sinks.notify.picture import picture_of
from afterfill.sinks.notify.rules import Due, Policy, after, due, newcomer, policy_of
from afterfill.sinks.notify.state import State, at, from_text, to_text
from afterfill.sinks.notify.status import DeliveryStatus
from afterfill.sinks.notify.text import Scene, subject_of, text_of

_KINDS = words_of(lambda kind: kind.message)
_POLL_S = 1.0
_SAVE_POSITION_S = 3600.0  # with nothing to tell: spares the card and a long search at the start
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 5.0, 300.0
_log = logging.getLogger(__name__)


def local_time(time_s: float) -> datetime:
    """The time of this machine's zone."""
    return datetime.fromtimestamp(time_s).astimezone()


class NotifySink:
    """Run `run` in a thread of its own; `health` may be asked by any thread."""

    def __init__(
        self,
        journal_path: Path,
        table: Notify,
        now: Callable[[], Stamp],
        limits_mg_l: Mapping[str, float],
        *,
        shown: Shown = PLAIN,
        page_url: str | None = None,
        local: Callable[[float], datetime] = local_time,
        first_pause_s: float = _FIRST_PAUSE_S,
        deliveries: Callable[[Notify], Sequence[Delivery]] = deliveries_of,
    ) -> None:
        """`limits_mg_l`: each tank's limit of residual oxidant, for the picture; `shown`: the
        keeper's units; `page_url`: where alarms can be answered; `local` gives the keeper's own
        time. Someone new is told nothing of what the journal holds by now.

        Raises JournalError.
        """
        self.path = journal_path
        self.table = table
        self.policy = policy_of(table)
        self.now = now
        self.limits_mg_l = limits_mg_l
        self.shown = shown
        self.page_url = page_url
        self.local = local
        self.first_pause_s = first_pause_s
        self.status = DeliveryStatus()
        self._deliveries = deliveries
        self._begin_key = f"notify-begin.{_digest(_target(table))}"
        with Journal.open(journal_path) as journal:
            self._begin = self._begun(journal)

    def _begun(self, journal: Journal) -> int:
        """The last record of no concern to newcomers; kept until they are known by name, so that a
        kill right after the first start loses nothing."""
        kept = journal.meta(self._begin_key)
        if kept:
            return int(kept)
        begin = journal.last_seq()
        if kept is None:
            journal.set_meta(self._begin_key, str(begin))
        return begin

    def health(self) -> SinkHealth:
        """How reaching these people is doing."""
        return self.status.health(self.now().monotonic_s)

    def run(self, stop: threading.Event) -> None:
        """Tell until `stop` is set. Raises JournalError when the journal cannot be opened, and
        JournalDamaged; while it only cannot be read or written, what was told is remembered."""
        with Journal.open(self.path) as journal:
            recipients = self._recipients(journal, stop)
            while not stop.is_set():
                self._attempt(journal, recipients)
                stop.wait(_POLL_S)
            for recipient in recipients:
                recipient.save(journal)

    def _attempt(self, journal: Journal, recipients: Sequence["Recipient"]) -> None:
        try:
            self._turn(journal, recipients)
        except JournalDamaged:
            raise
        except JournalError as error:
            if self.status.failed("journal", str(error)):
                _log.warning("%s; messages wait", error)
        else:
            self.status.mended("journal")

    def _turn(self, journal: Journal, recipients: Sequence["Recipient"]) -> None:
        """Hand on what is new, and let each recipient be told what is due."""
        last = journal.last_seq()
        begin = min((r.state.seq for r in recipients), default=last)
        entries = journal.entries(begin, until=last, kinds=_KINDS) if begin < last else []
        for recipient in recipients:
            recipient.take(entries, last if len(entries) < 1000 else 0)
            recipient.keep(journal)
            recipient.tell(journal)

    def _recipients(self, journal: Journal, stop: threading.Event) -> list["Recipient"]:
        """The recipients, as soon as their addresses can be read."""
        pauses = BackOff(self.first_pause_s, _LONGEST_PAUSE_S)
        while not stop.is_set():
            try:
                deliveries = self._deliveries(self.table)
            except SinkUnavailable as error:
                if self.status.failed("", str(error)):
                    _log.warning("%s", error)
            else:
                self.status.mended("")
                return self._enrolled(journal, deliveries)
            stop.wait(pauses.failed())
        return []

    def _enrolled(self, journal: Journal, deliveries: Sequence[Delivery]) -> list["Recipient"]:
        found = [Recipient(self, delivery, journal, self._begin) for delivery in deliveries]
        for recipient in found:
            recipient.keep(journal)
        if journal.meta(self._begin_key):
            journal.set_meta(self._begin_key, "")
        return found


class Recipient:
    """One address with what it has been told. Owned by the sink's thread."""

    def __init__(self, sink: NotifySink, delivery: Delivery, journal: Journal, begin: int) -> None:
        self._sink = sink
        self._delivery = delivery
        self._policy: Policy = sink.policy
        self._key = f"notify.{_digest(_under_policy(sink.table, delivery.address))}"
        kept = journal.meta(self._key)
        known = None if kept is None else from_text(kept)
        self.state: State = newcomer(begin, sink.now()) if known is None else known
        self._saved: State | None = known
        self._pauses = BackOff(sink.first_pause_s, _LONGEST_PAUSE_S)
        self._again_s = 0.0  # when to try again; 0 after a success
        self._unwritten = False

    def take(self, entries: Sequence[Entry], last: int) -> None:
        """Take new records into account; there are none besides them up to `last`."""
        for entry in entries:
            if entry.seq > self.state.seq:
                self.state = after(self._policy, self.state, entry.seq, entry.stamp, entry.record)
        self.state = replace(self.state, seq=max(self.state.seq, last))

    def keep(self, journal: Journal) -> None:
        """Save when there is something to remember, or nothing was for long."""
        saved = self._saved
        if (
            saved is None
            or _memory(saved) != _memory(self.state)
            or self.state.run_s - saved.run_s >= _SAVE_POSITION_S
        ):
            self.save(journal)

    def save(self, journal: Journal) -> None:
        """Write the state to the disk. Where that takes nothing, memory must do: a message that
        went out may not go out again with every try."""
        self.state = at(self.state, self._sink.now())
        try:
            journal.set_meta(self._key, to_text(self.state))
        except JournalDamaged:
            raise
        except JournalError as error:
            if not self._unwritten:
                _log.warning("%s; what %s was told is in memory only", error, self._delivery.name)
            self._unwritten = True
            return
        self._unwritten = False
        self._saved = self.state

    def tell(self, journal: Journal) -> None:
        """Tell what is due; after a failure, not before a growing pause has passed."""
        stamp = self._sink.now()
        local = self._sink.local(stamp.time_s)
        told, what = due(self._policy, self.state, stamp, 60 * local.hour + local.minute)
        if not what.notices:
            self.state = told
            return
        if stamp.monotonic_s < self._again_s:
            return
        try:
            self._send(journal, what, stamp)
        except SinkUnavailable as error:
            self._put_off(str(error))
            return
        self._again_s = 0.0
        self._pauses.worked()
        self.state = told
        self.save(journal)
        self._sink.status.delivered(self._key, self._sink.now().monotonic_s)
        _log.info("told %s: %s", self._delivery.name, subject_of(what))

    def _put_off(self, sentence: str) -> None:
        self._again_s = self._sink.now().monotonic_s + self._pauses.failed()
        if self._sink.status.failed(self._key, sentence):
            _log.warning("%s; trying again", sentence)

    def _send(self, journal: Journal, what: Due, stamp: Stamp) -> None:
        first = what.notices[0]
        urgent = first.priority == "high" and first.what in ("raised", "still")
        text = self._sink.shown.text(text_of(what, self._scene(journal, what, stamp)))
        with self._picture(first.about.tank, stamp.time_s) as picture:
            message = Message.of(subject_of(what), text, urgent=urgent, picture=picture)
            self._delivery.send(message)

    def _picture(self, tank: str, time_s: float) -> AbstractContextManager[Path | None]:
        """Drawn for the first try only: a service that refused may have refused the picture."""
        limit_mg_l = self._sink.limits_mg_l.get(tank)
        if limit_mg_l is None or self._again_s > 0.0:
            return nullcontext()
        in_f = self._sink.shown.fahrenheit
        return picture_of(self._sink.path, tank, time_s, limit_mg_l, in_fahrenheit=in_f)

    def _scene(self, journal: Journal, what: Due, stamp: Stamp) -> Scene:
        estimates: dict[str, Estimate] = {}
        for tank in {notice.about.tank for notice in what.notices}:
            for entry in journal.latest("estimate", tank):
                if isinstance(entry.record, Estimate):
                    estimates[tank] = entry.record
        return Scene(stamp.time_s, self._sink.local, estimates, self._sink.page_url)


def _target(table: Notify) -> str:
    where = table.url_file if table.smtp is None else f"{table.smtp.host} {table.smtp.to}"
    return _under_policy(table, str(where))


def _under_policy(table: Notify, address: str) -> str:
    """One address may stand in two tables: at once for some alarms, later for others."""
    return f"{table.at_least} {table.after_minutes:g} {address}"


def _memory(state: State) -> tuple[object, ...]:
    """What of a state must not be lost; its clock and position can be found again."""
    return state.episodes, state.verdicts, state.skipped, state.holding, state.tokens


def _digest(address: str) -> str:
    """Tells addresses apart without keeping their secrets."""
    return hashlib.sha256(address.encode()).hexdigest()[:16]

"""The sink of messages with a journal of a test's own, and a recipient that can refuse."""

from typing import Any

from afterfill.config import Notify
from afterfill.errors import SinkUnavailable
from afterfill.journal.store import Journal
from afterfill.records import AlarmChange, AlarmState, Record
from afterfill.sinks.notify.message import Message
from afterfill.sinks.notify.sink import NotifySink
from sample_records import now

LIMITS = {"window": 0.019}


def alarm(state: AlarmState = "unacknowledged", name: str = "residual-oxidant") -> AlarmChange:
    return AlarmChange(
        now().time_s, "window", name, state, "high", state == "unacknowledged", "0.31 mg/L"
    )


def put(journal: Journal, *records: Record) -> None:
    """What the core does: append with the present's stamp and commit."""
    for record in records:
        journal.append(record, now())
    journal.commit()


def mail_table(port: int, **keys: Any) -> Notify:
    smtp = {
        "host": "localhost", "port": port, "from": "a@example.org", "to": "k@example.org",
        "starttls": False,
    }  # fmt: skip
    return Notify.model_validate({"smtp": smtp, **keys})


def sink_of(
    journal: Journal,
    table: Notify,
    limits: dict[str, float] | None = None,
    **further: Any,
) -> NotifySink:
    return NotifySink(journal.path, table, now, limits or {}, first_pause_s=0.1, **further)


class Deaf:
    """A recipient that refuses while `sentence` is set, and remembers what it took."""

    name, address = "deaf", "deaf://"

    def __init__(self) -> None:
        self.sentence = ""
        self.messages: list[Message] = []
        self.tries = 0

    def examine(self) -> None: ...

    def send(self, message: Message) -> None:
        self.tries += 1
        if self.sentence:
            raise SinkUnavailable(self.sentence)
        self.messages.append(message)


def deaf_sink(journal: Journal, *deliveries: Deaf, **keys: Any) -> NotifySink:
    table = Notify.model_validate({"url_file": "unused", **keys})
    return sink_of(journal, table, deliveries=lambda _table: deliveries)


def states_kept(journal: Journal) -> list[str]:
    rows = journal._db.execute("SELECT key FROM meta WHERE key LIKE 'notify.%'")
    return [row[0] for row in rows.fetchall()]


def impatient(table: Notify) -> Any:
    from afterfill.sinks.notify.mail import MailDelivery

    assert table.smtp is not None
    return MailDelivery(table.smtp, timeout_s=1.0)

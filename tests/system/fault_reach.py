"""Reaching a person: a mail server that never answers, a disk that is full when a mail is out."""

import time
from pathlib import Path

from notify_peers import Mailbox, hanging_on, text_of_mail
from system.fault_row import Row, told
from system.ledger import of_alarms
from system.live_service import LiveService

_WAY = """
[[notify]]
repeat_minutes = 0
per_hour = 120
[notify.smtp]
host = "127.0.0.1"
port = {port}
from = "a@example.org"
to = "{to}@example.org"
starttls = false
"""
_SPEED = 400.0
_LONG_ENOUGH_S = 5.0  # for several tries to remember it
_RETURNED = ("returned-to-normal-unacknowledged", False)
_ALARM = "Alarm ph, priority medium, "
_RAISED = f"{_ALARM}unacknowledged."


def service_hangs(times: int, folder: Path) -> Row:
    """One way hangs while alarms come and go, the other delivers; later the first is back."""
    stuck, good = Mailbox(), Mailbox()
    ways = _WAY.format(port=stuck.port, to="first") + _WAY.format(port=good.port, to="second")
    with good, LiveService(folder, speed=_SPEED, every_s=60.0, extra=ways) as service:
        with hanging_on(stuck.port):
            service.start()
            for number in range(1, times + 1):
                _sour_for_a_while(service, good, number)
            service.wait_for_said("does not answer within")
            service.wait_for(lambda: service.alarms("delivery-stalled"), "the alarm about it", 60.0)
        with stuck:
            service.wait_for(lambda: _mentions(stuck), "what the first was owed", 90.0)
        service.stop()
        lost, doubled, _ = of_alarms(service.journal, service.config)
    heard = told(
        ("the other way at once", _raises_in(good) >= times),
        ("log and alarm delivery-stalled", "does not answer within" in service.said()),
        ("the first way when it is back", _mentions(stuck)),
    )
    lost += max(times - _raises_in(good), 0) + (not _mentions(stuck))
    doubled += max(_raises_in(good) - times, 0)
    how = "one of two mail servers takes the connection and never answers; pH alarms come and go"
    return Row("service hangs", how, times, lost, doubled, heard)


def told_on_a_full_disk(times: int, folder: Path) -> Row:
    """The mail goes out while nothing can be remembered: it may not go out again and again."""
    sent, said = list[int](), ""
    for number in range(times):
        box = Mailbox()
        way = _WAY.format(port=box.port, to="keeper")
        at = folder / str(number)
        with LiveService(at, speed=_SPEED, every_s=60.0, commit_every_s=0.0, extra=way) as service:
            _told_while_full(service, box)
            said += service.said()
        sent.append(_raises_in(box))
    lost, doubled = sent.count(0), sum(max(count - 1, 0) for count in sent)
    how = "every write answers ENOSPC from the alarm's commit until some seconds after its mail"
    heard = told(("mail, once", not lost), ("log", "waits in memory" in said))
    return Row("full disk and mail", how, times, lost, doubled, heard)


def _told_while_full(service: LiveService, box: Mailbox) -> None:
    service.water.sour = True
    service.start()
    service.wait_for(lambda: ("unacknowledged", True) in service.alarms("ph"), "the alarm")
    service.disk.write_text("ENOSPC")
    service.wait_for_said("waits in memory")
    with box:
        service.wait_for(lambda: _raises_in(box), "the mail")
        time.sleep(_LONG_ENOUGH_S)
        service.disk.unlink()
        service.wait_for_said("the journal is written again")
        service.stop()


def _sour_for_a_while(service: LiveService, good: Mailbox, number: int) -> None:
    service.water.sour = True
    service.wait_for(lambda: _raises_in(good) >= number, "the other way's message")
    service.water.sour = False
    service.wait_for(lambda: service.alarms("ph").count(_RETURNED) >= number, "its end")


def _raises_in(box: Mailbox) -> int:
    """How often it was told that the pH's alarm was raised."""
    return sum(text_of_mail(mail).count(_RAISED) for mail in list(box.mails))


def _mentions(box: Mailbox) -> bool:
    return any(_ALARM in text_of_mail(mail) for mail in list(box.mails))

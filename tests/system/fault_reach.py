"""A service that takes messages accepts the connection and never answers."""

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

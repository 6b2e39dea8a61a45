"""Times as people type them, on a machine in Berlin: one hour ahead of UTC in winter, two in
summer (the zone's rules, of the machine's own tables)."""

import time
from collections.abc import Iterator

import pytest

from afterfill.cli.times import past_from, time_from
from afterfill.errors import UsageError
from afterfill.wire import rfc3339, unix_s

NOW_S = unix_s("2026-11-29T10:15:30Z")


@pytest.fixture(autouse=True)
def _berlin(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("now", "2026-11-29T10:15:30Z"),
        ("20 min ago", "2026-11-29T09:55:30Z"),
        ("20 minutes ago", "2026-11-29T09:55:30Z"),
        ("1 minute ago", "2026-11-29T10:14:30Z"),
        ("90 secs ago", "2026-11-29T10:14:00Z"),
        ("1,5 hours ago", "2026-11-29T08:45:30Z"),
        ("2 hrs ago", "2026-11-29T08:15:30Z"),
        ("2 days ago", "2026-11-27T10:15:30Z"),
        ("1 week ago", "2026-11-22T10:15:30Z"),
        ("07:30", "2026-11-29T06:30:00Z"),
        ("today 7:30", "2026-11-29T06:30:00Z"),
        ("yesterday 07:30", "2026-11-28T06:30:00Z"),
        ("Yesterday 23:59", "2026-11-28T22:59:00Z"),
        ("2026-11-27 08:00", "2026-11-27T07:00:00Z"),
        ("2026-11-27T08:00", "2026-11-27T07:00:00Z"),
        ("2026-07-01 08:00", "2026-07-01T06:00:00Z"),
        ("2026-11-27T08:00:00Z", "2026-11-27T08:00:00Z"),
        ("2026-11-27T08:00:00+05:00", "2026-11-27T03:00:00Z"),
    ],
)
def test_what_people_type(text: str, meant: str) -> None:
    assert rfc3339(time_from(text, NOW_S)) == meant
    assert rfc3339(past_from(text, NOW_S)) == meant


@pytest.mark.parametrize(
    ("text", "begins"),
    [
        ("today", "2026-11-28T23:00:00Z"),
        ("yesterday", "2026-11-27T23:00:00Z"),
        ("2026-11-01", "2026-10-31T23:00:00Z"),
        ("2026-07-01", "2026-06-30T22:00:00Z"),
    ],
)
def test_a_day_alone_is_its_beginning_and_no_time_of_a_word(text: str, begins: str) -> None:
    assert rfc3339(time_from(text, NOW_S)) == begins
    with pytest.raises(UsageError, match=f"{text} is a whole day: say the hour"):
        past_from(text, NOW_S)


@pytest.mark.parametrize(
    "text",
    ["soon", "25:00", "yesterday 25:00", "2026-02-30", "2026-11-27 8", "20 minutes", "min ago",
     "99999999999999 weeks ago", "0000-01-01"],
)  # fmt: skip
def test_what_is_no_time_has_a_sentence(text: str) -> None:
    with pytest.raises(UsageError, match="write 2026-03-01T07:30:00Z"):
        past_from(text, NOW_S)

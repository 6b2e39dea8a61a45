"""Times as people write and read them: RFC 3339, ``HH:MM`` of today, ``yesterday 08:00``,
``2026-03-01 08:00``, ``20 min ago``. Without an offset it is this machine's time zone."""

import re
import time
from datetime import datetime, timedelta

from afterfill.chemistry.typed import number_from
from afterfill.errors import ModelDomainError, PayloadError, UsageError
from afterfill.figures import span_words
from afterfill.wire import unix_s

_AGO = re.compile(
    r"\s*(\d+(?:[.,]\d+)?)\s*"
    r"(s|secs?|seconds?|m|mins?|minutes?|h|hrs?|hours?|d|days?|w|weeks?)\s+ago\s*",
    re.IGNORECASE,
)
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0, "w": 7 * 86400.0}
_DAY = re.compile(r"(today|yesterday|\d{4}-\d{2}-\d{2})(?:\s+|T)?(\d{1,2}:\d{2})?", re.IGNORECASE)
_HOUR = re.compile(r"\d{1,2}:\d{2}")
_HOW = (
    "write 2026-03-01T07:30:00Z, 07:30 (today, this machine's time zone), 'yesterday 07:30', "
    "'2026-03-01 07:30' or '20 min ago'"
)


def present_s() -> float:
    """Now [Unix s], on the grid of a millisecond."""
    return round(time.time() * 1000) / 1000


def time_from(text: str, now_s: float) -> float:
    """Unix seconds of what a person wrote; of a day alone when it begins. Raises UsageError when it
    is no time."""
    ago, day = _AGO.fullmatch(text), _DAY.fullmatch(text.strip())
    if ago is not None:
        then_s = now_s - _count(ago[1]) * _SECONDS[ago[2][0].lower()]
        if then_s < 0.0:  # before 1970 there was no such service
            raise UsageError(f"'{text}' is not a time: {_HOW}")
        return round(then_s * 1000) / 1000
    if text.strip().lower() == "now":
        return now_s
    if _HOUR.fullmatch(text.strip()):
        return _on_day("today", text.strip(), text, now_s)
    if day is not None:
        return _on_day(day[1].lower(), day[2] or "0:00", text, now_s)
    try:
        return unix_s(text)
    except PayloadError as error:
        raise UsageError(f"'{text}' is not a time: {_HOW}") from error


def _count(text: str) -> float:
    try:
        return number_from(text)
    except ModelDomainError as error:
        raise UsageError(str(error)) from error


def past_from(text: str | None, now_s: float, option: str = "--at") -> float:
    """Like `time_from`, now when nothing is said. Raises UsageError for a time still to come."""
    if text is None:
        return now_s
    time_s, day = time_from(text, now_s), _DAY.fullmatch(text.strip())
    if day is not None and day[2] is None:
        raise UsageError(
            f"--at {text} is a whole day: say the hour, such as '{text.strip()} 07:30'"
        )
    if time_s > now_s:
        raise UsageError(
            f"{option} {text} is still to come ({moment(time_s, now_s)}, and it is "
            f"{moment(now_s, now_s)}): give the time at which it happened"
        )
    return time_s


def period_from(
    from_: str | None, to: str | None, now_s: float, left_out_s: tuple[float, float]
) -> tuple[float, float]:
    """Begin and end [Unix s] of what a person wrote; `left_out_s` where nothing was said.

    Raises UsageError when it is no time, or ends before it begins.
    """
    begin_s = left_out_s[0] if from_ is None else time_from(from_, now_s)
    end_s = left_out_s[1] if to is None else time_from(to, now_s)
    if begin_s >= end_s:
        raise UsageError(f"--from {from_} does not lie before --to {to or 'now'}: swap them")
    return begin_s, end_s


def _on_day(day: str, hour: str, text: str, now_s: float) -> float:
    """``07:30`` of a day. Without a zone, so that a day on which the clocks change is reckoned by
    its own hour."""
    today = datetime.fromtimestamp(now_s).astimezone().replace(tzinfo=None)
    hours, minutes = (int(part) for part in hour.split(":"))
    try:
        if day == "yesterday":
            local = today - timedelta(days=1)
        else:
            local = today if day == "today" else datetime.fromisoformat(day)
        return local.replace(hour=hours, minute=minutes, second=0, microsecond=0).timestamp()
    except (ValueError, OverflowError) as error:
        what = "a time of day" if hour == text.strip() else "a time"
        raise UsageError(f"'{text}' is not {what}: {_HOW}") from error


def moment(time_s: float, now_s: float) -> str:
    """A time in this machine's zone: ``14:05`` today, else with the date."""
    local = datetime.fromtimestamp(time_s).astimezone()
    today = datetime.fromtimestamp(now_s).astimezone().date()
    return local.strftime("%H:%M" if local.date() == today else "%Y-%m-%d %H:%M")


def age(seconds: float) -> str:
    """A span in its natural unit: ``45 s``, ``12 min``, ``3.5 h``, ``2.0 days``."""
    return f"{seconds:.0f} s" if seconds < 120.0 else span_words(seconds)


def ahead_words(seconds: float) -> str:
    """That a journal's clock is ahead of this machine's, and what that means."""
    return (
        f"the journal is dated {age(seconds)} ahead of this machine's clock: one of the two was or "
        "is wrong; ages and intervals do not depend on it, times shown do"
    )

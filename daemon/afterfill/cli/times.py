"""Times as people write and read them: RFC 3339, ``HH:MM`` of today, ``20 min ago``."""

import re
import time
from datetime import datetime

from afterfill.chemistry.typed import number_from
from afterfill.errors import ModelDomainError, PayloadError, UsageError
from afterfill.figures import span_words
from afterfill.wire import unix_s

_AGO = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(s|sec|min|m|h|hours?|d|days?)\s+ago\s*$", re.IGNORECASE)
_SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}
_HOW = "write 2026-03-01T07:30:00Z, 07:30 (today, this machine's time zone) or '20 min ago'"


def present_s() -> float:
    """Now [Unix s], on the grid of a millisecond."""
    return round(time.time() * 1000) / 1000


def time_from(text: str, now_s: float) -> float:
    """Unix seconds of what a person wrote. Raises UsageError when it is no time."""
    ago = _AGO.match(text)
    if ago is not None:
        return round((now_s - _count(ago[1]) * _SECONDS[ago[2][0].lower()]) * 1000) / 1000
    if text.strip().lower() == "now":
        return now_s
    if re.fullmatch(r"\d{1,2}:\d{2}", text.strip()):
        return _today(text.strip(), now_s)
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
    time_s = time_from(text, now_s)
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


def _today(text: str, now_s: float) -> float:
    hour, minute = (int(part) for part in text.split(":"))
    # without a zone, so that a day on which the clocks change is reckoned by its own hour
    local = datetime.fromtimestamp(now_s).astimezone().replace(tzinfo=None)
    try:
        return local.replace(hour=hour, minute=minute, second=0, microsecond=0).timestamp()
    except ValueError as error:
        raise UsageError(f"'{text}' is not a time of day: {_HOW}") from error


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

"""`events.jsonl` of a recording: what people said, one JSON object a line, in order of time.

Kinds refill, kit, service and dose carry the same keys as elsewhere; `acknowledge` and `shelve`
carry `alarm` (and `minutes`). `logged` stands there only when it became known at another time.
"""

import json
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Literal

from afterfill.errors import PayloadError, RecordingError
from afterfill.payloads import PAYLOADS, alarm_command_from, event_from
from afterfill.records import AlarmCommand, Event, KitResult, known_since_s
from afterfill.sentences import nearest
from afterfill.wire import rfc3339, to_line, to_wire, unix_s

_ACTIONS: dict[str, Literal["acknowledge", "shelve"]] = {
    "acknowledge": "acknowledge",
    "shelve": "shelve",
}
_KINDS = [*PAYLOADS, *_ACTIONS]


def read_events(path: Path, tank: str) -> list[Event]:
    """The events, as they stand in the file; none when there is no file.

    Raises RecordingError with the line.
    """
    if not path.exists():
        return []
    return list(_read(path, tank))


def _read(path: Path, tank: str) -> Iterator[Event]:
    try:
        with path.open(encoding="utf-8-sig") as file:
            for number, line in enumerate(file, 1):
                if line.strip():
                    try:
                        yield _event(line, tank)
                    except PayloadError as error:
                        raise RecordingError(f"{path} line {number}: {error}") from error
    except (OSError, UnicodeDecodeError) as error:
        raise RecordingError(f"{path}: cannot be read: {error}") from error


def _event(line: str, tank: str) -> Event:
    payload = _object(line)
    kind = _popped(payload, "kind")
    time_s = unix_s(_popped(payload, "time"))
    logged = payload.pop("logged", None)
    logged_s = None if logged is None else unix_s(logged)
    if kind not in _KINDS:
        raise PayloadError(f"'{kind}' is not a kind of event; {nearest(str(kind), _KINDS)}")
    if kind not in _ACTIONS:
        return event_from(kind, payload, tank=tank, time_s=time_s, logged_s=logged_s)
    alarm = _popped(payload, "alarm")
    return alarm_command_from(
        _ACTIONS[kind], payload, tank=tank, alarm=str(alarm), time_s=time_s, logged_s=logged_s
    )


def _object(line: str) -> dict[str, Any]:
    try:
        payload = json.loads(line)
    except (ValueError, RecursionError) as error:
        raise PayloadError(f"not JSON ({error}); write one object a line") from error
    if not isinstance(payload, dict):
        raise PayloadError("not a JSON object; write one object a line")
    return payload


def _popped(payload: dict[str, Any], key: str) -> Any:  # noqa: ANN401 - JSON values
    if key not in payload:
        raise PayloadError(f"key '{key}' is missing")
    return payload.pop(key)


def write_events(path: Path, events: Iterable[Event]) -> int:
    """Write `events`, sorted by time (and by when they became known), to `path`; their number."""
    partial = path.with_name(f"{path.name}.partial")
    count = 0
    with partial.open("w", encoding="utf-8") as file:
        for event in sorted(events, key=lambda e: (e.time_s, known_since_s(e))):
            file.write(f"{to_line(_recorded(event))}\n")
            count += 1
    os.replace(partial, path)
    return count


def _recorded(event: Event) -> dict[str, Any]:
    wire = to_wire(event)
    kind = event.action if isinstance(event, AlarmCommand) else wire["kind"]
    payload = {k: v for k, v in wire.items() if k not in {"kind", "time", "tank", "logged"}}
    if isinstance(event, AlarmCommand):
        payload.pop("action")
    if isinstance(event, KitResult | AlarmCommand):
        payload = {k: v for k, v in payload.items() if v is not None}
    if event.logged_s is not None and event.logged_s != event.time_s:
        payload["logged"] = rfc3339(event.logged_s)
    return {"time": wire["time"], "kind": kind, **payload}

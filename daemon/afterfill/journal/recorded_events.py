"""`events.jsonl` of a recording: what people said, one JSON object a line, in order of time.

Kinds refill, kit, service, dose, stock, calibration, response-check and note carry the same keys as
elsewhere; `acknowledge`, `shelve`, `unshelve`, `out-of-service` and `return-to-service` carry
`alarm` (and `minutes` or `reason`). `logged` stands there only when it became known at another
time.
`machine-state` is what the service found out about its machine: `name`, `holds` (true, false or
null) and `detail`; `source-learnt` what it knew of a source by then, `stock-left` what was left of
a neutraliser.
"""

import json
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, get_args

from afterfill.errors import PayloadError, RecordingError
from afterfill.payloads import (
    ALARM_ACTIONS,
    PAYLOADS,
    alarm_command_from,
    event_from,
    source_learnt_from,
    stock_left_from,
)
from afterfill.records import (
    AlarmAction,
    AlarmCommand,
    Calibration,
    Event,
    KitResult,
    MachineCondition,
    MachineState,
    ResponseCheck,
    SourceLearnt,
    StockLeft,
    known_since_s,
)
from afterfill.sentences import nearest
from afterfill.wire import rfc3339, to_line, to_wire, unix_s

_ACTIONS: dict[str, AlarmAction] = {action: action for action in ALARM_ACTIONS}
_MACHINE, _SOURCE, _STOCK = "machine-state", "source-learnt", "stock-left"
_CONDITIONS: dict[str, MachineCondition] = {name: name for name in get_args(MachineCondition)}
_KINDS = [*PAYLOADS, *_ACTIONS, _MACHINE, _SOURCE, _STOCK]
Recorded = Event | MachineState | SourceLearnt | StockLeft


def read_events(path: Path, tank: str) -> list[Recorded]:
    """The events, as they stand in the file; none when there is no file.

    Raises RecordingError with the line.
    """
    if not path.exists():
        return []
    return list(_read(path, tank))


def _read(path: Path, tank: str) -> Iterator[Recorded]:
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


def _event(line: str, tank: str) -> Recorded:
    payload = _object(line)
    kind = _popped(payload, "kind")
    time_s = unix_s(_popped(payload, "time"))
    logged = payload.pop("logged", None)
    logged_s = None if logged is None else unix_s(logged)
    if kind not in _KINDS:
        raise PayloadError(f"'{kind}' is not a kind of event; {nearest(str(kind), _KINDS)}")
    if kind == _MACHINE:
        return _machine_state(payload, tank, time_s)
    if kind == _SOURCE:
        return _source_learnt(payload, tank, time_s)
    if kind == _STOCK:
        return _stock_left(payload, tank, time_s)
    if kind not in _ACTIONS:
        return event_from(kind, payload, tank=tank, time_s=time_s, logged_s=logged_s)
    alarm = _popped(payload, "alarm")
    return alarm_command_from(
        _ACTIONS[kind], payload, tank=tank, alarm=str(alarm), time_s=time_s, logged_s=logged_s
    )


def _machine_state(payload: dict[str, Any], tank: str, time_s: float) -> MachineState:
    name, holds = _popped(payload, "name"), _popped(payload, "holds")
    detail = payload.pop("detail", "")
    if name not in _CONDITIONS:
        raise PayloadError(f"'{name}' is no state of a machine; {nearest(str(name), _CONDITIONS)}")
    if not (holds is None or isinstance(holds, bool)):
        raise PayloadError(f"machine-state: key 'holds' is {holds!r}; write true, false or null")
    if payload or not isinstance(detail, str):
        raise PayloadError("machine-state: only 'name', 'holds' and a text in 'detail' are known")
    return MachineState(time_s, tank, _CONDITIONS[name], holds, detail)


def _source_learnt(payload: dict[str, Any], tank: str, time_s: float) -> SourceLearnt:
    learnt_s = unix_s(_popped(payload, "learnt"))
    return source_learnt_from(payload, tank=tank, time_s=time_s, learnt_s=learnt_s)


def _stock_left(payload: dict[str, Any], tank: str, time_s: float) -> StockLeft:
    opened = _popped(payload, "opened")
    return stock_left_from(
        payload,
        tank=tank,
        time_s=time_s,
        opened_s=None if opened is None else unix_s(opened),
        counted_s=unix_s(_popped(payload, "counted")),
        drawn_s=unix_s(_popped(payload, "drawn")),
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


def write_events(path: Path, events: Iterable[Recorded]) -> int:
    """Write `events`, sorted by time (and by when they became known), to `path`; their number."""
    partial = path.with_name(f"{path.name}.partial")
    count = 0
    with partial.open("w", encoding="utf-8") as file:
        for event in sorted(events, key=lambda e: (e.time_s, known_since_s(e))):
            file.write(f"{to_line(_recorded(event))}\n")
            count += 1
    os.replace(partial, path)
    return count


def _recorded(event: Recorded) -> dict[str, Any]:
    wire = to_wire(event)
    kind = event.action if isinstance(event, AlarmCommand) else wire["kind"]
    payload = {k: v for k, v in wire.items() if k not in {"kind", "time", "tank", "logged"}}
    if isinstance(event, AlarmCommand):
        payload.pop("action")
        payload = {k: v for k, v in payload.items() if v}
    if isinstance(event, KitResult | Calibration | ResponseCheck):
        payload = {k: v for k, v in payload.items() if v is not None}
    if isinstance(event, MachineState | SourceLearnt | StockLeft):
        return {"time": wire["time"], "kind": kind, **payload}
    if event.logged_s is not None and event.logged_s != event.time_s:
        payload["logged"] = rfc3339(event.logged_s)
    return {"time": wire["time"], "kind": kind, **payload}

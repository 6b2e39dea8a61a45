"""A tank's state as bytes and back, exact to the last bit, so that a restart changes nothing.

A line of JSON, with numbers as the shortest text that gives the same double back, and after it the
arrays as little-endian doubles, one behind the other. `LAYOUT` names the fields of every class
inside, the shapes of their arrays, the hypotheses, and a number that is raised when a field's
meaning changes: a state that another version wrote is refused instead of being misread.
"""

import base64
import json
import math
import zlib
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from afterfill.alarms.lifecycle import AlarmStatus
from afterfill.alarms.manager import Alarms
from afterfill.errors import JournalError
from afterfill.inference.ammonia import Ammonia
from afterfill.inference.ammonia import N as AMMONIA_N
from afterfill.inference.belief import Belief
from afterfill.inference.calibration.learnt import PARAMETERS, Learnt
from afterfill.inference.history import History
from afterfill.inference.model.hypotheses import HYPOTHESES
from afterfill.inference.model.particles import PARAMETER_ROWS, STATE_ROWS, Particles
from afterfill.inference.model.regularisation import Ridge
from afterfill.inference.monitor.baseline import Baseline
from afterfill.inference.monitor.channels import Channel
from afterfill.inference.monitor.daily_course import HOURS
from afterfill.inference.monitor.data_quality import Sight
from afterfill.inference.monitor.watch import Watch
from afterfill.inference.setup import Pour, Water
from afterfill.inference.source import SourceBelief
from afterfill.records import (
    MachineState,
    ProbeLearnt,
    Quantiles,
    RefillReady,
    Standing,
    StockLeft,
)
from afterfill.tank_state import (
    FORECAST_COLUMNS,
    AlarmContext,
    LastValue,
    NeutraliserBook,
    PastForecasts,
    PourContext,
    TankState,
)

_CLASSES: dict[str, type[Any]] = {
    cls.__name__: cls
    for cls in (
        TankState, Belief, Learnt, Channel, Sight, Ammonia, Baseline, Watch, Pour,
        Water, SourceBelief, Particles, Ridge, History, Quantiles, AlarmStatus, Alarms, LastValue,
        PourContext, NeutraliserBook, AlarmContext, MachineState, Standing, ProbeLearnt,
        PastForecasts, StockLeft, RefillReady,
    )
}  # fmt: skip
_MEANING = 2  # raise it when a field means something else, though its name and shape stay
_ANY = None  # a length that differs from state to state
_SHAPES: dict[str, tuple[int | None, ...]] = {
    "Particles.parameters": (PARAMETER_ROWS, _ANY),
    "Particles.state": (STATE_ROWS, _ANY),
    "Particles.weights": (_ANY,),
    "Ammonia": (AMMONIA_N,),
    "Learnt": (len(PARAMETERS),),
    "History": (_ANY, 4),
    "Belief.doses": (_ANY, 2),
    "Belief.ph_course": (HOURS,),
    "PastForecasts.rows": (_ANY, FORECAST_COLUMNS),
}


def _fields_of(cls: type[Any]) -> tuple[str, ...]:
    return tuple(f.name for f in fields(cls)) if is_dataclass(cls) else cls._fields


_WORDS = ";".join(f"{name}:{','.join(_fields_of(cls))}" for name, cls in _CLASSES.items())
# Alarms are many, and most of each is as it begins: that is left out.
_STATUS = {f.name: f.default for f in fields(AlarmStatus)}
_GROUPS = [(hypothesis.name, hypothesis.size) for hypothesis in HYPOTHESES]
LAYOUT = f"{zlib.crc32(f'{_MEANING};{_WORDS};{_SHAPES};{_GROUPS};{_STATUS}'.encode()):08x}"


def to_bytes(state: TankState) -> bytes:
    """The state as bytes, at most about 250 kB."""
    arrays: list[bytes] = []
    document = {"layout": LAYOUT, "state": _plain(state, arrays)}
    head = json.dumps(document, separators=(",", ":"), allow_nan=False).encode()
    return b"\n".join([head, b"".join(arrays)])


def from_bytes(data: bytes) -> TankState:
    """The state again. Raises JournalError when these bytes are not of this version."""
    try:
        head, arrays = _parts(data)
        if head["layout"] == LAYOUT:
            state = _made(head["state"], arrays)
            if isinstance(state, TankState):
                return state
    except (ValueError, KeyError, TypeError) as error:
        raise JournalError(
            f"a snapshot cannot be read ({error}); the state is folded again"
        ) from error
    raise JournalError(
        "a snapshot is of another version; the state is folded again from the records"
    )


def _parts(data: bytes) -> tuple[dict[str, Any], memoryview]:
    """The JSON of a snapshot and its arrays. Version 0.1 wrote the arrays within the JSON."""
    head, _, arrays = data.partition(b"\n")
    return json.loads(head), memoryview(arrays)


def probe_learnt_in(data: bytes, tank: str, time_s: float) -> ProbeLearnt | None:
    """What the state of another version knew of its ORP probe; None where that cannot be told."""
    try:
        head, arrays = _parts(data)
        learnt = head["state"]["belief"]["learnt"]
        mean, sd = _made(learnt["mean"], arrays), _made(learnt["sd"], arrays)
        if len(mean) != len(PARAMETERS) or len(sd) != len(PARAMETERS):
            return None
        return ProbeLearnt(
            time_s,
            tank,
            PARAMETERS,
            tuple(map(float, mean)),
            tuple(map(float, sd)),
            int(learnt["refills"]),
            float(learnt["ph_slope_mv"]),
            float(learnt["ph_slope_sd"]),
        )
    except (ValueError, KeyError, TypeError):
        return None


def _plain(value: Any, arrays: list[bytes]) -> Any:  # noqa: ANN401 - JSON values
    if isinstance(value, np.ndarray):
        at = sum(map(len, arrays))
        arrays.append(np.ascontiguousarray(value, dtype="<f8").tobytes())
        return {"~": "array", "shape": list(value.shape), "at": at}
    if isinstance(value, History):  # rows hold NaN, which JSON has not
        newest = np.array(value.newest).reshape(-1, 4)
        parts = {"older": _plain(value.older, arrays), "newest": _plain(newest, arrays)}
        return {"~": "History", **parts}
    cls = type(value)
    if _CLASSES.get(cls.__name__) is cls:
        left_out = _STATUS if cls is AlarmStatus else {}
        named = {name: getattr(value, name) for name in _fields_of(cls)}
        told = {n: it for n, it in named.items() if n not in left_out or it != left_out[n]}
        return {"~": cls.__name__, **{name: _plain(it, arrays) for name, it in told.items()}}
    if isinstance(value, Mapping):
        items = [[key, _plain(inner, arrays)] for key, inner in value.items()]
        return {"~": "map", "items": items}
    return value


def _made(value: Any, arrays: memoryview) -> Any:  # noqa: ANN401 - JSON values
    if isinstance(value, list):
        return tuple(value)
    if not isinstance(value, dict):
        return value
    kind = value["~"]
    if kind == "array":
        return _array(value, arrays)
    if kind == "map":
        return {key: _made(inner, arrays) for key, inner in value["items"]}
    made = {key: _made(inner, arrays) for key, inner in value.items() if key != "~"}
    for key, inner in made.items():
        if isinstance(inner, np.ndarray):
            _check_shape(kind, key, inner.shape)
    if kind == "History":
        return History(made["older"], tuple(map(tuple, made["newest"].tolist())))
    return _CLASSES[kind](**made)


def _array(value: dict[str, Any], arrays: memoryview) -> Any:  # noqa: ANN401 - an array
    shape = value["shape"]
    if "data" in value:  # of version 0.1
        return np.frombuffer(base64.b64decode(value["data"]), dtype="<f8").reshape(shape)
    count = math.prod(shape)
    return np.frombuffer(arrays, dtype="<f8", count=count, offset=value["at"]).reshape(shape)


def _check_shape(kind: str, key: str, shape: tuple[int, ...]) -> None:
    expected = _SHAPES.get(f"{kind}.{key}") or _SHAPES[kind]
    fits = len(shape) == len(expected) and all(
        length in (_ANY, found) for length, found in zip(expected, shape, strict=True)
    )
    if not fits:
        raise ValueError(f"{kind}.{key} has the shape {shape}")

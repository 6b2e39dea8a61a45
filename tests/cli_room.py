"""A room for tests of the command line: a configuration, a journal, probes on pseudo-terminals."""

import json
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from typer.testing import CliRunner, Result

from afterfill.alarms.definitions import DANGERS, DEFINITIONS
from afterfill.alarms.standing import word_of
from afterfill.cli.main import app
from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmChange,
    AlarmState,
    Estimate,
    Quantiles,
    Quantity,
    Reading,
    Record,
    Stamp,
    Standing,
    Verdict,
)
from afterfill.service.clock import boot_id
from afterfill.service.only_one import only_one
from afterfill.simulation.line_device import PATTERN

NAMES: tuple[Quantity, ...] = ("orp", "ph", "temperature")
MEASURED: Mapping[Quantity, float] = {"orp": 412.3, "ph": 7.21, "temperature": 24.81}


def afterfill(*arguments: str, stdin: str | None = None) -> Result:
    """Run the command in this process; an unexpected exception fails the test."""
    return CliRunner().invoke(app, list(arguments), input=stdin, catch_exceptions=False)


def lines_of(result: Result) -> list[dict[str, Any]]:
    """What `--json` printed."""
    return [json.loads(line) for line in result.stdout.splitlines()]


def write_config(folder: Path, *, tanks: str = "", probes: str = "", more: str = "") -> Path:
    """A configuration with the tank `window` (unless `tanks` says otherwise) in `folder`."""
    path = folder / "afterfill.toml"
    tank = tanks or '[tank.window]\nlitres = 120\nlivestock = "warmwater"\n'
    source = '[source.tap]\ndisinfectant = "chloramine"\nresidual_mg_l = 2.0\n'
    bottle = "[neutraliser.bottle]\nmg_cl2_per_ml = 40\n"
    path.write_text("\n".join([tank, source, bottle, probes, more]), encoding="utf-8")
    return path


def line_probe(quantity: Quantity, port: Path | str, **further: Any) -> str:
    """A [[probe]] table for the simulated probe head that answers in lines."""
    keys = {
        "tank": "window",
        "quantity": quantity,
        "driver": "line",
        "port": str(port),
        "request": "R\r",
        "pattern": PATTERN,
        "timeout_s": 0.3,
        **further,
    }
    return "[[probe]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in keys.items())


def line_probes(port: Path | str, **further: Any) -> str:
    """All three quantities from one head."""
    return "\n".join(line_probe(quantity, port, **further) for quantity in NAMES)


def written_at(time_s: float) -> Stamp:
    """The stamp of what the service wrote at `time_s` [Unix s], in this boot."""
    monotonic_s = time.monotonic() - (time.time() - time_s)
    return Stamp(time_s, True, boot_id(), round(monotonic_s, 3))


def record(folder: Path, *records: Record, ammonia_is_watched: bool = True) -> None:
    """Put records into the journal of `folder`, as the service would; how the tank stands by an
    estimate with it."""
    with Journal.open(folder / "afterfill.db") as journal:
        for it in records:
            journal.append(it, written_at(it.time_s))
        for told in stood_by(records, ammonia_is_watched):
            journal.append(told, written_at(told.time_s))
        journal.commit()


def stood_by(records: Iterable[Record], ammonia_is_watched: bool) -> Iterator[Standing]:
    """How window stands by the newest estimate among `records`, and the alarms that hold."""
    estimates = [it for it in records if isinstance(it, Estimate)]
    holding = {it.alarm: it for it in records if isinstance(it, AlarmChange) and it.active}
    first = {it.alarm: it.time_s for it in reversed(list(records)) if isinstance(it, AlarmChange)}
    if not estimates:
        return
    now = max(estimates, key=lambda it: it.time_s)
    dangers = [name for name in DANGERS if name in holding]
    causes = [DEFINITIONS[name].cause for name in dangers]
    word, why = word_of(now, 0.0206, causes, ammonia_is_watched=ammonia_is_watched)
    since_s = min((first[name] for name in dangers), default=now.time_s)
    yield Standing(now.time_s, now.tank, word, since_s, why, now.sees, now.detection_floor_mg_l)


@contextmanager
def running(folder: Path) -> Iterator[None]:
    """While this lasts, the journal of `folder` is held as by a running service."""
    with only_one(folder / "afterfill.db"):
        yield


def inbox(folder: Path) -> list[Any]:
    """What waits for the service."""
    with Journal.open(folder / "afterfill.db") as journal:
        return [event for _, event, _ in journal.inbox()]


def reading(time_s: float, quantity: Quantity = "orp", **further: Any) -> Reading:
    """A usable reading of window."""
    given = {"value": MEASURED[quantity], "probe": f"window-{quantity}", **further}
    return Reading(time_s=time_s, tank="window", quantity=quantity, **given)


def estimate(time_s: float, **further: Any) -> Estimate:
    """An estimate of window with nothing the matter."""
    small = Quantiles(0.0, 0.001, 0.004)
    given: dict[str, Any] = {
        "tank": "window",
        "residual_mg_l": small,
        "free_chlorine_mg_l": small,
        "combined_chlorine_mg_l": small,
        "total_ammonia_mg_l": Quantiles(0.01, 0.05, 0.2),
        "free_ammonia_mg_l": Quantiles(0.0001, 0.0005, 0.002),
        "p_over_limit": 0.01,
        "detection_floor_mg_l": 0.06,
        "sees": True,
        "why_blind": None,
        **further,
    }
    return Estimate(time_s=time_s, **given)


def alarm(
    time_s: float, name: str, state: AlarmState = "unacknowledged", *, active: bool = True
) -> AlarmChange:
    """A transition of one of window's alarms."""
    return AlarmChange(time_s, "window", name, state, "high", active, f"message of {name}")


def verdict(time_s: float, *, final: bool = True) -> Verdict:
    """A refill of window that carried over."""
    peak = Quantiles(0.18, 0.28, 0.42)
    return Verdict(time_s, "window", time_s - 3600, "carried-over", 0.97, peak, final)

"""`afterfill probe`: which probes there are, what they last said, and what they say now."""

import time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import ConfigOption, JsonOption, loaded, named, reading_journal
from afterfill.cli.probe.calibrate import calibrate
from afterfill.cli.probe.response import response
from afterfill.errors import DeviceUnavailable, UsageError

if TYPE_CHECKING:
    from pathlib import Path

    from afterfill.config import Config
    from afterfill.records import Reading
    from afterfill.service.driver_registry import PortPlan

probe = typer.Typer(help="List, read, calibrate and check the probes.", no_args_is_help=True)
probe.command()(calibrate)
probe.command()(response)


@probe.command("list")
def list_(config: ConfigOption = None, as_json: JsonOption = False) -> None:
    """Every configured probe, with its last usable value, its age and its errors."""
    from afterfill.cli.console import notice, say_json, say_table
    from afterfill.cli.probe.rows import rows_of
    from afterfill.errors import JournalError
    from afterfill.service.driver_registry import ports_of

    settings, journal_path = loaded(config)
    plans = ports_of(settings)
    try:
        with reading_journal(journal_path) as journal:
            rows = rows_of(plans, journal)
    except JournalError as error:
        notice(str(error))
        rows = rows_of(plans, None)
    if as_json:
        for row in rows:
            say_json(row.wire())
    else:
        headers = ("probe", "driver", "port", "every", "last value", "age", "errors", "remark")
        say_table(headers, [row.cells() for row in rows])


@probe.command()
def read(
    name: Annotated[
        str | None, typer.Argument(help="Such as window-orp (see `probe list`); default: all.")
    ] = None,
    count: Annotated[int, typer.Option(min=1, max=10_000, help="How many readings of each.")] = 1,
    every: Annotated[float, typer.Option(min=0.0, max=3600.0, help="Seconds between them.")] = 1.0,
    config: ConfigOption = None,
    as_json: JsonOption = False,
) -> None:
    """Ask probes now and print what they say, offsets applied (ORP mV, pH, temperature C).

    Opens the port by itself. A port belongs to one program: while the service holds it, the last
    value that the service recorded is shown. Ends with 1 when a reading was not usable.
    """
    from afterfill.service.driver_registry import ports_of

    settings, journal_path = loaded(config)
    plans = _with_probe(ports_of(settings), name)
    good = True
    for plan in plans:
        probes = list(plan.quantity) if name is None else [name]
        try:
            good &= _read(plan, probes, count, every, as_json)
        except DeviceUnavailable as error:
            if not _shown_from_journal(settings, journal_path, plan, probes, error, as_json):
                raise
    if not good:
        raise typer.Exit(1)


def _with_probe(plans: "list[PortPlan]", name: str | None) -> "list[PortPlan]":
    known = [probe_name for plan in plans for probe_name in plan.quantity]
    if not known:
        raise UsageError("no probe is configured; add a [[probe]] table")
    if name is None:
        return plans
    named(name, known, "probe")
    return [plan for plan in plans if name in plan.quantity]


def _read(plan: "PortPlan", probes: list[str], count: int, every_s: float, as_json: bool) -> bool:
    from afterfill.cli.times import present_s
    from afterfill.service.samples_once import readings_once

    good = True
    readings = readings_once(
        plan, probes, now=present_s, count=count, pause=lambda: time.sleep(every_s)
    )
    for reading in readings:
        _say(reading, as_json)
        good &= reading.value is not None
    return good


def _say(reading: "Reading", as_json: bool, remark: str = "") -> None:
    from afterfill.cli.console import say, say_json
    from afterfill.cli.probe.rows import value_words
    from afterfill.wire import to_wire

    if as_json:
        wire: dict[str, Any] = to_wire(reading)
        say_json({**wire, "from": "journal"} if remark else wire)
    else:
        say(f"{reading.probe}  {value_words(reading)}{remark}")


def _shown_from_journal(
    config: "Config",
    journal_path: "Path",
    plan: "PortPlan",
    probes: list[str],
    error: DeviceUnavailable,
    as_json: bool,
) -> bool:
    """When the service seems to hold the port: what it last recorded; False when it does not."""
    from afterfill.cli.console import notice
    from afterfill.cli.probe.rows import held_by_service, last_readings
    from afterfill.cli.times import age
    from afterfill.service.liveness import liveness

    if not held_by_service(error, config, journal_path, plan):
        return False
    notice(f"port {plan.device} is held, it seems by the running service; what that recorded last:")
    found, live = last_readings(journal_path, plan), liveness(journal_path)
    for name in probes:
        if name in found:
            old_s = live.age_s(found[name].stamp)
            _say(found[name].record, as_json, f"  (recorded {age(old_s)} ago)")
    return True

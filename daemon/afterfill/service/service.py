"""The whole service: which threads there are, and how they end."""

import logging
import queue
import socket
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Protocol

from afterfill.config import Config
from afterfill.errors import JournalDamaged, JournalError
from afterfill.journal.check import met_damaged, met_sentence
from afterfill.journal.damage import mend_if_damaged
from afterfill.journal.store import Journal
from afterfill.ports import Clock
from afterfill.records import Health, Stamp
from afterfill.service.calendar import scheduler
from afterfill.service.clock import SystemClock
from afterfill.service.damage_told import untold_damage
from afterfill.service.driver_registry import ports_of
from afterfill.service.machine import Machine
from afterfill.service.only_one import only_one
from afterfill.service.recorder import Recorder
from afterfill.service.sampler import Sampler
from afterfill.service.supervision import Worker, supervise
from afterfill.service.systemd_notify import attend
from afterfill.service.threads import Turns, Work, fold_for_ever, sample_for_ever
from afterfill.sinks.health import SinkHealth
from afterfill.tank_setup import tank_setup

_log = logging.getLogger(__name__)
_STOP_WITHIN_S = 10.0  # the last commit on a slow card; the unit's TimeoutStopSec is far more
_LEAVE_AFTER_S = 2.25  # sinks say goodbye within 2 s; one that hangs delivers again from its cursor
_FAILURES_BELIEVED, _FAILING_WITHIN_S = 3, 120.0


class Sink(Protocol):
    """What delivers from the journal in a thread of its own."""

    def run(self, stop: threading.Event) -> None:
        """Deliver until `stop` is set."""

    def health(self) -> SinkHealth:
        """How delivery is doing."""


def run_service(config: Config, journal_path: Path, stop: threading.Event) -> None:
    """Run until `stop` is set.

    Raises ConfigError or JournalError when it cannot begin, JournalDamaged when the journal turns
    out damaged on the way (a restart mends that), JournalError when what was still to be written
    at the end could not be; what else fails later is tried again.
    """
    with only_one(journal_path):
        _run(config, journal_path, stop)


def _run(config: Config, journal_path: Path, stop: threading.Event) -> None:
    aside = _kept_aside(journal_path)
    Journal.open(journal_path).close()  # a journal that cannot be had is an end, not a retry
    clock = SystemClock(stop)
    work: Work = queue.SimpleQueue()
    samplers = [Sampler(plan) for plan in ports_of(config)]
    sinks = _sinks(config, journal_path, clock)
    workers: list[Worker] = []
    workers += [_sampling(sampler, clock, work, stop) for sampler in samplers]
    failures: list[JournalError] = []
    workers += [_delivery(name, sink, stop, failures) for name, sink in sinks.items()]
    health = _health_source(
        config, samplers, sinks, workers, aside, partial(met_damaged, journal_path)
    )
    turns = Turns()
    machine = Machine(
        next(iter(config.tank)), journal_path, config.journal.max_mb,
        {name: sink.health for name, sink in sinks.items()}, untold_damage(journal_path),
    )  # fmt: skip
    workers.append(_core(config, journal_path, clock, work, health, machine, turns, stop, failures))
    workers.append(_service_manager(config, sinks, turns, stop))
    jobs = scheduler(config.journal, list(config.tank), work)
    jobs.start()
    _log.info(
        "running: %d tanks, %d ports, journal %s", len(config.tank), len(samplers), journal_path
    )
    late = supervise(workers, stop, _STOP_WITHIN_S, _LEAVE_AFTER_S)
    jobs.shutdown(wait=False)
    if late:
        _log.warning("did not end in time: %s", ", ".join(late))
    _log.info("stopped")
    if failures:
        raise failures[0]


def _kept_aside(journal_path: Path) -> str | None:
    """A damaged journal is renamed, and said; the new one begins with what is sound in it."""
    try:
        mended = mend_if_damaged(journal_path)
    except OSError as error:
        raise JournalError(
            f"the journal {journal_path} is damaged and cannot be renamed ({error.strerror}); "
            "may this user write its folder, and is there room for a second one?"
        ) from error
    if mended is None:
        return None
    _log.error("%s", mended.said)
    return mended.said


def _sampling(sampler: Sampler, clock: Clock, work: Work, stop: threading.Event) -> Worker:
    """A reading under way, or a name that is being looked up, is not waited for long."""
    body = partial(sample_for_ever, sampler, clock, work, stop)
    return Worker(f"port {sampler.device}", body, may_be_left=True)


def _delivery(name: str, sink: Sink, stop: threading.Event, failures: list[JournalError]) -> Worker:
    def body() -> None:
        with _ending_on_damage(stop, failures):
            sink.run(stop)

    return Worker(f"sink {name}", body, may_be_left=True)


@contextmanager
def _ending_on_damage(stop: threading.Event, failures: list[JournalError]) -> Iterator[None]:
    """All threads hold the file: only a restart mends it."""
    try:
        yield
    except JournalDamaged as error:
        failures.append(error)
        stop.set()


def _core(
    config: Config,
    journal_path: Path,
    clock: Clock,
    work: Work,
    health: Callable[[Stamp], Sequence[Health]],
    machine: Machine,
    turns: Turns,
    stop: threading.Event,
    failures: list[JournalError],
) -> Worker:
    failed_s: list[float] = []

    def body() -> None:
        with _ending_on_damage(stop, failures):
            try:
                recorder = Recorder(config, journal_path)
                fold_for_ever(recorder, clock, work, health, machine.states, turns, stop)
            except JournalDamaged:
                raise
            except JournalError as error:
                failed_s.append(clock.monotonic_s())
                if not stop.is_set() and not _again_and_again(failed_s):
                    raise
                failures.append(error)  # not tried again in this process
                stop.set()

    return Worker("core", body)


def _again_and_again(failed_s: list[float]) -> bool:
    """Whether the core has failed so often that only a new process may help: one that records
    nothing must not stay."""
    recent = [time_s for time_s in failed_s if time_s > failed_s[-1] - _FAILING_WITHIN_S]
    return len(recent) >= _FAILURES_BELIEVED


def _sinks(config: Config, journal_path: Path, clock: Clock) -> dict[str, Sink]:
    """The sinks that the configuration names; their libraries load only then."""
    sinks: dict[str, Sink] = {}
    if config.mqtt is not None:
        from afterfill.sinks.mqtt.sink import MqttSink

        sinks["mqtt"] = MqttSink(journal_path, config, clock.stamp)
    if config.influxdb is not None:
        from afterfill.sinks.influx.sink import InfluxSink

        sinks["influxdb"] = InfluxSink(
            journal_path, config.influxdb, clock.stamp, socket.gethostname(),
            limits=_limits(config), max_mb=config.journal.max_mb,
        )  # fmt: skip
    if config.notify:
        from afterfill.service.reaching import reaching

        sinks |= reaching(config, journal_path, clock)
    return sinks


def _limits(config: Config) -> dict[str, dict[str, float]]:
    setups = {tank: tank_setup(config, tank) for tank in config.tank}
    return {
        tank: {
            "residual_oxidant_mg_l": setup.inference.limit_mg_l,
            "free_ammonia_mg_l": setup.free_ammonia_limit_mg_l,
            "ph_low": setup.ph_limits[0],
            "ph_high": setup.ph_limits[1],
            "temperature_low_c": setup.temperature_limits_c[0],
            "temperature_high_c": setup.temperature_limits_c[1],
        }
        for tank, setup in setups.items()
    }


def _service_manager(
    config: Config, sinks: dict[str, Sink], turns: Turns, stop: threading.Event
) -> Worker:
    def status() -> str:
        away = [name for name, sink in sinks.items() if not sink.health().up]
        said = f"watching {', '.join(config.tank)}"
        return f"{said}; away: {', '.join(away)}" if away else said

    return Worker("service manager", lambda: attend(lambda: turns.made, status, stop))


def _health_source(
    config: Config,
    samplers: list[Sampler],
    sinks: dict[str, Sink],
    workers: list[Worker],
    aside: str | None,
    met_damaged: Callable[[], int] = int,
) -> Callable[[Stamp], Sequence[Health]]:
    """Health of probes, sinks, threads and the journal (`met_damaged`: how many of its rows were
    skipped). What belongs to no tank is told with the first one."""
    first = next(iter(config.tank))

    def health(stamp: Stamp) -> Sequence[Health]:
        found = [record for sampler in samplers for record in sampler.health(stamp)]
        if aside is not None:
            found.append(Health(stamp.time_s, first, "journal", False, None, 1, aside))
        elif met := met_damaged():
            said = met_sentence(met)
            found.append(Health(stamp.time_s, first, "journal", False, None, met, said))
        for name, sink in sinks.items():
            state = sink.health()
            found.append(
                Health(stamp.time_s, first, f"sink {name}", state.up, state.age_s, state.errors,
                       state.detail)
            )  # fmt: skip
        for worker in workers:
            if worker.deaths:
                found.append(
                    Health(stamp.time_s, first, f"thread {worker.name}", worker.is_alive(), None,
                           worker.deaths, worker.last_error)
                )  # fmt: skip
        return found

    return health

"""From the [[probe]] tables to ports: finds drivers by name, checks their keys, groups probes.

Drivers are entry points of the group `afterfill.drivers`; nothing here knows one by name.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import EntryPoint, entry_points
from typing import cast

from pydantic import BaseModel, ValidationError

from afterfill.config import Config, Mqtt, Probe
from afterfill.errors import ConfigError
from afterfill.ports import FEED, Driver, Feed, FeedDriver, ProbePort, ProbeSpec
from afterfill.records import Quantity
from afterfill.sentences import first_sentence, known_keys, nearest

_GROUP = "afterfill.drivers"


@dataclass(frozen=True)
class PortPlan:
    """One port and the probes behind it. The mappings go by probe name; `every_s` is the
    interval between readings [s], `offset` is added to a value, in its unit. `feed` makes what
    probes on a broker are read from; None for all others."""

    device: str
    driver: str
    probes: tuple[ProbeSpec, ...]
    every_s: Mapping[str, float] = field(default_factory=dict)
    offset: Mapping[str, float] = field(default_factory=dict)
    tank: Mapping[str, str] = field(default_factory=dict)
    quantity: Mapping[str, Quantity] = field(default_factory=dict)
    feed: Callable[[], Feed] | None = None


def driver_names() -> list[str]:
    """The names that `driver` in a [[probe]] table may take here."""
    return sorted(_found())


def driver_named(name: str) -> Driver:
    """The driver installed as `name`.

    Raises ConfigError with the nearest name and all that are known, or when it cannot be loaded.
    """
    found = _found()
    if name not in found:
        known = ", ".join(sorted(found)) or "none: install afterfill again"
        guess = nearest(name, found)
        hint = f"{guess} (known: {known})" if guess.startswith("did") else f"known: {known}"
        raise ConfigError(f"driver '{name}' is not installed; {hint}")
    try:
        return cast(Driver, found[name].load())
    except (ImportError, AttributeError) as error:
        raise ConfigError(
            f"driver '{name}' cannot be loaded ({error}); install its package again"
        ) from error


def _found() -> dict[str, EntryPoint]:
    return {point.name: point for point in entry_points(group=_GROUP)}


def ports_of(config: Config) -> list[PortPlan]:
    """One plan per port, in the order of the file. Opens nothing.

    Raises ConfigError for the first [[probe]] table that its driver cannot use.
    """
    grouped: dict[str, list[tuple[Probe, ProbeSpec]]] = {}
    for number, probe in enumerate(config.probe, 1):
        where = f"[[probe]] number {number} (tank '{probe.tank}', {probe.quantity})"
        spec = _spec(probe, where)
        _check_broker(probe, config, where)
        sharing = grouped.setdefault(probe.port, [])
        _check_one_driver(probe, sharing, where)
        sharing.append((probe, spec))
    plans = [_plan(members, config.mqtt) for members in grouped.values()]
    for plan in plans:
        open_port(plan)
    return plans


def open_port(plan: PortPlan) -> ProbePort:
    """The port of a plan, ready to be opened by its owner; not connected yet.

    Raises ConfigError when its probes cannot share it.
    """
    driver = driver_named(plan.driver)
    if plan.feed is not None and isinstance(driver, FeedDriver):
        return driver.feed_port(plan.feed(), plan.probes)
    return driver.port(plan.device, plan.probes)


def _spec(probe: Probe, where: str) -> ProbeSpec:
    try:
        model = driver_named(probe.driver).settings
    except ConfigError as error:
        raise ConfigError(f"{where}: {error}") from error
    known = _keys_as_written(model)
    for key in probe.driver_keys:  # before validation: a misspelt key also shows as a missing one
        if key not in known:
            guess = nearest(key, [*known, *known_keys(Probe)])
            raise ConfigError(f"{where}: unknown key '{key}' for driver '{probe.driver}'; {guess}")
    try:
        settings = model.model_validate(probe.driver_keys)
    except ValidationError as error:
        raise ConfigError(first_sentence(error, where)) from error
    return ProbeSpec(probe.name, probe.quantity, settings)


def _keys_as_written(model: type[BaseModel]) -> list[str]:
    return [info.alias or name for name, info in model.model_fields.items()]


def _check_one_driver(probe: Probe, sharing: list[tuple[Probe, ProbeSpec]], where: str) -> None:
    for other, _ in sharing:
        if other.driver != probe.driver:
            raise ConfigError(
                f"{where}: driver '{probe.driver}' wants port {probe.port}, which driver "
                f"'{other.driver}' holds for {other.name}; a port has one driver"
            )


def _check_broker(probe: Probe, config: Config, where: str) -> None:
    if not is_fed(probe.driver):
        return
    if config.mqtt is None:
        raise ConfigError(
            f"{where}: driver '{probe.driver}' reads from the broker of an [mqtt] table, and there "
            "is none; add it with its host"
        )
    if probe.port != FEED:
        raise ConfigError(
            f"{where}: key 'port' is '{probe.port}'; for driver '{probe.driver}' write port = "
            f'"{FEED}", the broker of the [mqtt] table'
        )


def is_fed(driver: str) -> bool:
    """Whether probes of this driver are read from the broker. Raises ConfigError as
    `driver_named`."""
    return isinstance(driver_named(driver), FeedDriver)


def _feed_of(broker: Mqtt) -> Feed:
    from afterfill.service.broker_feed import BrokerFeed  # its library loads only where it is used

    return BrokerFeed(broker)


def _plan(members: list[tuple[Probe, ProbeSpec]], broker: Mqtt | None) -> PortPlan:
    probes = [probe for probe, _ in members]
    return PortPlan(
        device=probes[0].port,
        driver=probes[0].driver,
        probes=tuple(spec for _, spec in members),
        every_s={probe.name: probe.every_s for probe in probes},
        offset={probe.name: probe.offset for probe in probes},
        tank={probe.name: probe.tank for probe in probes},
        quantity={probe.name: probe.quantity for probe in probes},
        feed=partial(_feed_of, broker) if broker is not None and is_fed(probes[0].driver) else None,
    )

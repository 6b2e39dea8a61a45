"""The MQTT discovery convention of home automation: one retained message for each entity.

Pure: configuration in, (topic, payload) out. The per-entity form works on old and new hubs. An
entity is available while its service and its tank are (each service has a last will of its own),
and the bridge to the hub's broker, if there is one.
(Tried against several releases of a hub; the convention's fields are those of its documentation.)
"""

from collections.abc import Iterator
from functools import lru_cache
from importlib.metadata import version
from typing import Any

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.config import Config, Mqtt
from afterfill.sinks.mqtt import entities
from afterfill.sinks.mqtt.commands import is_allowed
from afterfill.sinks.mqtt.entities import Entity
from afterfill.sinks.mqtt.ids import plain_id
from afterfill.sinks.mqtt.messages import component_key, service_status_topic, tank_status_topic

Payload = dict[str, Any]
_WORDS = {"orp": "ORP probe", "ph": "pH probe", "temperature": "Temperature probe"}


def birth_topic(prefix: str) -> str:
    """Where a hub says `online` when it has started."""
    return f"{prefix}/status"


def discovery(config: Config, service: str) -> list[tuple[str, Payload]]:
    """The discovery messages of all tanks; none when there is no [mqtt] discovery_prefix.
    `service` is the client id, under which the broker tells whether the service is there."""
    settings = config.mqtt
    if settings is None or not settings.discovery_prefix:
        return []
    return [
        _message(settings, service, tank, entity)
        for tank in config.tank
        for entity in _entities(config, tank)
        if entity.component not in entities.COMMANDING
        or is_allowed(settings.commands, entity.topic)
    ]


_MOST_MG_L = 10  # of chlorine, in any tap; a slip of the decimal point is above it


def alarms_of(config: Config, tank: str) -> list[str]:
    """The alarms told with `tank`: those of the machine belong to the first one."""
    first = tank == next(iter(config.tank))
    return [name for name, d in DEFINITIONS.items() if first or d.group != "machine"]


def components(config: Config, tank: str) -> dict[str, str]:
    """The probes and sinks whose health is told with `tank`, each with its name in words; sinks
    belong to the first one."""
    probes = [probe for probe in config.probe if probe.tank == tank]
    found = {f"probe {probe.name}": _WORDS[probe.quantity] for probe in probes}
    if tank == next(iter(config.tank)):
        found |= {"sink mqtt": "Broker"} if config.mqtt else {}
        found |= {"sink influxdb": "Database"} if config.influxdb else {}
        for number, way in enumerate(config.notify, 1):
            if way.smtp or way.url_file:
                found[f"sink notify {number}"] = f"Messages {number}"
            if way.heartbeat_url_file:
                found[f"sink heartbeat {number}"] = f"Heartbeat {number}"
    return found


def _entities(config: Config, tank: str) -> Iterator[Entity]:
    # Readings reach the broker when the journal has committed them, so that they come in lots.
    lot_s = config.journal.commit_every_s
    for probe in config.probe:
        if probe.tank == tank:  # five readings missed
            expires_s = round(max(60, 5 * probe.every_s) + 2 * lot_s)
            yield from entities.of_a_reading(probe.quantity, expires_s)
    yield from entities.OF_A_TANK
    for alarm in alarms_of(config, tank):
        yield from entities.of_an_alarm(DEFINITIONS[alarm])
    for component, name in components(config, tank).items():
        yield from entities.of_a_component(component_key(component), name)


@lru_cache(maxsize=1)
def _version() -> str:
    """Parsing the metadata takes a millisecond, and a hundred tanks have ten thousand entities."""
    return version("afterfill")


def _message(settings: Mqtt, service: str, tank: str, entity: Entity) -> tuple[str, Payload]:
    device = plain_id(f"{settings.base}_{tank}")
    unique_id = f"{device}_{plain_id(entity.key)}"
    topic = f"{settings.base}/{tank}/{entity.topic}"
    availability = [
        {"topic": service_status_topic(settings.base, service)},
        {"topic": tank_status_topic(settings.base, tank)},
    ]
    if settings.bridge_topic:  # in a hub behind it, `online` stays when the bridge falls
        says = {"payload_available": "1", "payload_not_available": "0"}
        availability.append({"topic": settings.bridge_topic, **says})
    if entity.available:
        template = f"{{{{ {entity.available} }}}}"
        availability.append({"topic": topic, "value_template": template})
    payload = {
        "unique_id": unique_id,
        "object_id": unique_id,  # hubs before 2025.10 know only this one; later ones do not mind it
        "default_entity_id": f"{entity.component}.{unique_id.replace('-', '_').lower()}",
        "name": entity.name,
        "enabled_by_default": entity.enabled,
        "availability": availability,
        "availability_mode": "all",
        "qos": 1,
        "device": {
            "identifiers": [device],
            "name": f"Tank {tank}",
            "model": "afterfill",
            "sw_version": _version(),
        },
        "origin": {"name": "afterfill", "sw_version": _version()},
        **_own(entity, topic),
    }
    return f"{settings.discovery_prefix}/{entity.component}/{unique_id}/config", payload


def _own(entity: Entity, topic: str) -> Payload:
    if entity.component == "button":
        return {"command_topic": topic, "payload_press": entity.value, "retain": False}
    if entity.component == "number":
        return {
            "command_topic": topic,
            "command_template": entity.value,
            "min": 0,
            "max": _MOST_MG_L,
            "step": 0.05,
            "mode": "box",
            "unit_of_measurement": entity.unit,
            "retain": False,
        }
    own: Payload = {
        "state_topic": topic,
        "json_attributes_topic": topic,
        "value_template": f"{{{{ {entity.value} }}}}",
        "device_class": entity.device_class,
        "unit_of_measurement": entity.unit,
        "suggested_display_precision": entity.precision,
        "entity_category": "diagnostic" if entity.diagnostic else None,
        "state_class": entity.state_class,
        "expire_after": entity.expires_s,
        "options": list(entity.options),
    }
    return {key: value for key, value in own.items() if value not in (None, "", [])}

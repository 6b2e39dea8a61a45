"""The MQTT discovery convention of home automation: one retained message for each entity.

Pure: configuration in, (topic, payload) out. The per-entity form works on old and new hubs. An
unknown value is JSON null, which a hub shows as unknown; a reading that stops coming expires.
(Tried against two releases of a hub; the convention's fields are those of its documentation.)
"""

from collections.abc import Sequence
from importlib.metadata import version
from typing import Any

from afterfill.config import Config, Mqtt
from afterfill.records import Quantity
from afterfill.sinks.mqtt_messages import component_key

Payload = dict[str, Any]
Entity = tuple[str, str, Payload]  # component, key, its own fields

_WORDS = ["clear", "possible", "carried-over", "cannot-tell"]
_ESTIMATE_EXPIRES_S = 600  # estimates come at least once a minute while anything is read
_FORECAST_EXPIRES_S = 7200  # it comes each half hour
_HEALTH_EXPIRES_S = 300  # told each minute
_SHELVE_MINUTES = 60
_READINGS: dict[Quantity, Payload] = {
    "orp": {
        "name": "ORP",
        "device_class": "voltage",
        "unit_of_measurement": "mV",
        "suggested_display_precision": 0,
    },
    "ph": {"name": "pH", "device_class": "ph", "suggested_display_precision": 2},
    "temperature": {
        "name": "Temperature",
        "device_class": "temperature",
        "unit_of_measurement": "°C",
        "suggested_display_precision": 1,
    },
}


def birth_topic(prefix: str) -> str:
    """Where a hub says `online` when it has started."""
    return f"{prefix}/status"


def discovery(config: Config, alarms: Sequence[str]) -> list[tuple[str, Payload]]:
    """The discovery messages of all tanks; none when there is no [mqtt] discovery_prefix."""
    settings = config.mqtt
    if settings is None or settings.discovery_prefix is None:
        return []
    return [
        _message(settings, tank, entity)
        for tank in config.tank
        for entity in _entities(config, settings.base, tank, alarms)
    ]


def _entities(config: Config, base: str, tank: str, alarms: Sequence[str]) -> list[Entity]:
    every_s = {probe.quantity: probe.every_s for probe in config.probe if probe.tank == tank}
    # Readings reach the broker when the journal has committed them, so that they come in lots.
    lot_s = config.journal.commit_every_s
    found = [_reading(base, tank, quantity, every_s[quantity], lot_s) for quantity in every_s]
    found += [_last_reading(base, tank, quantity) for quantity in every_s]
    found += [*_beliefs(base, tank), *_foretold(base, tank)]
    found += [_verdict(base, tank), *_refill(base, tank)]
    for alarm in alarms:
        found += [_alarm(base, tank, alarm), *_answers(base, tank, alarm)]
    for component in components(config, tank):
        found += _health(base, tank, component)
    return found


def components(config: Config, tank: str) -> list[str]:
    """The probes and sinks whose health is told with `tank`; sinks belong to the first one."""
    found = [f"probe {probe.name}" for probe in config.probe if probe.tank == tank]
    if tank == next(iter(config.tank)):
        found += ["sink mqtt"] if config.mqtt else []
        found += ["sink influxdb"] if config.influxdb else []
        for number, way in enumerate(config.notify, 1):
            found += [f"sink notify {number}"] if way.smtp or way.url_file else []
            found += [f"sink heartbeat {number}"] if way.heartbeat_url_file else []
    return found


def _message(settings: Mqtt, tank: str, entity: Entity) -> tuple[str, Payload]:
    component, key, own = entity
    unique_id = _plain(f"{settings.base}_{tank}_{key}")
    payload = {
        "unique_id": unique_id,
        "object_id": unique_id,
        **own,
        "availability_topic": f"{settings.base}/status",
        "payload_available": "online",
        "payload_not_available": "offline",
        "qos": 1,
        "device": {
            "identifiers": [_plain(f"{settings.base}_{tank}")],
            "name": f"Tank {tank}",
            "model": "afterfill",
            "sw_version": version("afterfill"),
        },
        "origin": {"name": "afterfill", "sw_version": version("afterfill")},
    }
    return f"{settings.discovery_prefix}/{component}/{unique_id}/config", payload


def _plain(name: str) -> str:
    """Letters, digits, _ and - only, as the convention demands of an id."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "_-") else "_" for c in name)


def _reading(base: str, tank: str, quantity: Quantity, every_s: float, lot_s: float) -> Entity:
    topic = f"{base}/{tank}/reading/{quantity}"
    own = {
        **_READINGS[quantity],
        "state_class": "measurement",
        "state_topic": topic,
        "value_template": "{{ value_json.value }}",
        "json_attributes_topic": topic,
        "expire_after": round(max(60, 5 * every_s) + 2 * lot_s),  # five readings missed
    }
    return "sensor", quantity, own


def _last_reading(base: str, tank: str, quantity: Quantity) -> Entity:
    own = {
        "name": f"{_READINGS[quantity]['name']} last read",
        "device_class": "timestamp",
        "state_topic": f"{base}/{tank}/reading/{quantity}",
        # without a value the time of the last one stays
        "value_template": (
            "{{ value_json.time if value_json.value is not none else "
            "None if this.state in ('unknown', 'unavailable') else this.state }}"
        ),
    }
    return "sensor", f"{quantity}_last_read", own


def _refill(base: str, tank: str) -> list[Entity]:
    topic = f"{base}/{tank}/refill"
    when = {
        "name": "Refill noticed",
        "device_class": "timestamp",
        "state_topic": topic,
        "value_template": "{{ value_json.time }}",
        "json_attributes_topic": topic,
    }
    share = {
        "name": "Refill share",
        "unit_of_measurement": "%",
        "state_topic": topic,
        "value_template": "{{ value_json.fraction.q50 * 100 }}",
        "suggested_display_precision": 0,
    }
    log = {
        "name": "Log a refill, amount not known",
        "command_topic": f"{base}/{tank}/log/refill",
        "payload_press": "{}",
        "retain": False,
    }
    return [("sensor", "refill", when), ("sensor", "refill_share", share), ("button", "log", log)]


def _beliefs(base: str, tank: str) -> list[Entity]:
    ammonia = "value_json.free_ammonia_mg_l"
    return [
        _belief(base, tank, "residual", "Residual oxidant", "mg/L", "value_json.residual_mg_l.q50"),
        _belief(
            base, tank, "p_over_limit", "Residual over limit", "%", "value_json.p_over_limit * 100"
        ),
        _belief(
            base,
            tank,
            "free_ammonia",
            "Free ammonia (NH3-N)",
            "mg/L",
            f"{ammonia}.q50 if {ammonia} else None",
        ),
    ]


def _belief(base: str, tank: str, key: str, name: str, unit: str, value: str) -> Entity:
    own = {
        "name": name,
        "unit_of_measurement": unit,
        "state_class": "measurement",
        "state_topic": f"{base}/{tank}/estimate",
        "value_template": f"{{{{ {value} }}}}",
        "suggested_display_precision": 0 if unit == "%" else 3,
        "json_attributes_topic": f"{base}/{tank}/estimate",
        "expire_after": _ESTIMATE_EXPIRES_S,
    }
    return "sensor", key, own


def _foretold(base: str, tank: str) -> list[Entity]:
    topic, peak = f"{base}/{tank}/forecast", "value_json.free_ammonia_peak_mg_l"
    common = {
        "state_topic": topic,
        "json_attributes_topic": topic,
        "expire_after": _FORECAST_EXPIRES_S,
    }
    below = {
        "name": "Residual surely below limit",
        "device_class": "timestamp",
        "value_template": "{{ value_json.residual_surely_below_limit }}",
    }
    ammonia = {
        "name": "Free ammonia, highest within a day (NH3-N)",
        "unit_of_measurement": "mg/L",
        "state_class": "measurement",
        "suggested_display_precision": 3,
        "value_template": f"{{{{ {peak}.q50 if {peak} else None }}}}",
    }
    return [
        ("sensor", "residual_below_limit", {**common, **below}),
        ("sensor", "free_ammonia_peak", {**common, **ammonia}),
    ]


def _verdict(base: str, tank: str) -> Entity:
    topic = f"{base}/{tank}/verdict"
    own = {
        "name": "Last refill",
        "device_class": "enum",
        "options": _WORDS,
        "state_topic": topic,
        "value_template": "{{ value_json.verdict }}",
        "json_attributes_topic": topic,
    }
    return "sensor", "verdict", own


def _alarm(base: str, tank: str, alarm: str) -> Entity:
    topic = f"{base}/{tank}/alarm/{alarm}"
    own = {
        "name": f"Alarm {alarm}",
        "device_class": "problem",
        "state_topic": topic,
        # one whose inputs are missing is unknown, never clear
        "value_template": (
            "{{ 'ON' if value_json.active else 'OFF' if value_json.known else None }}"
        ),
        "json_attributes_topic": topic,
    }
    return "binary_sensor", f"alarm_{alarm}", own


def _answers(base: str, tank: str, alarm: str) -> list[Entity]:
    topic = f"{base}/{tank}/alarm/{alarm}"
    acknowledge = {
        "name": f"Acknowledge {alarm}",
        "command_topic": f"{topic}/acknowledge",
        "payload_press": "{}",
        "retain": False,
    }
    shelve = {
        "name": f"Shelve {alarm} for {_SHELVE_MINUTES} min",
        "command_topic": f"{topic}/shelve",
        "payload_press": f'{{"minutes": {_SHELVE_MINUTES}}}',
        "retain": False,
        "enabled_by_default": False,  # seldom wanted, and never by mistake
    }
    return [
        ("button", f"acknowledge_{alarm}", acknowledge),
        ("button", f"shelve_{alarm}", shelve),
    ]


def _health(base: str, tank: str, component: str) -> list[Entity]:
    key = component_key(component)
    topic = f"{base}/{tank}/health/{key}"
    common = {
        "state_topic": topic,
        "entity_category": "diagnostic",
        "expire_after": _HEALTH_EXPIRES_S,
    }
    up = {
        "name": f"{component} up",
        "device_class": "connectivity",
        "value_template": "{{ 'ON' if value_json.up else 'OFF' }}",
        "json_attributes_topic": topic,
    }
    age = {
        "name": f"{component} age",
        "device_class": "duration",
        "unit_of_measurement": "s",
        "state_class": "measurement",
        "suggested_display_precision": 0,
        "value_template": "{{ value_json.age_s }}",
    }
    errors = {
        "name": f"{component} errors",
        "state_class": "total_increasing",  # since the start of the service
        "value_template": "{{ value_json.errors }}",
    }
    return [
        ("binary_sensor", f"health_{key}_up", {**common, **up}),
        ("sensor", f"health_{key}_age", {**common, **age}),
        ("sensor", f"health_{key}_errors", {**common, **errors}),
    ]

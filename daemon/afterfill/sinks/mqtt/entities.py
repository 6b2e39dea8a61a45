"""The table of what a home-automation hub is told of: a row for each entity of a tank.

Enabled is the dozen that a keeper would choose; the rest waits in the hub to be switched on. What
the probe cannot see is unknown: figures that hang on the ORP are null while `sees` is false.
"""

from dataclasses import dataclass, replace
from typing import Literal, get_args

from afterfill.alarms.definition import Definition
from afterfill.records import Quantity, StandingWord, VerdictWord

Component = Literal["sensor", "binary_sensor", "button", "number"]
COMMANDING: tuple[Component, ...] = ("button", "number")
ESTIMATE_EXPIRES_S = 600  # estimates come at least once a minute while anything is read
_FORECAST_EXPIRES_S = 7200  # it comes each half hour
_HEALTH_EXPIRES_S = 300  # told each minute
SHELVE_MINUTES = 60
_NEVER = "'1970-01-01T00:00:00Z'"  # only while the entity is not available: old hubs know no null
_NOT_KNOWN = "this.state in ('unknown', 'unavailable')"
_BELOW = "value_json.residual_surely_below_limit"
_AHEAD = f"{_BELOW} and {_BELOW} > value_json.time"


@dataclass(frozen=True, slots=True)
class Entity:
    """One row. `topic` is below the tank's own; `value` is what the template computes from the
    message there, or what a button or a number sends; `available`, if given, tells from the same
    message whether there is anything to show."""

    component: Component
    key: str
    name: str
    topic: str
    value: str
    device_class: str | None = None
    unit: str | None = None
    precision: int | None = None
    enabled: bool = False
    diagnostic: bool = False
    state_class: Literal["measurement", "total_increasing"] | None = None
    expires_s: int | None = None
    options: tuple[str, ...] = ()
    available: str = ""


def _figure(
    key: str, name: str, topic: str, value: str, unit: str, precision: int, *,
    enabled: bool = False, diagnostic: bool = False, expires_s: int = ESTIMATE_EXPIRES_S,
) -> Entity:  # fmt: skip
    return Entity(
        "sensor", key, name, topic, value, None, unit, precision, enabled, diagnostic,
        "measurement", expires_s,
    )  # fmt: skip


def _seen(value: str) -> str:
    return f"{value} if value_json.sees else None"


def _median(of: str) -> str:
    return f"value_json.{of}.q50 if value_json.{of} else None"


OF_A_TANK: tuple[Entity, ...] = (
    Entity("sensor", "standing", "How it stands", "standing", "value_json.standing", "enum",
           enabled=True, expires_s=ESTIMATE_EXPIRES_S, options=get_args(StandingWord)),
    Entity("binary_sensor", "refill_ready", "A refill may begin", "refill-ready",
           "'ON' if value_json.ready else 'OFF'", enabled=True, expires_s=ESTIMATE_EXPIRES_S),
    Entity("binary_sensor", "alarms", "Needs you now", "alarms",
           "'ON' if value_json.asking else 'OFF'", "problem", enabled=True),
    _figure("residual", "Residual chlorine", "estimate",
            _seen("value_json.residual_mg_l.q50"), "mg/L", 3, enabled=True),
    _figure("p_over_limit", "Residual over its limit, probability", "estimate",
            _seen("(value_json.p_over_limit * 100) | round(1)"), "%", 0),
    _figure("detection_floor", "Smallest residual it would call", "estimate",
            _seen("value_json.detection_floor_mg_l"), "mg/L", 2, diagnostic=True),
    Entity("binary_sensor", "sees", "ORP can be used", "estimate",
           "'ON' if value_json.sees else 'OFF'", expires_s=ESTIMATE_EXPIRES_S, diagnostic=True),
    _figure("free_ammonia", "Un-ionised ammonia (NH3-N)", "estimate",
            _median("free_ammonia_mg_l"), "mg/L", 4, enabled=True),
    Entity("sensor", "residual_below_limit", "Residual surely below its limit at", "forecast",
           f"{_BELOW} or value_json.time", "timestamp", expires_s=_FORECAST_EXPIRES_S,
           available=f"'online' if {_AHEAD} else 'offline'"),
    Entity("sensor", "residual_below_limit_in", "Residual surely below its limit in", "forecast",
           f"((as_timestamp({_BELOW}) - as_timestamp(value_json.time)) / 60) | round | int"
           f" if {_BELOW} else None",
           "duration", "min", 0, expires_s=_FORECAST_EXPIRES_S),
    _figure("free_ammonia_peak", "Un-ionised ammonia, highest within a day (NH3-N)", "forecast",
            _median("free_ammonia_peak_mg_l"), "mg/L", 4, expires_s=_FORECAST_EXPIRES_S),
    Entity("sensor", "verdict", "Last refill", "verdict", "value_json.verdict", "enum",
           enabled=True, options=get_args(VerdictWord)),
    Entity("sensor", "refill", "Last refill noticed at", "refill", "value_json.time", "timestamp",
           enabled=True),
    Entity("sensor", "refill_share", "Last refill, share of the tank", "refill",
           "(value_json.fraction.q50 * 100) | round(1)", unit="%", precision=0),
    Entity("sensor", "neutraliser_left", "Neutraliser left, by what was logged", "stock-left",
           "(value_json.open_ml + value_json.closed_ml) | round(1)", unit="mL", precision=1,
           state_class="measurement"),
    Entity("button", "log", "Log a refill, amount not known", "log/refill", "{}", enabled=True),
    Entity("number", "log_source_test", "Log a source test, total chlorine", "log/source-test",
           '{"total_chlorine_mg_l": {{ value }}}', unit="mg/L"),
)  # fmt: skip

_READINGS: dict[Quantity, Entity] = {
    "orp": _figure("orp", "ORP", "reading/orp", "value_json.value", "mV", 0, enabled=True),
    "ph": _figure("ph", "pH", "reading/ph", "value_json.value", "", 2, enabled=True),
    "temperature": _figure(
        "temperature", "Temperature", "reading/temperature", "value_json.value", "°C", 1,
        enabled=True,
    ),
}  # fmt: skip
_CLASS: dict[Quantity, str] = {"orp": "voltage", "ph": "ph", "temperature": "temperature"}

# The alarms in words, and the few that are switched on: the others ask through "Needs you now".


def of_a_reading(quantity: Quantity, expires_s: int) -> list[Entity]:
    """A probe's value, and when it last gave one."""
    value = replace(_READINGS[quantity], device_class=_CLASS[quantity], expires_s=expires_s)
    last = Entity(
        "sensor", f"{quantity}_last_read", f"{value.name} last read", value.topic,
        # without a value the time of the last one stays
        f"value_json.time if value_json.value is not none else "
        f"{_NEVER} if {_NOT_KNOWN} else this.state",
        "timestamp", diagnostic=True,
        available=f"'online' if value_json.value is not none else "
        f"'offline' if {_NOT_KNOWN} else ''",
    )  # fmt: skip
    return [value, last]


def of_an_alarm(it: Definition) -> list[Entity]:
    """An alarm and its answers. One whose inputs are missing is unknown, never clear."""
    name, topic = it.label, f"alarm/{it.name}"
    return [
        Entity("binary_sensor", f"alarm_{it.name}", name, topic,
               "'ON' if value_json.active else 'OFF' if value_json.known else None",
               "problem", enabled=it.danger),
        Entity("button", f"acknowledge_{it.name}", f"Acknowledge: {name}", f"{topic}/acknowledge",
               "{}"),
        Entity("button", f"shelve_{it.name}", f"Put aside for {SHELVE_MINUTES} min: {name}",
               f"{topic}/shelve", f'{{"minutes": {SHELVE_MINUTES}}}'),
    ]  # fmt: skip


def of_a_component(part: str, name: str) -> list[Entity]:
    """The health of a probe or of a way out; `part` is its level of the topic."""
    topic = f"health/{part}"
    up = Entity(
        "binary_sensor", f"health_{part}_up", f"{name} answers", topic,
        "'ON' if value_json.up else 'OFF'", "connectivity",
        diagnostic=True, expires_s=_HEALTH_EXPIRES_S,
    )  # fmt: skip
    age = replace(
        up, component="sensor", key=f"health_{part}_age", name=f"{name} answered before",
        value="value_json.age_s", device_class="duration", unit="s", precision=0,
        state_class="measurement",
    )  # fmt: skip
    errors = replace(
        age, key=f"health_{part}_errors", name=f"{name} errors since the start",
        value="value_json.errors", device_class=None, unit=None, state_class="total_increasing",
    )  # fmt: skip
    return [up, age, errors]

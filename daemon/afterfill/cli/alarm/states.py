"""The states of ISA-18.2 in a keeper's words. JSON, MQTT and the database keep the standard's."""

from afterfill.records import AlarmState

STATES: dict[AlarmState, str] = {
    "normal": "over",
    "unacknowledged": "not acknowledged yet",
    "acknowledged": "acknowledged: a person is on it",
    "returned-to-normal-unacknowledged": "over, not yet seen",
    "shelved": "put aside for a while",
    "suppressed-by-design": "set aside while announced work lasts",
    "out-of-service": "out of service",
}

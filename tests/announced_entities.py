"""What a service of two tanks announces to a hub."""

from typing import Any

from afterfill.config import Config

SERVICE = "afterfill-0123456789ab"


def config(**mqtt: object) -> Config:
    probe = {"driver": "line", "port": "/dev/null"}
    return Config.model_validate(
        {
            "tank": {"window": {"litres": 200}, "Bad-2": {"litres": 80}},
            "probe": [
                {**probe, "tank": "window", "quantity": "orp", "every_s": 2},
                {**probe, "tank": "window", "quantity": "ph", "every_s": 60},
                {**probe, "tank": "window", "quantity": "temperature"},
                {**probe, "tank": "Bad-2", "quantity": "orp"},
            ],
            "mqtt": {"host": "broker", **mqtt},
            "influxdb": {"url": "http://localhost:8086"},
            "notify": [{"url_file": "push", "heartbeat_url_file": "beat"}],
        }
    )


def named(announced: dict[str, dict[str, Any]], tank: str) -> dict[str, dict[str, Any]]:
    """The entities of a tank by component and key."""
    return {
        topic.removeprefix("homeassistant/").removesuffix("/config").replace(f"{start}_", ""): found
        for topic, found in announced.items()
        for start in (f"afterfill_{tank}",)
        if f"/{start}_" in topic
    }

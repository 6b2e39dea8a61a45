"""The ids of entities: unique, plain, and for ever."""

import re
from typing import Any

import pytest

from afterfill.sinks.mqtt.discovery import discovery
from announced_entities import SERVICE, config


@pytest.fixture
def announced() -> dict[str, dict[str, Any]]:
    return dict(discovery(config(), SERVICE))


def test_ids_are_unique_plain_and_depend_on_base_and_tank_only(
    announced: dict[str, dict[str, Any]],
) -> None:
    ids = [payload["unique_id"] for payload in announced.values()]
    assert len(set(ids)) == len(ids)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", unique_id) for unique_id in ids)
    moved = discovery(config(host="elsewhere", port=8883), "another-service")
    assert [payload["unique_id"] for _, payload in moved] == ids


ORDINARY = ("window", "Bad-2", "a_b", "A")
FOREIGN = ("ванна", "ваннё", "水槽", "水箱", "Éva", "Èva", "akvaario-ä", "akvaario-ö")


def test_ids_and_topics_of_tanks_never_collide_in_any_script() -> None:
    settings = config()
    tanks = dict.fromkeys((*ORDINARY, *FOREIGN), settings.tank["window"])
    probes = tuple(settings.probe[0].model_copy(update={"tank": tank}) for tank in tanks)
    many = settings.model_copy(update={"tank": tanks, "probe": probes})
    found = discovery(many, SERVICE)
    topics = [topic for topic, _ in found]
    assert len(set(topics)) == len(topics)
    assert all(re.fullmatch(r"[A-Za-z0-9_/-]+", topic) for topic in topics)
    devices = {payload["device"]["identifiers"][0] for _, payload in found}
    assert len(devices) == len(tanks)
    assert {f"afterfill_{tank}" for tank in ORDINARY} <= devices, "these keep the ids they had"
    again = discovery(many, "another-service")
    assert [topic for topic, _ in again] == topics, "the same at every start"


def test_entity_ids_are_asked_for_in_the_new_way_and_are_those_of_the_old_one(
    announced: dict[str, dict[str, Any]],
) -> None:
    for topic, payload in announced.items():
        component = topic.split("/")[1]
        plain = payload["unique_id"].lower().replace("-", "_")
        assert payload["default_entity_id"] == f"{component}.{plain}"
        assert payload["object_id"] == payload["unique_id"], "for hubs that know only this one"

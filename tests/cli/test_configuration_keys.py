"""Every key that a configuration may hold, as a list: none is ever renamed or taken away.

`configuration_keys.txt` has one `table.key` a line. A new key is a new line; a line that must go is
a change that breaks the files of keepers.
"""

import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel

from afterfill.config import Config
from afterfill.service.driver_registry import driver_named, driver_names

LIST = Path(__file__).with_name("configuration_keys.txt")


def models_in(annotation: Any) -> Iterator[type[BaseModel]]:  # noqa: ANN401 - any annotation
    """The tables that a key may hold."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    elif get_origin(annotation) in (Union, types.UnionType, Annotated, dict, tuple):
        for part in get_args(annotation):
            yield from models_in(part)


def keys_of(model: type[BaseModel], where: str = "") -> Iterator[str]:
    """``tank.litres``, ``tank.limits.ph`` and so on."""
    for name, field in model.model_fields.items():
        key = f"{where}{field.alias or name}"
        inner = list(models_in(field.annotation))
        yield key
        for table in inner:
            yield from keys_of(table, f"{key}.")


def all_keys() -> list[str]:
    drivers = [
        key
        for name in driver_names()
        for key in keys_of(driver_named(name).settings, f"probe({name}).")
    ]
    return sorted([*keys_of(Config), *drivers])


def test_the_list_is_complete_and_nothing_on_it_is_gone() -> None:
    listed, found = set(LIST.read_text().split()), set(all_keys())
    assert listed - found == set(), "a key that files may hold is gone"
    assert found - listed == set(), f"add the new key to {LIST.name}, and never take it away"


def test_the_keys_of_the_first_version_are_on_it() -> None:
    """A few that recordings and scripts of 2026 rely on: the list is not made of nothing."""
    first = {
        "tank.litres", "tank.limits.free_ammonia_mg_l", "source.residual_max_mg_l",
        "neutraliser.label.ml", "probe.every_s", "mqtt.password_file", "influxdb.token_file",
        "journal.path", "notify.smtp.from", "source.change.from", "probe(modbus).register",
    }  # fmt: skip
    assert first <= set(LIST.read_text().split())

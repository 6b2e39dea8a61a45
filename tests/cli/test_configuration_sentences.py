"""A slip in the form of the configuration gets a sentence in its writer's words."""

import pytest

from afterfill.config_file import parse
from afterfill.errors import ConfigError

TANK = "[tank.w]\nlitres = 100\n"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (TANK + "[journal]\n[journal]\n", "[journal] appears twice (at line 4, "),
        (TANK + TANK, "[tank.w] appears twice (at line 3, "),
        (TANK + "litres = 5\n", "this was said before (at line 3, "),
        (TANK + "limits = 5\n", "'limits' is a table of keys, not 5: write [tank.w.limits]"),
        (TANK + "[tank.w.limits]\nph = 4\n", "key 'limits.ph' is 4: write both ends in brackets"),
        (TANK + "[journal\n", "not TOML: "),
    ],
)
def test_a_slip_of_form(text: str, sentence: str) -> None:
    with pytest.raises(ConfigError) as error:
        parse(text, "afterfill.toml")
    assert sentence in str(error.value)
    assert "\n" not in str(error.value)

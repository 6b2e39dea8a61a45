import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from afterfill.journal.columns import packed, unpacked

whole = st.lists(st.integers(-(1 << 60), 1 << 60))
decimal = st.integers(0, 6).flatmap(
    lambda places: st.lists(st.integers(-(10**10), 10**10).map(lambda units: units / 10**places))
)
anything = st.lists(st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=3))


@given(whole | decimal | anything)
def test_a_column_comes_back_to_the_last_bit_and_type(values: list[Any]) -> None:
    assert repr(unpacked(packed(values))) == repr(values)
    assert repr(unpacked(json.loads(json.dumps(packed(values))))) == repr(values)


@pytest.mark.parametrize(
    ("values", "column"),
    [
        ([], [-1]),
        ([5, 7, 7, 2], [-1, 5, 2, 0, -5]),
        ([25.01, 25.01, 25.0], [2, 2501, 0, -1]),
        ([25.0], [1, 250]),
        ([0.0625, 0.125], [4, 625, 625]),
        ([0.03125], [None, 0.03125]),
        ([999999999.9, -999999999.9], [1, 9999999999, -19999999998]),
        ([1e9], [None, 1e9]),
        ([-1e9], [None, -1e9]),
        ([-0.0], [None, -0.0]),
        ([1, 1.0], [None, 1, 1.0]),
        ([True, 1], [None, True, 1]),
        ([1.5, None], [None, 1.5, None]),
        (["a"], [None, "a"]),
    ],
    ids=repr,
)
def test_the_form_of_a_column_is_part_of_the_journals_form(
    values: list[Any], column: list[Any]
) -> None:
    assert repr(packed(values)) == repr(column)

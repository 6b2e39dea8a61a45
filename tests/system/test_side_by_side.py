"""Every kind of wire in one service, each cut off once."""

from pathlib import Path

import pytest

from system.side_by_side import side_by_side

pytestmark = pytest.mark.system


@pytest.mark.timeout(300)
def test_a_wire_that_is_cut_is_told_comes_back_and_disturbs_no_other(tmp_path: Path) -> None:
    with side_by_side(tmp_path) as it:
        cuts = [it.cut(wire) for wire in it.wires]
        strays = it.strays()
        code, took_s = it.service.stop()
        said = it.service.said()
    assert [cut for cut in cuts if not cut.sound] == [], said[-3000:]
    assert strays == []
    assert "died" not in said
    assert (code, took_s < 4.0) == (0, True)

from pathlib import Path

import pytest

from afterfill.errors import JournalError
from afterfill.service.only_one import only_one


def test_the_second_is_told_and_the_first_keeps_it_until_it_ends(tmp_path: Path) -> None:
    path = tmp_path / "j.db"
    with only_one(path):
        for _ in range(2):
            with pytest.raises(JournalError, match="is in use by another"), only_one(path):
                pytest.fail("two at once")
    with only_one(path):
        pass


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with (
        pytest.raises(JournalError, match="does the folder exist"),
        only_one(tmp_path / "no" / "j"),
    ):
        pytest.fail("a lock in no folder")

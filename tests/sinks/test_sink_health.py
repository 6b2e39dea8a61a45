from afterfill.sinks.health import HealthBoard, SinkHealth


def test_nothing_is_up_before_something_was_confirmed() -> None:
    assert HealthBoard(10).health(0) == SinkHealth(False, None, 0, "nothing has been confirmed yet")


def test_a_confirmation_makes_it_up_until_it_is_too_old() -> None:
    board = HealthBoard(max_age_s=10)
    board.confirmed(100)
    assert board.health(110) == SinkHealth(True, 10, 0, "")
    assert board.health(111) == SinkHealth(False, 11, 0, "nothing has been confirmed for 11 s")


def test_a_failure_is_down_at_once_until_the_next_confirmation() -> None:
    board = HealthBoard(max_age_s=10)
    board.confirmed(100)
    assert board.failed("away")
    assert not board.failed("away"), "the same again is no news"
    assert board.failed("wrong password")
    assert board.health(101) == SinkHealth(False, 1, 3, "wrong password")
    board.confirmed(102)
    assert board.health(102) == SinkHealth(True, 0, 3, "")
    assert board.failed("away"), "after a success it is news again"


def test_a_remark_outlives_success() -> None:
    board = HealthBoard(max_age_s=10)
    board.remark("2 points set aside", 2)
    board.confirmed(100)
    assert board.health(100) == SinkHealth(True, 0, 2, "2 points set aside")
    board.failed("away")
    assert board.health(101).detail == "away; 2 points set aside"

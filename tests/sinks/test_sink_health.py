from afterfill.sinks.health import SinkHealth, SinkStatus


def test_nothing_is_up_before_something_was_confirmed() -> None:
    assert SinkStatus(10).health(0) == SinkHealth(False, None, 0, "nothing has been confirmed yet")


def test_a_confirmation_makes_it_up_until_it_is_too_old() -> None:
    status = SinkStatus(max_age_s=10)
    status.confirmed(100)
    assert status.health(110) == SinkHealth(True, 10, 0, "")
    assert status.health(111) == SinkHealth(False, 11, 0, "nothing has been confirmed for 11 s")


def test_a_failure_is_down_at_once_until_the_next_confirmation() -> None:
    status = SinkStatus(max_age_s=10)
    status.confirmed(100)
    assert status.failed("away")
    assert not status.failed("away"), "the same again is no news"
    assert status.failed("wrong password")
    assert status.health(101) == SinkHealth(False, 1, 3, "wrong password")
    status.confirmed(102)
    assert status.health(102) == SinkHealth(True, 0, 3, "")
    assert status.failed("away"), "after a success it is news again"


def test_a_remark_outlives_success() -> None:
    status = SinkStatus(max_age_s=10)
    status.remark("2 points set aside", 2)
    status.confirmed(100)
    assert status.health(100) == SinkHealth(True, 0, 2, "2 points set aside")
    status.failed("away")
    assert status.health(101).detail == "away; 2 points set aside"

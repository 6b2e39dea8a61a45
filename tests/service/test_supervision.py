import itertools
import threading
import time

from afterfill.service.supervision import Worker, supervise


def test_a_dead_thread_is_started_again_and_counted() -> None:
    stop, ran = threading.Event(), threading.Semaphore(0)

    def body() -> None:
        ran.release()
        if worker.deaths == 0:
            raise OSError("the disk went away")
        stop.wait()

    worker = Worker("core", body)
    boss = threading.Thread(target=supervise, args=([worker], stop, 2.0))
    boss.start()
    assert ran.acquire(timeout=5)
    assert ran.acquire(timeout=10)  # the second life
    assert (worker.deaths, worker.last_error) == (1, "the disk went away")
    stop.set()
    boss.join(timeout=5)
    assert not boss.is_alive()


def _until(event: threading.Event) -> None:
    event.wait()


def test_a_thread_that_does_not_end_is_named_and_not_waited_for() -> None:
    stop, free = threading.Event(), threading.Event()
    good = Worker("good", lambda: _until(stop))
    stuck = Worker("stuck", lambda: _until(free))
    stop.set()
    began_s = time.monotonic()
    assert supervise([good, stuck], stop, 0.3) == ["stuck"]
    assert time.monotonic() - began_s < 2.0
    free.set()


def test_a_thread_that_keeps_dying_is_tried_ever_more_seldom() -> None:
    births: list[int] = []
    lives: list[float] = []
    worker = Worker("w", lambda: births.append(1))
    now_s = time.monotonic()
    for _ in range(400):  # a quarter of a second each
        now_s += 0.25
        worker.look_after(now_s)
        assert worker.join(time.monotonic() + 2.0)
        if len(lives) < len(births):
            lives.append(now_s)
    pauses = [later - earlier for earlier, later in itertools.pairwise(lives)]
    assert pauses == sorted(pauses)
    assert pauses[-1] > 10.0 * pauses[0]

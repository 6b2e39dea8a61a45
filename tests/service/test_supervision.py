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
    boss = threading.Thread(target=supervise, args=([worker], stop, 2.0, 1.0))
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

    def stuck_body() -> None:
        stop.set()
        free.wait()

    stuck = Worker("stuck", stuck_body)
    began_s = time.monotonic()
    assert supervise([good, stuck], stop, 0.3, 0.3) == ["stuck"]
    assert time.monotonic() - began_s < 2.0
    free.set()


class Impatient(threading.Event):
    """Never waits, remembers how long it should have, and is set after `times`."""

    def __init__(self, times: int) -> None:
        super().__init__()
        self.pauses_s: list[float] = []
        self._times = times

    def wait(self, timeout: float | None = None) -> bool:
        self.pauses_s.append(timeout or 0.0)
        if len(self.pauses_s) >= self._times:
            self.set()
        return self.is_set()


def test_a_thread_that_keeps_dying_is_tried_ever_more_seldom() -> None:
    births: list[int] = []
    worker, stop = Worker("w", lambda: births.append(1)), Impatient(10)
    worker.live(stop)
    assert len(births) == 10
    assert stop.pauses_s == [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0, 60.0, 60.0]


def test_it_goes_on_in_the_same_thread_for_a_new_one_may_not_be_had() -> None:
    stop, threads = Impatient(3), set[int]()
    worker = Worker("w", lambda: threads.add(threading.get_ident()))
    worker.start(stop)
    assert worker.join(time.monotonic() + 5.0)
    assert len(threads) == 1


def test_it_counts_as_up_only_while_its_body_runs() -> None:
    stop, seen = Impatient(1), list[bool]()
    worker = Worker("w", lambda: seen.append(worker.is_alive()))
    worker.start(stop)
    assert worker.join(time.monotonic() + 5.0)
    assert seen == [True]
    assert not worker.is_alive()


def test_what_may_be_left_is_not_waited_for_and_what_may_not_is() -> None:
    stop, free = threading.Event(), threading.Event()
    done: list[str] = []

    def slow_but_needed() -> None:
        stop.set()
        free.wait(1.0)
        done.append("committed")

    needed = Worker("core", slow_but_needed)
    hanging = [Worker(f"sink {n}", lambda: _until(free_of_all), may_be_left=True) for n in range(3)]
    free_of_all = threading.Event()
    began_s = time.monotonic()
    assert supervise([*hanging, needed], stop, 5.0, 0.2) == ["sink 0", "sink 1", "sink 2"]
    assert done == ["committed"]
    assert time.monotonic() - began_s < 3.0
    free_of_all.set()

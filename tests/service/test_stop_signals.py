import signal
import subprocess
import sys

_TURNS = """
import faulthandler, signal, threading, time
from afterfill.service.stop_signals import stop_on_signals

stop = threading.Event()
stop_on_signals(stop, signal.SIGALRM)
faulthandler.dump_traceback_later(30, exit=True)
for turn in range(200):
    signal.setitimer(signal.ITIMER_REAL, 1e-6 * (1 + turn % 60))
    while not stop.wait(0):
        pass
    stop.clear()
"""


def test_a_signal_at_any_moment_of_the_main_threads_wait_is_heard() -> None:
    """With `Event.set` in the handler itself this hangs within the first ten turns."""
    done = subprocess.run(
        [sys.executable, "-c", _TURNS], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr


def test_the_signals_named_set_the_event() -> None:
    code = "; ".join(
        (
            "import os, signal, threading",
            "from afterfill.service.stop_signals import stop_on_signals",
            "stop = threading.Event()",
            "stop_on_signals(stop, signal.SIGTERM, signal.SIGINT)",
            "os.kill(os.getpid(), signal.{})",
            "raise SystemExit(0 if stop.wait(10) else 1)",
        )
    )
    for name in (signal.SIGTERM.name, signal.SIGINT.name):
        assert (
            subprocess.run([sys.executable, "-c", code.format(name)], check=False).returncode == 0
        )

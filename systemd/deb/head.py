"""A probe head in a root that a package is tried in: says `412.3,7.21,24.8` twice a second on a
pseudo-terminal behind /dev/head; its millivolts are those that the file /var/tmp/mv holds."""

import contextlib
import os
import time
import tty
from pathlib import Path

ours, theirs = os.openpty()
tty.setraw(theirs)
os.chmod(os.ttyname(theirs), 0o666)
os.symlink(os.ttyname(theirs), "/dev/head")
os.set_blocking(ours, False)
millivolts, turn = 412.0, 0
while True:
    turn += 1
    millivolts = float(Path("/var/tmp/mv").read_text() or millivolts)
    with contextlib.suppress(BlockingIOError):  # while no one reads it
        os.write(ours, b"%.1f,7.21,24.8\r\n" % (millivolts + turn % 5 / 10))
    time.sleep(0.4)

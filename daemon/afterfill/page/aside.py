"""Asks `worked.py`, one question at a time, and gives it up when it takes too long."""

import asyncio
import json
import logging
import os
import signal
import sys
from collections.abc import Mapping
from pathlib import Path

from afterfill.errors import UsageError

_log = logging.getLogger(__name__)
_WITHIN_S = 60.0  # a Pi that is busy takes some seconds
_NOT_WORKED_OUT = "this could not be worked out: look at the log of the page"


class Aside:
    """For the configuration at `path`."""

    def __init__(self, path: Path) -> None:
        self._path = path.resolve()
        self._one = asyncio.Lock()

    async def asked(self, kind: str, tank: str, question: Mapping[str, object]) -> list[str]:
        """The answer as HTML: what comes first, what stands behind it.

        Raises UsageError with one sentence when there is none.
        """
        text = json.dumps({**question, "kind": kind, "tank": tank}).encode()
        async with self._one:
            child = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "afterfill.page.worked", str(self._path),
                stdin=-1, stdout=-1, stderr=-1, start_new_session=True,
            )  # fmt: skip
            try:
                out, said = await asyncio.wait_for(child.communicate(text), _WITHIN_S)
            except TimeoutError as error:
                raise UsageError("this took too long: try again in a minute") from error
            finally:
                if child.returncode is None:
                    os.killpg(child.pid, signal.SIGKILL)
        if child.returncode == 0:
            return [str(part) for part in json.loads(out)]
        words = said.decode(errors="replace").strip()
        if child.returncode not in (2, 3):
            _log.error("a %s of tank %s was not worked out: %s", kind, tank, words)
            words = _NOT_WORKED_OUT
        raise UsageError(words)

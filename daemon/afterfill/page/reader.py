"""The journal, read in a thread of its own so that a slow card holds no listener back."""

import asyncio
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TypeVar

from afterfill.cli.configured import reading_journal
from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.page.memory import give_back

_T = TypeVar("_T")


class Reader:
    """Opens the journal when it is asked for, and again when the file is another or has failed."""

    def __init__(self, path: Path, *, keeps_open: bool = True) -> None:
        """`keeps_open` false: for what is asked seldom; an open journal takes 3 MB."""
        self._path, self._keeps_open = path, keeps_open
        self._thread = ThreadPoolExecutor(1, "journal")
        self._journal: Journal | None = None
        self._file: tuple[int, int] | None = None

    async def read(self, question: Callable[[Journal], _T]) -> _T:
        """What `question` finds in the journal. Raises JournalError."""
        return await asyncio.get_running_loop().run_in_executor(self._thread, self._ask, question)

    def _ask(self, question: Callable[[Journal], _T]) -> _T:
        try:
            return question(self._opened())
        except JournalError:
            self._let_go()
            raise
        finally:
            if not self._keeps_open:
                self._let_go()

    def _opened(self) -> Journal:
        try:
            found = os.stat(self._path)
        except OSError:
            self._let_go()
            return reading_journal(self._path)  # says what is the matter
        if self._journal is None or self._file != (found.st_dev, found.st_ino):
            self._let_go()
            self._journal = reading_journal(self._path)
            self._file = (found.st_dev, found.st_ino)
        return self._journal

    def _let_go(self) -> None:
        if self._journal is not None:
            self._journal.abandon()
            self._journal = None
            give_back()

    async def close(self) -> None:
        """Let go of the journal."""
        await asyncio.get_running_loop().run_in_executor(self._thread, self._let_go)
        self._thread.shutdown(wait=False)

"""Kinds, tanks and boots as small numbers, since the rows are many."""

import sqlite3


class Words:
    """The table `word` through one connection."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._numbers: dict[str, int] = {}
        self._texts: dict[int, str] = {}

    def number(self, text: str) -> int:
        """The number of `text`, a new one when it has none. Only within a transaction."""
        if text not in self._numbers:
            self._db.execute("INSERT OR IGNORE INTO word (text) VALUES (?)", (text,))
            row = self._db.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()
            self._numbers[text] = row[0]
        return self._numbers[text]

    def known(self, text: str) -> bool:
        """Whether `text` has a number that outlives a kill."""
        if text not in self._numbers:
            row = self._db.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()
            if row is not None:
                self._numbers[text] = row[0]
        return text in self._numbers

    def text(self, number: int) -> str:
        """The text of a number in use."""
        if number not in self._texts:
            row = self._db.execute("SELECT text FROM word WHERE id = ?", (number,)).fetchone()
            self._texts[number] = row[0]
        return self._texts[number]

    def forget(self) -> None:
        """A transaction was rolled back: what it numbered has no number any more."""
        self._numbers.clear()
        self._texts.clear()

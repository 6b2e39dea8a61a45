"""Interned strings: kinds, tanks and boots as small numbers, since the rows are many."""

import sqlite3

from afterfill.journal.check import Checks, Damaged, check_of, with_check

_AGAIN = "SELECT text, crc FROM word INDEXED BY word_again WHERE id = ?"


class Strings:
    """The table `word` through one connection."""

    def __init__(self, db: sqlite3.Connection, checks: Checks) -> None:
        self._db, self._checks = db, checks
        self._numbers: dict[str, int] = {}
        self._texts: dict[int, str] = {}

    def number(self, text: str) -> int:
        """The number of `text`, a new one when it has none. Only within a transaction."""
        if not self.known(text):
            last = self._db.execute("SELECT max(id) FROM word").fetchone()[0] or 0
            row = with_check("word", (last + 1, text))
            self._db.execute("INSERT INTO word VALUES (?,?,?)", row)
            self._numbers[text] = last + 1
        return self._numbers[text]

    def known(self, text: str) -> bool:
        """Whether `text` has a number that outlives a kill."""
        if text not in self._numbers:
            row = self._db.execute("SELECT id FROM word WHERE text = ?", (text,)).fetchone()
            if row is not None:
                if self._sound_text(row[0]) != text:
                    raise sqlite3.DatabaseError("malformed: a string does not match its index")
                self._numbers[text] = row[0]
        return text in self._numbers

    def text(self, number: int) -> str:
        """The text of a number in use. Raises Damaged when it cannot be read."""
        if number not in self._texts:
            found = self._sound_text(number)
            if found is None:
                raise Damaged(f"the string of number {number} is damaged")
            self._texts[number] = found
        return self._texts[number]

    def _sound_text(self, number: int) -> str | None:
        query = f"SELECT text, {self._checks.column} FROM word WHERE id = ?"
        row = self._db.execute(query, (number,)).fetchone()
        if row is None:
            return None
        if self._checks.hold("word", number, (number, row[0]), row[1]):
            return str(row[0])
        for text, crc in self._db.execute(_AGAIN, (number,)).fetchall():
            if check_of("word", (number, text)) == crc:
                return str(text)
        return None

    def forget(self) -> None:
        """A transaction was rolled back: what it numbered has no number any more."""
        self._numbers.clear()
        self._texts.clear()

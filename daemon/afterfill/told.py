"""What people told of a tank, and what they took back: which word holds instead of which.

A word is named by its number in the journal, and so is a correction. Corrections of one word are a
pile: the newest that was not taken back holds. Nothing here is ever forgotten.
"""

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from afterfill.records import WORDS, Correction, Note, Record, Refill, Word

_NOT_YET = float("inf")


class Span(NamedTuple):
    """From entry `word` up to entry `correction` the journal holds what a wrong word led to."""

    word: int
    correction: float

    def holds(self, number: int) -> bool:
        """Whether entry `number` was written by those who still believed the wrong word."""
        return self.word < number < self.correction


class Told:
    """The words of one tank that were corrected, and by what. `corrections`: those with effect,
    each with its number and what had been said before."""

    def __init__(
        self,
        tank: str,
        entries: Mapping[int, Record],
        corrections: Iterable[tuple[int, Correction]] = (),
        dropped_until: int = 0,
    ) -> None:
        """`entries`: what corrections may name, by number; `corrections`: in order of numbers. One
        that has to be refused has no effect; of one whose word was dropped because of its age (up
        to number `dropped_until`) only its span is known."""
        self._tank, self._entries = tank, entries
        self._piles: dict[int, list[tuple[float, Word | None]]] = {}
        self._word_of: dict[float, int] = {}
        self._fates: dict[float, str] = {}
        self.spans: list[Span] = []
        self.corrections: list[tuple[float, Correction, Word]] = []
        for number, correction in corrections:
            if not self.add(correction, number) and correction.of <= dropped_until:
                self.spans.append(Span(correction.of, number))

    def add(self, correction: Correction, number: float = _NOT_YET) -> bool:
        """Take up a correction (without a number: one that is not in the journal yet); whether it
        has any effect."""
        if self.refusal(correction.of) is not None:
            return False
        self.corrections.append((number, correction, self.said(correction.of)))
        word = self._word_of.get(correction.of, correction.of)
        pile = self._piles.setdefault(word, [])
        if correction.word is None and correction.of != word:
            pile.pop()
            self._fates.pop(self.holding(word), None)
        else:
            pile.append((number, correction.word))
        what = "taken back" if correction.word is None else "corrected"
        self._fates[correction.of] = f"{what} by {number:.0f}"
        self._word_of[number] = word
        if not isinstance(self._entries[word], Note):
            self.spans.append(Span(word, number))
        return True

    def refusal(self, number: int) -> str | None:
        """Why entry `number` cannot be corrected, in one sentence; None where it can."""
        word = self._word_of.get(number, number)
        entry = self._entries.get(word)
        if entry is None:
            return f"there is no entry {number} in the journal; `afterfill log list` shows them"
        if not isinstance(entry, WORDS):
            return (
                f"entry {number} is no word that can be corrected; `afterfill log list` shows "
                "those that can"
            )
        if entry.tank != self._tank:
            return f"entry {number} is of tank '{entry.tank}', not of '{self._tank}'"
        holds = self.holding(word)
        if holds != number:
            return f"entry {number} is corrected or taken back already; correct {holds} instead"
        return None

    def holding(self, word: int) -> int:
        """The number of what holds now of entry `word`: its newest correction, or its own."""
        pile = self._piles.get(word)
        return int(pile[-1][0]) if pile and pile[-1][0] != _NOT_YET else word

    def said(self, number: int) -> Word:
        """What entry `number`, which can be corrected, said last: what a correction amends."""
        word = self._word_of.get(number, number)
        for _, instead in reversed(self._piles.get(word, [])):
            if instead is not None:
                return instead
        entry = self._entries[word]
        if not isinstance(entry, WORDS):
            raise KeyError(number)
        return entry

    def word_of(self, number: int) -> int:
        """The number of the word that entry `number`, a correction with effect or a word, is of."""
        return self._word_of.get(number, number)

    def fate(self, number: int) -> str:
        """What became of entry `number`: ``corrected by 12``, ``taken back by 12``, or that it had
        no effect; empty as long as it holds."""
        unheard = number not in self._entries and number not in self._word_of
        return "had no effect" if unheard else self._fates.get(number, "")

    @property
    def no_refills_s(self) -> frozenset[float]:
        """The times [s] of refills that were told and were none, or began at another time."""
        wrong = [(self._entries[number], word) for number, word in self.instead.items()]
        return frozenset(
            it.time_s
            for it, word in wrong
            if isinstance(it, Refill) and (word is None or word.time_s != it.time_s)
        )

    @property
    def instead(self) -> dict[int, Word | None]:
        """What holds instead of each word that is corrected; None where it was taken back."""
        return {word: pile[-1][1] for word, pile in self._piles.items() if pile}

"""A question of `afterfill setup`: answered by an option, a person, an earlier try or a default."""

from collections.abc import Callable, Mapping, Sequence

import typer

from afterfill.errors import AfterfillError, UsageError
from afterfill.sentences import nearest

NONE = "-"  # typed where something is not there or not known


class Asking:
    """`given`: answers by name that need no question; `before`: what was typed in a try that ended
    early, offered as defaults. `typed` holds every answer as it was written."""

    def __init__(
        self, given: Mapping[str, str], *, ask: bool, before: Mapping[str, str] | None = None
    ) -> None:
        self._given, self._before = given, before or {}
        self.asks = ask
        self.typed: dict[str, str] = {}

    def is_given(self, name: str) -> bool:
        """Whether an option, or a person, has answered `name` with more than its default."""
        return name in self._given

    def text(
        self, name: str, question: str, default: str, proved: Callable[[str], object] = str
    ) -> str:
        """An answer as `proved` gives it back. Raises UsageError for an option of no use."""
        return self._answer(name, question, default, lambda text: str(proved(text)))

    def number(
        self, name: str, question: str, default: str, proved: Callable[[str], float]
    ) -> float:
        """A number as `proved` reads it. Raises UsageError as `text`."""
        return float(self._answer(name, question, default, lambda text: repr(proved(text))))

    def number_if_known(
        self, name: str, question: str, proved: Callable[[str], float]
    ) -> float | None:
        """A number, or None for `-`. Raises UsageError as `text`."""

        def proved_or_none(text: str) -> str:
            return NONE if text == NONE else repr(proved(text))

        found = self._answer(name, f"{question}; - if not known", NONE, proved_or_none)
        return None if found == NONE else float(found)

    def yes(self, name: str, question: str, default: str) -> bool:
        """Yes or no."""
        return self.text(name, question, default, one_of(("yes", "no"))) == "yes"

    def _answer(self, name: str, question: str, default: str, proved: Callable[[str], str]) -> str:
        """A useless answer is asked again, a useless option ends it."""
        if name in self._given or not self.asks:
            self.typed[name] = self._given.get(name, default)
            return _proved(self.typed[name], proved, f"--{name.replace('_', '-')}: ")
        while True:
            offered = self._before.get(name, default)
            typed = str(typer.prompt(question, default=offered, err=True)).strip()
            try:
                answer = _proved(typed, proved, "")
            except UsageError as error:
                typer.echo(str(error), err=True)
                continue
            self.typed[name] = typed
            return answer


def _proved(text: str, proved: Callable[[str], str], where: str) -> str:
    try:
        return proved(text)
    except AfterfillError as error:
        raise UsageError(f"{where}{error}") from error


def one_of(known: Sequence[str]) -> Callable[[str], str]:
    """Proves that an answer is one of `known`. Raises UsageError with the nearest."""

    def proved(text: str) -> str:
        if text not in known:
            raise UsageError(f"'{text}' is not one of {', '.join(known)}; {nearest(text, known)}")
        return text

    return proved

"""News as they are committed to the journal, as server-sent events."""

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable
from contextlib import suppress
from dataclasses import asdict, dataclass

from afterfill.config import Config
from afterfill.errors import JournalError
from afterfill.journal.store import Journal
from afterfill.page.day import Day, day_charts
from afterfill.page.reader import Reader
from afterfill.page.seen import Seen, seen
from afterfill.page.shows import figures, headline, tank_card, tank_now
from afterfill.report.markup import Html, joined, tag
from afterfill.tank_table import tank_table

LOOK_EVERY_S = 0.25  # so that a verdict is on the glass within a second
_AGAIN_S = 10.0  # ages grow, and a service may have stopped, without a record
_BEAT_S = 15.0
_DAY_EVERY_S = 300.0
MOST_LISTENERS = 24


@dataclass(frozen=True, slots=True)
class News:
    """The headline as it is read out; the answer; the figures of one tank."""

    said: str
    now: Html
    figures: str = ""


class Live:
    """What the tanks look like now, made once for all who ask."""

    def __init__(self, config: Config, reader: Reader, days: Reader) -> None:
        """`days`: reads long stretches, which must hold no news back."""
        self._config, self._reader, self._days = config, reader, days
        self._day = {tank: Day(tank) for tank in config.tank}
        self._drawn: dict[str, tuple[float, Html]] = {}
        self._kept: dict[str, tuple[int, float, list[Seen]]] = {}
        self.listeners = 0

    async def seen(self, tank: str | None) -> list[Seen]:
        """How `tank` stands, or all. Raises JournalError."""
        names = list(self._config.tank) if tank is None else [tank]
        last = await self._reader.read(lambda journal: journal.last_seq())
        at, made_s, found = self._kept.get(tank or "", (-1, 0.0, []))
        if at != last or time.monotonic() - made_s > _AGAIN_S:
            found = await self._reader.read(
                lambda journal: [seen(journal, self._config, name) for name in names]
            )
            self._kept[tank or ""] = last, time.monotonic(), found
        return found

    async def warm(self) -> None:
        """Read the last day of each tank before anyone asks: at 1 Hz that takes some seconds."""
        for tank in self._config.tank:
            with suppress(JournalError):
                await self.day(tank)

    async def day(self, tank: str) -> Html:
        """The last day's drawings, at most some minutes old. Raises JournalError."""
        made_s, html = self._drawn.get(tank, (0.0, Html("")))
        if not html or time.monotonic() - made_s > _DAY_EVERY_S:
            html = await self._days.read(lambda journal: self._draw(journal, tank))
            self._drawn[tank] = time.monotonic(), html
        return html

    def _draw(self, journal: Journal, tank: str) -> Html:
        now_s = time.time()
        self._day[tank] = self._day[tank].caught_up(journal, now_s)
        return day_charts(self._day[tank], tank_table(self._config, tank), now_s)

    async def now(self, tank: str | None) -> News:
        """What is to be shown of `tank`, or of all; where the journal cannot be read, that."""
        try:
            found = await self.seen(tank)
        except JournalError as error:
            said = f"CANNOT TELL: {error}"
            why = tag("h1", said, class_="word")
            return News(said, tag("div", why, class_="answer cannot-tell"))
        said = "; ".join(map(headline, found))
        if tank is None:
            return News(said, joined(tag("h1", "Tanks"), *map(tank_card, found)))
        return News(said, tank_now(found[0]), figures(found[0]))

    async def stream(self, tank: str | None, goes_on: Callable[[], bool]) -> AsyncIterator[str]:
        """Events for one listener, as long as `goes_on`."""
        self.listeners += 1
        try:
            async for event in self._events(tank, goes_on):
                yield event
        finally:
            self.listeners -= 1

    async def _events(self, tank: str | None, goes_on: Callable[[], bool]) -> AsyncIterator[str]:
        last, beat_s, day_s = None, time.monotonic(), time.monotonic()
        while goes_on():
            news = await self.now(tank)
            now_s = time.monotonic()
            if news != last:
                last, beat_s = news, now_s
                yield _event("now", asdict(news))
            if tank is not None and now_s - day_s > _DAY_EVERY_S:
                day_s = now_s
                with suppress(JournalError):  # what is new says so
                    yield _event("day", {"day": await self.day(tank)})
            if now_s - beat_s > _BEAT_S:
                beat_s = now_s
                yield _event("beat", {})
            await asyncio.sleep(LOOK_EVERY_S)


def _event(name: str, data: dict[str, str]) -> str:
    return f"event: {name}\ndata: {json.dumps(data)}\n\n"

"""Messages that the client has not got yet, so that news need not wait behind what was so before.

After a connection a hub is told of every entity and state: with many tanks that takes a while.
"""

from collections import deque

from afterfill.sinks.mqtt.messages import Message


class Outbox:
    """Two queues that take turns: `news`, and what was there already, by topic."""

    def __init__(self) -> None:
        self._news: deque[Message] = deque()
        self._before: dict[str, Message] = {}
        self._turn = False

    def __len__(self) -> int:
        """How many wait in all."""
        return len(self._news) + len(self._before)

    @property
    def has_news(self) -> bool:
        """Whether any news waits."""
        return bool(self._news)

    def news(self, message: Message) -> None:
        """Send it soon. What its topic held before is not sent after it."""
        self._before.pop(message.topic, None)
        self._news.append(message)

    def before(self, message: Message) -> None:
        """Send what was there already, in this order."""
        self._before.pop(message.topic, None)
        self._before[message.topic] = message

    def take(self) -> Message:
        """The next. Raises IndexError when none waits."""
        self._turn = not self._turn
        if self._before and (self._turn or not self._news):
            return self._before.pop(next(iter(self._before)))
        return self._news.popleft()

    def clear(self) -> None:
        """Forget all: a new connection tells everything again."""
        self._news.clear()
        self._before.clear()

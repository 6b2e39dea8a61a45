"""Which snapshots are kept: the newest two, and older ones the further apart the older they are.

So a word that is corrected is never much younger than a state from before it, and there are few.
"""

from collections.abc import Sequence

_ALWAYS = 2  # the one before the newest, in case that cannot be read back
_APART = 0.25  # of the age: folding goes back a quarter further than it must; our judgement


def superfluous(numbers: Sequence[int]) -> list[int]:
    """Of the numbers of a tank's snapshots, newest first, those that may go: what lies between two
    that are near enough to each other. The oldest stays."""
    gone = list[int]()
    kept = numbers[min(_ALWAYS, len(numbers)) - 1] if numbers else 0
    for number, older in zip(numbers[_ALWAYS:], numbers[_ALWAYS + 1 :], strict=False):
        if kept - older <= _APART * (numbers[0] - kept):
            gone.append(number)
        else:
            kept = number
    return gone

"""How many commands are looked at: a few at once, then one a second; the others are counted."""

from dataclasses import dataclass

AT_ONCE = 30  # more than a room's alarms acknowledged by one press of a button (our judgement)
PER_S = 1.0
_TELL_EVERY_S = 5.0


@dataclass
class Allowance:
    """Times are monotonic seconds."""

    left: float = AT_ONCE
    at_s: float = 0.0
    refused: int = 0
    told_s: float = float("-inf")

    def take(self, now_s: float) -> bool:
        """Whether one more command may be looked at; counted as refused if not."""
        self.left = min(AT_ONCE, self.left + PER_S * (now_s - self.at_s))
        self.at_s = now_s
        if self.left < 1.0:
            self.refused += 1
            return False
        self.left -= 1.0
        return True

    def to_tell(self, now_s: float) -> int:
        """How many were refused since this was last told; 0 while it was told just now."""
        if now_s - self.told_s < _TELL_EVERY_S or not self.refused:
            return 0
        told, self.refused, self.told_s = self.refused, 0, now_s
        return told


def flood_answer(refused: int) -> dict[str, object]:
    """The one answer to all of them."""
    noun = "command was" if refused == 1 else "commands were"
    return {
        "ok": False,
        "command": "",
        "error": f"{refused} {noun} not obeyed, since too many came: at most {AT_ONCE} at once "
        f"and {PER_S:g} a second; send what still matters again",
    }

"""One row of the fault table."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """A fault, how it was made and how often, what it lost and doubled, and how the person was
    told; `told` is empty when no one was."""

    fault: str
    how: str
    times: int
    lost: int
    doubled: int
    told: str

    @property
    def is_sound(self) -> bool:
        """Nothing lost, nothing doubled, and told."""
        return (self.lost, self.doubled) == (0, 0) and bool(self.told) and self.times > 0


def told(*ways: tuple[str, object]) -> str:
    """The ways in which the person was told; empty when one of them was not gone."""
    return ", ".join(way for way, gone in ways) if all(gone for _, gone in ways) else ""

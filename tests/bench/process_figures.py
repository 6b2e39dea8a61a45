"""What a process has taken so far, as the kernel counts it in /proc."""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Self

_TICKS = os.sysconf("SC_CLK_TCK")


@dataclass(frozen=True, slots=True)
class Taken:
    """`cpu_s`: user and system time [s]; `written_bytes`: pages made dirty for a disk;
    `write_calls`: calls of write and its like, pipes and lines included (send is none)."""

    cpu_s: float = 0.0
    written_bytes: int = 0
    write_calls: int = 0

    @classmethod
    def by(cls, pid: int) -> Self:
        """What the process has taken since it began."""
        return cls(cpu_s(pid), number(pid, "io", "write_bytes"), number(pid, "io", "syscw"))

    def since(self, before: "Taken") -> "Taken":
        """What was taken since `before`."""
        return Taken(
            self.cpu_s - before.cpu_s,
            self.written_bytes - before.written_bytes,
            self.write_calls - before.write_calls,
        )

    def and_by(self, other: "Taken") -> "Taken":
        """What both took."""
        return Taken(
            self.cpu_s + other.cpu_s,
            self.written_bytes + other.written_bytes,
            self.write_calls + other.write_calls,
        )


def cpu_s(pid: int) -> float:
    """User and system time of a process [s]."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / _TICKS


def resident_mb(pid: int) -> float:
    """Resident memory [MB], what is shared with others included."""
    return number(pid, "status", "VmRSS") * 1024 / 1e6


def own_share_mb(pid: int) -> float:
    """Resident memory [MB], of pages shared with other processes only this one's share: the sum
    over processes is what the machine holds for them."""
    return number(pid, "smaps_rollup", "Pss") * 1024 / 1e6


def number(pid: int, file: str, name: str) -> int:
    """The number that stands beside `name` in a file of /proc/PID."""
    lines = Path(f"/proc/{pid}/{file}").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(f"{name}:"))

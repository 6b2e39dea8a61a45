"""What the service can find out about the machine under it: disk, clock, power and delivery."""

import shutil
from collections.abc import Callable, Mapping
from pathlib import Path

from afterfill.journal.check import met_damaged, met_sentence
from afterfill.records import MachineState, Stamp
from afterfill.sinks.health import SinkHealth

# Bits 0 and 16 of the firmware's answer: under-voltage now, and since the boot (the kernel's
# commit "bcm2835: Add GET_THROTTLED firmware property", S. Wahren 2018; read). The file is that
# of the kernel's driver, from memory.
THROTTLED = Path("/sys/devices/platform/soc/soc:firmware/get_throttled")
_LOW_NOW, _LOW_SINCE_BOOT = 1 << 0, 1 << 16
_TIME_DAEMON = Path("/run/systemd/timesync")  # where none runs, it cannot be told
_RESERVE_MB, _GROWTH_MB = 100.0, 400.0  # other logs; months of a journal: our judgement
_AHEAD_S = 60.0  # a clock set back by less is worked off within the hour
_STALLED_S = 600.0  # sinks confirm something each minute or so


class Machine:
    """Asked by the core once a minute; the first answers are told at once."""

    def __init__(
        self,
        tank: str,
        journal_path: Path,
        max_mb: float,
        sinks: Mapping[str, Callable[[], SinkHealth]],
        damage: str = "",
        throttled: Path = THROTTLED,
        time_daemon: Path = _TIME_DAEMON,
    ) -> None:
        """`tank`: with which it is told; `max_mb`: the journal's own bound [MB]; `damage`: what
        is to be told of a damaged journal, once."""
        self._tank = tank
        self._journal_path = journal_path
        self._max_mb = max_mb
        self._sinks = sinks
        self._damage_said = damage
        self._damage_fresh = bool(damage)
        self._damaged_rows = 0
        self._throttled = throttled
        self._time_daemon = time_daemon

    def states(self, stamp: Stamp, ahead_s: float = 0.0) -> list[MachineState]:
        """All conditions at `stamp`; `ahead_s`: by how much [s] the journal's newest records are
        dated ahead of the clock."""
        delivery, storage = self._delivery(), self._storage()
        clock, power = self._clock(stamp, ahead_s), self._power()
        return [
            MachineState(stamp.time_s, self._tank, "delivery-stalled", *delivery),
            MachineState(stamp.time_s, self._tank, "journal-damaged", *self._damage()),
            MachineState(stamp.time_s, self._tank, "storage-low", *storage),
            MachineState(stamp.time_s, self._tank, "clock-unsure", *clock),
            MachineState(stamp.time_s, self._tank, "power-low", *power),
        ]

    def _delivery(self) -> tuple[bool | None, str]:
        late = []
        for name, health_of in self._sinks.items():
            health = health_of()
            if not health.up and (health.age_s is None or health.age_s > _STALLED_S):
                late.append(f"{name}: {health.detail or 'nothing is confirmed'}")
        return bool(late), "; ".join(late) or "what is configured delivers"

    def _damage(self) -> tuple[bool | None, str]:
        """It holds once: the new journal is sound, and rows that were met and skipped are told when
        there are more of them. The alarm latches until it is acknowledged."""
        met, fresh = met_damaged(self._journal_path), self._damage_fresh
        if met > self._damaged_rows and not fresh:
            self._damaged_rows = met
            return True, met_sentence(met)
        self._damage_fresh = False
        return fresh, self._damage_said or "the journal was sound when the service started"

    def _storage(self) -> tuple[bool | None, str]:
        try:
            free_mb = shutil.disk_usage(self._journal_path.parent).free / 1e6
            kept_mb = self._journal_path.stat().st_size / 1e6
        except OSError as error:
            return None, f"the disk cannot be asked ({error.strerror})"
        growth_mb = min(max(self._max_mb - kept_mb, 0.0), _GROWTH_MB)
        return free_mb < _RESERVE_MB + growth_mb, f"{free_mb:.0f} MB are free beside the journal"

    def _clock(self, stamp: Stamp, ahead_s: float) -> tuple[bool | None, str]:
        if ahead_s > _AHEAD_S:
            return True, (
                f"the journal's newest records are dated {ahead_s / 60.0:.0f} min ahead of the "
                "clock: it was wrong when they were written, or is wrong now"
            )
        if stamp.synchronised:
            return False, "set by the time daemon"
        if not self._time_daemon.exists():
            return None, "no time daemon is known here, so this cannot be told"
        return True, "the time daemon has not set the clock since this boot"

    def _power(self) -> tuple[bool | None, str]:
        try:
            bits = int(self._throttled.read_text().strip(), 16)
        except (OSError, ValueError):
            return None, "this machine does not say"
        if bits & _LOW_NOW:
            return True, "the supply voltage is too low now"
        if bits & _LOW_SINCE_BOOT:
            return True, "the supply voltage was too low since the start"
        return False, "the supply voltage has held since the start"

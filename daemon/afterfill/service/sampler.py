"""One port and its probes: what is due is read, and a lost port is found again by back-off."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass

from afterfill.back_off import BackOff
from afterfill.errors import DeviceUnavailable
from afterfill.ports import ProbePort, Sample
from afterfill.records import QUANTITIES, Health, Reading, Stamp
from afterfill.service.driver_registry import PortPlan, open_port

_log = logging.getLogger(__name__)
_PAUSES_S = (1.0, 30.0)
_LOOK_EVERY_S = 1.0  # at a probe that speaks by itself, once its next reading is due


@dataclass
class _Course:
    """How one probe has done: monotonic times [s] and a count of unusable readings."""

    due_s: float = 0.0
    valid_s: float | None = None
    errors: int = 0
    detail: str = "not read yet"


class Sampler:
    """Owns a port. All times are the stamp's monotonic seconds; one thread only."""

    def __init__(self, plan: PortPlan) -> None:
        self._plan = plan
        self._port: ProbePort = open_port(plan)
        self._is_open = False
        self._lost = ""
        self._pauses = BackOff(*_PAUSES_S)
        self._retry_s = 0.0
        self._courses = {probe.name: _Course() for probe in plan.probes}

    @property
    def device(self) -> str:
        """The path of the port."""
        return self._plan.device

    def next_due_s(self) -> float:
        """Monotonic time at which the next probe is to be read."""
        return min(course.due_s for course in self._courses.values())

    def read_due(self, stamp: Stamp) -> list[Reading]:
        """Read every probe whose time has come, in the order of QUANTITIES.

        A port that is lost gives `port-lost` readings until it is found again. A probe that has
        nothing new to say yet gives none, and is due again soon.
        """
        now_s = stamp.monotonic_s
        due = [name for name, course in self._courses.items() if course.due_s <= now_s]
        for name in due:
            self._schedule(name, now_s)
        samples = self._samples(due, now_s)
        for name in set(due) - {sample.probe for sample in samples}:
            self._courses[name].due_s = now_s + min(_LOOK_EVERY_S, self._plan.every_s[name])
        for sample in samples:
            self._note(sample, now_s)
        return self._readings(samples, stamp)

    def health(self, stamp: Stamp) -> list[Health]:
        """How each probe is doing."""
        return [self._health_of(name, course, stamp) for name, course in self._courses.items()]

    def close(self) -> None:
        """Let go of the port."""
        self._is_open = False
        self._port.close()

    def _schedule(self, name: str, now_s: float) -> None:
        """The next time on this probe's grid; after a delay what was missed is not made up for."""
        course, every_s = self._courses[name], self._plan.every_s[name]
        begin_s = course.due_s if course.due_s > 0.0 else now_s
        course.due_s = max(begin_s + every_s, now_s + 0.5 * every_s)

    def _samples(self, due: Sequence[str], now_s: float) -> list[Sample]:
        if not self._ready(now_s):
            return [Sample(name, None, "port-lost") for name in due]
        try:
            return self._port.read(due)
        except DeviceUnavailable as error:
            self._note_lost(str(error), now_s)
            return [Sample(name, None, "port-lost") for name in due]

    def _ready(self, now_s: float) -> bool:
        if self._is_open or now_s < self._retry_s:
            return self._is_open
        try:
            self._port.open()
        except DeviceUnavailable as error:
            self._note_lost(str(error), now_s)
            return False
        self._is_open = True
        self._pauses.worked()
        if self._lost:
            _log.warning("port %s is back", self._plan.device)
            self._lost = ""
        return True

    def _note_lost(self, sentence: str, now_s: float) -> None:
        self.close()
        if not self._lost:
            _log.warning("%s; trying again", sentence)
        self._lost = sentence
        self._retry_s = now_s + self._pauses.failed()

    def _note(self, sample: Sample, now_s: float) -> None:
        course = self._courses[sample.probe]
        if sample.value is not None:
            course.valid_s, course.detail = now_s, ""
            return
        course.errors += 1
        course.detail = self._lost or str(sample.invalid)

    def _readings(self, samples: Sequence[Sample], stamp: Stamp) -> list[Reading]:
        quantity = {probe.name: probe.quantity for probe in self._plan.probes}
        ordered = sorted(samples, key=lambda s: QUANTITIES.index(quantity[s.probe]))
        return [
            Reading(
                time_s=stamp.time_s,
                tank=self._plan.tank[sample.probe],
                quantity=quantity[sample.probe],
                value=self._corrected(sample),
                probe=sample.probe,
                invalid=sample.invalid,
                raw=sample.raw.hex(" ") if sample.invalid else "",
            )
            for sample in ordered
        ]

    def _corrected(self, sample: Sample) -> float | None:
        if sample.value is None:
            return None
        return round(sample.value + self._plan.offset[sample.probe], 6)

    def _health_of(self, name: str, course: _Course, stamp: Stamp) -> Health:
        age_s = None if course.valid_s is None else round(stamp.monotonic_s - course.valid_s, 1)
        up = age_s is not None and age_s <= 5.0 * self._plan.every_s[name]
        return Health(
            stamp.time_s, self._plan.tank[name], f"probe {name}", up, age_s, course.errors,
            course.detail,
        )  # fmt: skip

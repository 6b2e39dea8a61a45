"""Takes readings from what other devices publish: each message once, and none that is old."""

import time
from collections.abc import Sequence
from dataclasses import dataclass

from afterfill.ports import Feed, Heard, ProbeSpec, Sample

from .payloads import RAW, found, judge
from .settings import MqttSettings


def settings_of(probe: ProbeSpec) -> MqttSettings:
    """The probe's settings as the model they were validated by."""
    assert isinstance(probe.settings, MqttSettings)
    return probe.settings


@dataclass
class _Course:
    """The last message that was used, what its counter said, and since when there is silence."""

    number: int = 0
    counter: str | None = None
    since_s: float = 0.0


class MqttPort:
    """The devices' topics on one broker: made -> open -> read -> close.

    A probe that has nothing new to say gives no sample, until it has been silent for too long.
    """

    def __init__(self, feed: Feed, probes: Sequence[ProbeSpec]) -> None:
        self._feed = feed
        self._probes = {probe.name: probe for probe in probes}
        self._courses = {probe.name: _Course() for probe in probes}

    def open(self) -> None:
        """Connect and ask for the topics; see Feed."""
        tables = [settings_of(probe) for probe in self._probes.values()]
        topics = [it.topic for it in tables]
        topics += [it.availability_topic for it in tables if it.availability_topic is not None]
        self._feed.open(sorted(set(topics)))
        for course in self._courses.values():
            course.number, course.since_s = 0, time.monotonic()

    def close(self) -> None:
        """Leave the broker."""
        self._feed.close()

    def read(self, due: Sequence[str]) -> list[Sample]:
        """A sample for each probe in `due` whose device has said something, or is silent."""
        samples = [self._sample(self._probes[name], self._courses[name]) for name in due]
        return [sample for sample in samples if sample is not None]

    def _sample(self, probe: ProbeSpec, course: _Course) -> Sample | None:
        settings, now_s = settings_of(probe), time.monotonic()
        heard = self._feed.newest(settings.topic)
        is_new = heard is not None and heard.number != course.number and not heard.kept
        if heard is not None:
            course.number = heard.number
        away = self._away(settings)
        if away is not None:  # also what it said a moment ago is not believed
            return Sample(probe.name, None, "no-answer", away)
        if heard is not None and is_new and _is_another(heard, course, settings):
            course.since_s = heard.at_s
            if now_s - heard.at_s <= settings.max_age_s:
                return judge(heard.payload, probe, settings)
        if now_s - course.since_s > settings.max_age_s:
            return Sample(probe.name, None, "no-answer")
        return None

    def _away(self, settings: MqttSettings) -> bytes | None:
        """What is said of a device that is not there; None when it is, or nothing was said yet."""
        if settings.availability_topic is None:
            return None
        heard = self._feed.newest(settings.availability_topic)
        if heard is None or heard.payload.strip() == settings.available.encode():
            return None
        return heard.payload[:RAW]


def _is_another(heard: Heard, course: _Course, settings: MqttSettings) -> bool:
    """Whether this is another measurement than the last, as far as the device tells them apart. A
    message without its counter is looked at: it says what is wrong."""
    if settings.counter is None:
        return True
    try:
        counter = repr(found(heard.payload, settings.counter))
    except (ValueError, RecursionError):
        return True
    known, course.counter = course.counter, counter
    return counter != known

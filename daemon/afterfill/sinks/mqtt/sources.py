"""What services of one house tell each other of a tap: one kept message for each source.

A word of another service goes into the inbox as what it is, a record with that service's name. Only
what a test or a refill taught here is told, so what was heard is never said again: no loop.
"""

import math
from dataclasses import replace
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from afterfill.config import Config
from afterfill.errors import PayloadError
from afterfill.journal.store import Journal
from afterfill.plausible import TAP_MG_L
from afterfill.records import SourceLearnt, Stamp
from afterfill.sentences import first_sentence, known_keys
from afterfill.sinks.mqtt.messages import Message
from afterfill.wire import rfc3339, to_line, unix_s

MAX_BYTES = 1000  # such a word has about 300
SETTLES_S = 2.0  # by then a broker has said what it keeps
_MOST = 10_000  # words at once: a test told to each of a thousand tanks is a tenth of that
_RECENT = 20  # words of a tank; what is older is not new to others
_OLD_S = 2 * 365.25 * 86_400.0  # a tap of that long ago is as good as not known
_FACTOR = 4.0  # a tap is not believed farther off its configuration on another's word alone
_LEAST_SD = 0.1  # nor better known than from three tests of its own


class _Word(BaseModel):
    """As it stands on the broker. Keys of a newer version are passed over."""

    model_config = ConfigDict(frozen=True, allow_inf_nan=False)

    log_mean: float = Field(ge=-10, le=5)
    log_sd: float = Field(gt=0, le=5)
    breakthrough: float = Field(ge=0, le=1)
    taught: int = Field(ge=0, le=1_000_000)
    disinfectant: str = Field(default="unknown", max_length=20)
    tested_as: Literal["chlorine", "chloramine", "unknown", ""] = ""
    changed: bool = False
    litres: float = Field(default=0.0, ge=0)
    litres_tested: float = Field(default=0.0, ge=0)
    learnt: str = Field(max_length=40)
    service: str = Field(min_length=1, max_length=100)


def belief_topic(base: str, source: str) -> str:
    """Where the newest that any service of the base has learnt of a source is kept."""
    return f"{base}/source/{source}/belief"


def source_of(base: str, topic: str) -> str | None:
    """The source of such a topic; None of any other."""
    head, tail = f"{base}/source/", "/belief"
    name = topic.removeprefix(head).removesuffix(tail)
    return name if topic == f"{head}{name}{tail}" and "/" not in name else None


def belief_message(config: Config, base: str, learnt: SourceLearnt, service: str) -> Message:
    """What this service has learnt of a source, for the others."""
    word = {
        "source": learnt.source,
        "residual_mg_l": float(f"{math.exp(learnt.log_mean):.4g}"),
        "log_mean": learnt.log_mean, "log_sd": learnt.log_sd,
        "breakthrough": learnt.breakthrough, "taught": learnt.taught,
        "disinfectant": config.source[learnt.source].disinfectant,
        "litres": learnt.litres, "litres_tested": learnt.litres_tested,
        "tested_as": learnt.disinfectant, "changed": learnt.changed,
        "learnt": rfc3339(_age(learnt)[0]), "service": service,
    }  # fmt: skip
    return Message(belief_topic(base, learnt.source), to_line(word), retain=True)


_Age = tuple[float, float]


class SharedSources:
    """What one session with the broker has told and heard of the sources of `config`."""

    def __init__(self, config: Config, base: str, service: str) -> None:
        self._config, self._base, self._service = config, base, service
        self._learnt: dict[str, SourceLearnt] = {}  # here, the newest of each
        self._known: dict[str, _Age] = {}  # how new what the broker keeps of it is
        self._heard: dict[str, SourceLearnt] = {}  # what the core has already
        self._from_s = math.inf
        self._position = 0  # in the journal: all up to here is noted

    def begin(self, journal: Journal, monotonic_s: float) -> None:
        """A connection begins: what the broker keeps may be newer than what was learnt here."""
        self._learnt, self._known, self._heard = {}, {}, {}
        self._from_s, self._position = monotonic_s + SETTLES_S, journal.last_seq()
        for tank in self._config.tank:
            for entry in reversed(journal.latest("source-learnt", tank, _RECENT)):
                if isinstance(entry.record, SourceLearnt):
                    self.note(entry.record)

    def note(self, learnt: SourceLearnt) -> None:
        """Something was learnt here, or heard from another service, which is not told again."""
        if learnt.source not in self._config.source:
            return
        if learnt.told_by:
            self._heard[learnt.source] = learnt
            return
        known = self._learnt.get(learnt.source)
        if known is None or _age(learnt) > _age(known):
            self._learnt[learnt.source] = learnt

    def due(self, journal: Journal, monotonic_s: float) -> list[Message]:
        """What was learnt here and is newer than what the broker keeps, once it has said so. It is
        read past all else that waits to be told: others may be about to pour."""
        self._follow(journal)
        if monotonic_s < self._from_s:
            return []
        news = [it for it in self._learnt.values() if self._is_newer(it)]
        self._known.update((it.source, _age(it)) for it in news)
        return [belief_message(self._config, self._base, it, self._service) for it in news]

    def _follow(self, journal: Journal) -> None:
        until = journal.last_seq()
        if until <= self._position:
            return
        kinds = ("source-learnt",)
        for entry in journal.entries(self._position, until=until, kinds=kinds, limit=_MOST):
            if isinstance(entry.record, SourceLearnt):
                self.note(entry.record)
        self._position = until

    def heard(self, source: str, payload: bytes, now_s: float) -> list[SourceLearnt]:
        """What is new in a word on `source`, for each tank. Raises PayloadError."""
        words = heard(self._config, source, payload, self._service, now_s)
        if not words or not self._is_newer(words[0]):
            return []
        self._known[source] = _age(words[0])
        before = self._heard.get(source)  # kept words come again at each connection
        self._heard[source] = words[0]
        return [] if before is not None and _is_same(before, words[0]) else words

    def left_for_the_core(
        self, journal: Journal, source: str, payload: bytes, stamp: Stamp
    ) -> str | None:
        """Leave what is new in a word for the core; a sentence when it is not believed."""
        try:
            words = self.heard(source, payload, stamp.time_s)
        except PayloadError as error:
            return f"a word on source '{source}' is not believed: {error}"
        for word in words:
            journal.submit(word, stamp)
        return None

    def _is_newer(self, word: SourceLearnt) -> bool:
        return word.source not in self._known or _age(word) > self._known[word.source]


def _age(word: SourceLearnt) -> _Age:
    """When it was learnt, or known after a word was taken back, and how much had passed the
    cartridge: each only grows."""
    return max(word.learnt_s, word.time_s) if word.corrected else word.learnt_s, word.litres


def _is_same(one: SourceLearnt, other: SourceLearnt) -> bool:
    """Whether two words say the same, whatever the clocks and the tanks."""
    return replace(one, time_s=other.time_s, learnt_s=other.learnt_s, tank=other.tank) == other


def heard(
    config: Config, source: str, payload: bytes, service: str, now_s: float
) -> list[SourceLearnt]:
    """Another service's word on a source, bounded, for each tank of this one; none when it is this
    service's own, too old, or of a source that is not known here.

    Raises PayloadError when it is no such word, or of water of another kind.
    """
    word, table = _word(payload), config.source.get(source)
    if table is None or word.service == service:
        return []
    kinds = {word.disinfectant, table.disinfectant}
    if len(kinds - {"unknown"}) > 1:
        raise PayloadError(
            f"{word.service} holds '{source}' for {word.disinfectant}, this service for "
            f"{table.disinfectant}; give two taps two names, or mend the one that is wrong"
        )
    learnt_s = min(unix_s(word.learnt), now_s)
    if now_s - learnt_s > _OLD_S:
        return []
    learnt = SourceLearnt(
        now_s, "", source, _bounded(word.log_mean, table.residual_mg_l),
        max(word.log_sd, _LEAST_SD), learnt_s, word.taught, word.breakthrough, word.service,
        litres=word.litres, litres_tested=word.litres_tested, disinfectant=word.tested_as,
        changed=word.changed,
    )  # fmt: skip
    return [replace(learnt, tank=tank) for tank in config.tank]


def told_by(payload: bytes) -> str | None:
    """The service whose word this is; None when it is none."""
    try:
        return _word(payload).service
    except PayloadError:
        return None


def _bounded(log_mean: float, configured_mg_l: float) -> float:
    """A source that is configured to hold nothing is bounded by what taps may hold."""
    low_mg_l, high_mg_l = configured_mg_l / _FACTOR, configured_mg_l * _FACTOR
    if configured_mg_l <= 0.0:
        low_mg_l, high_mg_l = TAP_MG_L
    return min(max(log_mean, math.log(low_mg_l)), math.log(high_mg_l))


def _word(payload: bytes) -> _Word:
    if len(payload) > MAX_BYTES:
        raise PayloadError(f"more than {MAX_BYTES} bytes, which no word on a source needs")
    try:
        return _Word.model_validate_json(payload)
    except ValidationError as error:
        raise PayloadError(first_sentence(error, "source belief", known_keys(_Word))) from error

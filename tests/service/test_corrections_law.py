"""Whatever is said, however often it is said otherwise, and whenever the service is killed: what is
believed in the end is what the right words alone lead to."""

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from afterfill.journal.store import Journal
from afterfill.record_kinds import KIND_OF
from afterfill.records import (
    Correction,
    Dose,
    Input,
    KitResult,
    Reading,
    Record,
    Refill,
    Service,
    SourceTest,
    Stock,
    Word,
)
from afterfill.service.recorder import Recorder
from afterfill.tank_snapshot import to_bytes
from corrected_tank import corrected, stamp, submitted, taken_up
from tank_stories import ZERO_S, config_of, pour, raw, story

_MINUTES = 90
_READINGS = story(_MINUTES / 60, [pour(0.6, 0.25, raw("chloramine", 2.0))], every_s=60.0)
litres, ml = st.sampled_from([2.0, 25.0, 60.0]), st.sampled_from([0.0, 2.0, 40.0])
mg_l = st.sampled_from([0.0, 0.5, 2.0, 4.0])
words: st.SearchStrategy[list[Word]] = st.one_of(
    *(
        st.lists(one, min_size=2, max_size=3)
        for one in (
            st.builds(
                Refill, st.just(0.0), st.just("t"), st.sampled_from(["replace", "add"]),
                st.none() | litres, st.just(10.0), st.none() | ml,
            ),
            st.builds(KitResult, st.just(0.0), st.just("t"), st.none() | mg_l, mg_l),
            st.builds(Dose, st.just(0.0), st.just("t"), ml),
            st.builds(Service, st.just(0.0), st.just("t"), st.sampled_from(["probe", "feeding"])),
            st.builds(SourceTest, st.just(0.0), st.just("t"), st.none(), mg_l),
            st.builds(
                Stock, st.just(0.0), st.just("t"), st.just("counted"),
                st.sampled_from([50.0, 500.0]),
            ),
        )
    )
)  # fmt: skip


@dataclass(frozen=True)
class Saying:
    """What is said at a minute, then said otherwise; in the end taken back, if `gone`."""

    minute: int
    said: list[Word]
    later: int
    gone: bool

    def at(self, number: int) -> float:
        """When the saying with this place is said [s]."""
        return ZERO_S + 60.0 * self.minute + 10.0 + number

    @property
    def right(self) -> Word | None:
        """What holds in the end; that a stock is gone is told, so it is never gone here."""
        return None if self.gone and not isinstance(self.said[0], Stock) else self.said[-1]


sayings = st.lists(
    st.builds(Saying, st.integers(5, _MINUTES - 20), words, st.integers(0, 15), st.booleans()),
    min_size=1,
    max_size=3,
)
kills = st.sets(st.integers(1, _MINUTES - 1), max_size=2)


@settings(max_examples=20, deadline=None)
@given(sayings, kills, st.booleans(), st.booleans())
def test_the_right_words_alone_decide(
    said: list[Saying], killed: set[int], half_way: bool, unreadable: bool
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        wrong = _lived(
            Path(folder) / "wrong.db", said, killed, half_way=half_way, unreadable=unreadable
        )
        truly = [replace(saying, said=[it] if (it := saying.right) else []) for saying in said]
        right = _lived(Path(folder) / "right.db", truly, set(), half_way=False, unreadable=False)
    assert wrong == right


def _lived(
    path: Path, said: list[Saying], killed: set[int], *, half_way: bool, unreadable: bool
) -> bytes:
    recorder = Recorder(config_of(), path)
    numbers: dict[int, int] = {}
    for minute in range(_MINUTES):
        _read(recorder, minute)
        for place, saying in enumerate(said):
            if saying.minute == minute and saying.said:
                at_s = saying.at(place)
                word = replace(saying.said[0], time_s=at_s)
                submitted(recorder, path, word, at_s)
                numbers[place] = _newest(path, type(word))
        for place, saying in enumerate(said):
            if len(saying.said) > 1 and minute == saying.minute + saying.later:
                recorder = _corrected(recorder, path, saying, place, numbers[place],
                                      half_way=half_way)  # fmt: skip
        if minute in killed:
            recorder.journal.commit()
            if unreadable:  # the newest snapshot, as after a flipped bit
                recorder.journal._db.execute(
                    "DELETE FROM snapshot WHERE seq = (SELECT max(seq) FROM snapshot)"
                )
            recorder.abandon()
            recorder = Recorder(config_of(), path)
    state = to_bytes(recorder.state("t"))
    recorder.abandon()
    return state


def _read(recorder: Recorder, minute: int) -> None:
    rows: list[Input] = _READINGS[3 * minute : 3 * minute + 3]
    readings = [row for row in rows if isinstance(row, Reading)]
    recorder.readings(readings, stamp(readings[0].time_s))
    recorder.save(stamp(readings[0].time_s))


def _newest(path: Path, record_type: type[Record]) -> int:
    with Journal.open(path, read_only=True) as journal:
        return journal.latest(KIND_OF[record_type], "t")[0].seq


def _corrected(
    recorder: Recorder, path: Path, saying: Saying, place: int, number: int, *, half_way: bool
) -> Recorder:
    """Say it otherwise, each time of what was said last; a kill may come before that is folded."""
    at_s = ZERO_S + 60.0 * (saying.minute + saying.later) + 30.0 + place
    for step, word in enumerate(saying.said[1:]):
        now_s = at_s + 0.01 * step
        instead = replace(word, time_s=saying.at(place))
        if half_way:
            with Journal.open(path) as people:
                people.submit(Correction(now_s, "t", number, instead), stamp(now_s))
            recorder.journal.commit()
            recorder.abandon()
            recorder = Recorder(config_of(), path)
            taken_up(recorder, now_s)
        else:
            corrected(recorder, path, number, instead, now_s)
        number = _newest(path, Correction)
    if saying.right is None:  # all that was said instead, and then the word itself
        for step, top in enumerate([number, *_below(path, number)]):
            corrected(recorder, path, top, None, at_s + 0.1 + 0.01 * step)
    return recorder


def _below(path: Path, number: int) -> list[int]:
    """The entries that entry `number` stands on, down to the word."""
    with Journal.open(path, read_only=True) as journal:
        of = {
            e.seq: e.record.of
            for e in journal.entries(kinds=("correction",), limit=1000)
            if isinstance(e.record, Correction)
        }
    found = list[int]()
    while number in of:
        number = of[number]
        found.append(number)
    return found

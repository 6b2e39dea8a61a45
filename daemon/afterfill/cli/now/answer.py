"""What `afterfill now` answers: words and JSON of one tank, made of the same figures."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.configured import loaded, reading_journal, tanks
from afterfill.cli.console import Line, say, tell
from afterfill.cli.now.learned import Learned, learned_of
from afterfill.cli.now.outlook import TankOutlook, outlook_of
from afterfill.cli.now.ready import Ready, ready_of
from afterfill.cli.source import Sourced, sources_of
from afterfill.cli.spread import spread
from afterfill.cli.standing import WORDS, Stands, stands
from afterfill.cli.times import age, ahead_words, moment
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.planning.shown import Shown
from afterfill.service.liveness import Liveness, liveness
from afterfill.service.restore import restored
from afterfill.tank_bottle import BottleNow, bottle_now
from afterfill.tank_setup import tank_setup
from afterfill.wire import rfc3339, to_published

_COLOURS = {"safe": "green", "not-safe": "red", "cannot-tell": "yellow", "learning": "cyan"}
_FAR_ABOVE = 2.0  # times the limit: worth a word
_OLD_S = 120.0  # an estimate that is older is called the last known one


@dataclass(frozen=True, slots=True)
class Now:
    """How a tank stands at `now_s` [Unix s], what is to come, its bottle of neutraliser (None: not
    known which), and what was learnt, if asked."""

    stands: Stands
    outlook: TankOutlook
    bottle: BottleNow | None
    learned: Learned | None
    sources: list[Sourced]
    ready: Ready
    now_s: float
    shown: Shown

    def words(self) -> Iterator[str | Line]:
        """The answer first, then the figures."""
        it = self.stands
        yield Line(_headline(it, self.now_s), _COLOURS[it.word])
        yield from _alarm_lines(it, self.shown)
        yield from _estimate_lines(it, self.now_s)
        yield from _verdict_lines(it, self.now_s)
        yield from self.ready.words()
        yield f"  newest readings   {_read_words(it) or 'nothing usable has been read'}"
        if it.ahead_s:
            yield f"  clock             {ahead_words(it.ahead_s)}"
        yield from self.outlook.words(self.now_s)
        for source in self.sources:
            yield from source.words()
        if self.bottle is not None and self.bottle.is_kept:
            low = "LOW: " if self.bottle.low else ""
            yield f"  bottle            {low}{self.bottle.words()}"
        if self.learned is not None:
            yield from self.learned.words()

    def wire(self) -> dict[str, Any]:
        """The JSON object."""
        more: dict[str, Any] = {} if self.learned is None else {"learned": self.learned.wire()}
        return {
            **_wire(self.stands, self.now_s),
            "outlook": self.outlook.wire(),
            "bottle": None if self.bottle is None else self.bottle.wire(),
            "refill_ready": self.ready.wire(),
            "sources": [it.wire() for it in self.sources],
            **more,
        }


def all_safe(tank: str | None, config: Path | None, *, learned: bool, as_json: bool) -> bool:
    """Print how the tank stands, or all of them; whether each is safe."""
    settings = loaded(config)
    names = tanks(settings, tank)
    with reading_journal(settings.journal.path) as journal:
        live = liveness(settings.journal.path)
        found = [_now(journal, settings, name, live, learned=learned) for name in names]
    for number, it in enumerate(found):
        if number and not as_json:
            say("")
        tell(it.words(), it.wire(), as_json=as_json)
    return all(it.stands.word == "safe" for it in found)


def _now(journal: Journal, config: Config, tank: str, live: Liveness, *, learned: bool) -> Now:
    setup = tank_setup(config, tank)
    state, at_s = restored(journal, setup)
    it = stands(journal, config, tank, live)
    return Now(
        it,
        outlook_of(setup, state.belief, at_s),
        bottle_now(setup, state.stock, live.now.time_s),
        learned_of(state.belief) if learned else None,
        list(sources_of(journal, tank, [*config.source], live).values()),
        ready_of(journal, it),
        live.now.time_s,
        setup.shown,
    )


def _headline(it: Stands, now_s: float) -> str:
    since = ""
    if it.since_s is not None and it.since_age_s is not None:
        since = f", since {moment(it.since_s, now_s)} ({age(it.since_age_s)})"
    return f"{it.tank}: {WORDS[it.word]}{since}" + (f": {it.why}" if it.why else "")


def _wire(it: Stands, now_s: float) -> dict[str, Any]:
    estimate = None if it.estimate is None else to_published(it.estimate)
    return {
        "kind": "now",
        "time": rfc3339(now_s),
        "tank": it.tank,
        "state": it.word,
        "why": it.why or None,
        "since": None if it.since_s is None else rfc3339(it.since_s),
        "since_age_s": None if it.since_age_s is None else round(it.since_age_s, 1),
        "reading_age_s": None if it.age_s is None else round(it.age_s, 1),
        "reading_ages_s": {quantity: round(old_s, 1) for quantity, old_s in it.ages_s.items()},
        "service_running": it.runs,
        "journal_ahead_s": round(it.ahead_s, 1),
        "limit_mg_l": it.limit_mg_l,
        "free_ammonia_limit_mg_l": it.ammonia_limit_mg_l,
        "estimate": estimate,
        "alarms": [
            {**to_published(alarm), "action": DEFINITIONS[alarm.alarm].action}
            for alarm in it.alarms
        ],
        "verdict": None if it.verdict is None else to_published(it.verdict),
    }


def _read_words(it: Stands) -> str:
    """``orp 100 s ago; ph, temperature 4 s ago``."""
    by_age: dict[str, list[str]] = {}
    for quantity, old_s in it.ages_s.items():
        by_age.setdefault(age(old_s), []).append(quantity)
    return "; ".join(f"{', '.join(names)} {old} ago" for old, names in by_age.items())


def _alarm_lines(it: Stands, shown: Shown) -> Iterator[str]:
    for alarm in it.alarms:
        message = shown.text(alarm.message)
        yield f"  ALARM {alarm.alarm} ({alarm.priority}, {alarm.state}): {message}"
        steps = DEFINITIONS[alarm.alarm].steps
        yield f"    do: {steps.sentence(dosed=not alarm.advice)}"
        if alarm.advice:
            yield f"    dose: {shown.text(alarm.advice)}"


def _estimate_lines(it: Stands, now_s: float) -> Iterator[str]:
    if it.estimate is None:
        return
    now = it.estimate
    stale = it.estimate_age_s is None or it.estimate_age_s > _OLD_S
    yield f"  as of {moment(now.time_s, now_s)}" + (" (the last known figures)" if stale else "")
    yield (
        f"  residual          {spread(now.residual_mg_l, digits=3)} mg/L as Cl2, "
        f"limit {it.limit_mg_l:.3g}; over it with probability {now.p_over_limit:.2g}"
    )
    if now.free_ammonia_mg_l is None:
        yield "  un-ionised NH3    not known without pH and temperature"
    else:
        ammonia = spread(now.free_ammonia_mg_l, digits=3)
        yield f"  un-ionised NH3    {ammonia} mg/L as N, limit {it.ammonia_limit_mg_l:.3g}"
    if now.sees:
        floor = now.detection_floor_mg_l
        yield "  sees              " + (
            "how small a residual it would call is not known"
            if floor is None
            else f"a residual of {floor:.2g} mg/L or more would be called now{_beyond(floor, it)}"
        )
    else:
        yield f"  blind             {now.why_blind}"


def _beyond(floor_mg_l: float, it: Stands) -> str:
    """How far what the probe can show lies above the limit, and what is known of the rest."""
    times = floor_mg_l / it.limit_mg_l
    if times < _FAR_ABOVE:
        return ""
    return (
        f", {times:.0f} times the limit; less is judged by what was poured and dosed, and by tests"
    )


def _verdict_lines(it: Stands, now_s: float) -> Iterator[str]:
    if it.verdict is None:
        yield "  last refill       none judged yet"
        return
    verdict = it.verdict
    state = "final" if verdict.final else "still watched"
    yield (
        f"  last refill       {moment(verdict.refill_time_s, now_s)}: {verdict.verdict} "
        f"({state}), probability of carry-over {verdict.probability:.2g}, peak "
        f"{spread(verdict.peak_residual_mg_l, digits=3)} mg/L as Cl2"
    )

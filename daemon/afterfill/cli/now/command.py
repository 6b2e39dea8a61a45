"""`afterfill now`: is it safe, since when, and what is known."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from afterfill.cli.options import (
    ConfigOption,
    JsonOption,
    TankOption,
    loaded,
    reading_journal,
    tanks,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from afterfill.cli.standing import Stands
    from afterfill.records import Quantiles


_COLOURS = {"safe": "green", "not-safe": "red", "cannot-tell": "yellow", "learning": "cyan"}


def now(
    tank: TankOption = None,
    config: ConfigOption = None,
    learned: Annotated[
        bool, typer.Option("--learned", help="Also what was learnt of the ORP probe.")
    ] = False,
    as_json: JsonOption = False,
) -> None:
    """Is the tank safe, as far as the probes can see? Words first, then the figures.

    Residual is the total residual oxidant, free plus combined chlorine, mg/L as Cl2; un-ionised
    ammonia is mg/L as N; intervals hold 90 %. Ends with 1 when a tank is not safe, or the service
    cannot tell, is still learning or does not run. This is no drinking-water instrument, and no
    substitute for a test kit.
    """
    from afterfill.cli.console import say, say_json
    from afterfill.cli.now.outlook import (
        belief_now,
        learned_lines,
        learned_wire,
        outlook_lines,
        outlook_wire,
    )
    from afterfill.cli.standing import stands
    from afterfill.service.liveness import liveness
    from afterfill.tank_setup import tank_setup

    settings, journal_path = loaded(config)
    names = tanks(settings, tank)
    with reading_journal(journal_path) as journal:
        live = liveness(journal_path)
        found = [stands(journal, settings, name, live) for name in names]
        beliefs = [belief_now(journal, tank_setup(settings, name)) for name in names]
    now_s = live.now.time_s
    for number, (it, (belief, at_s)) in enumerate(zip(found, beliefs, strict=True)):
        if as_json:
            more = {"learned": learned_wire(belief)} if learned else {}
            say_json({**_wire(it, now_s), "outlook": outlook_wire(belief, at_s), **more})
            continue
        headline, *rest = _lines(it, now_s)
        rest += outlook_lines(tank_setup(settings, it.tank), belief, at_s, now_s)
        rest += learned_lines(belief) if learned else ()
        if number:
            say("")
        say(headline, _COLOURS[it.word])
        for line in rest:
            say(line)
    if any(it.word != "safe" for it in found):
        raise typer.Exit(1)


def _wire(it: "Stands", now_s: float) -> dict[str, Any]:
    from afterfill.alarms.definitions import DEFINITIONS
    from afterfill.wire import rfc3339, to_published

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


def _lines(it: "Stands", now_s: float) -> "Iterator[str]":
    from afterfill.cli.standing import WORDS
    from afterfill.cli.times import age, ahead_words, moment

    since = ""
    if it.since_s is not None and it.since_age_s is not None:
        since = f", since {moment(it.since_s, now_s)} ({age(it.since_age_s)})"
    why = f": {it.why}" if it.why else ""
    yield f"{it.tank}: {WORDS[it.word]}{since}{why}"
    yield from _alarm_lines(it)
    yield from _estimate_lines(it, now_s)
    yield from _verdict_lines(it, now_s)
    yield f"  newest readings   {_read_words(it) or 'nothing usable has been read'}"
    if it.ahead_s:
        yield f"  clock             {ahead_words(it.ahead_s)}"


def _read_words(it: "Stands") -> str:
    """``orp 100 s ago; ph, temperature 4 s ago``."""
    from afterfill.cli.times import age

    by_age: dict[str, list[str]] = {}
    for quantity, old_s in it.ages_s.items():
        by_age.setdefault(age(old_s), []).append(quantity)
    return "; ".join(f"{', '.join(names)} {old} ago" for old, names in by_age.items())


def _alarm_lines(it: "Stands") -> "Iterator[str]":
    from afterfill.alarms.definitions import DEFINITIONS

    for alarm in it.alarms:
        yield f"  ALARM {alarm.alarm} ({alarm.priority}, {alarm.state}): {alarm.message}"
        yield f"    do: {DEFINITIONS[alarm.alarm].action}"


def _estimate_lines(it: "Stands", now_s: float) -> "Iterator[str]":
    from afterfill.cli.times import moment

    if it.estimate is None:
        return
    now = it.estimate
    stale = it.estimate_age_s is None or it.estimate_age_s > 120
    yield f"  as of {moment(now.time_s, now_s)}" + (" (the last known figures)" if stale else "")
    yield (
        f"  residual          {_spread(now.residual_mg_l)} mg/L as Cl2, limit {it.limit_mg_l:.3g}; "
        f"over it with probability {now.p_over_limit:.2g}"
    )
    if now.free_ammonia_mg_l is None:
        yield "  un-ionised NH3    not known without pH and temperature"
    else:
        ammonia = _spread(now.free_ammonia_mg_l)
        yield f"  un-ionised NH3    {ammonia} mg/L as N, limit {it.ammonia_limit_mg_l:.3g}"
    if now.sees:
        floor = now.detection_floor_mg_l
        yield "  sees              " + (
            "how small a residual it would call is not known"
            if floor is None
            else f"a residual of {floor:.2g} mg/L or more would be called now"
        )
    else:
        yield f"  blind             {now.why_blind}"


def _verdict_lines(it: "Stands", now_s: float) -> "Iterator[str]":
    from afterfill.cli.times import moment

    if it.verdict is None:
        yield "  last refill       none judged yet"
        return
    verdict = it.verdict
    state = "final" if verdict.final else "still watched"
    yield (
        f"  last refill       {moment(verdict.refill_time_s, now_s)}: {verdict.verdict} "
        f"({state}), probability of carry-over {verdict.probability:.2g}, peak "
        f"{_spread(verdict.peak_residual_mg_l)} mg/L as Cl2"
    )


def _spread(quantiles: "Quantiles") -> str:
    low, middle, high = quantiles
    return f"{middle:.3g} ({low:.2g} to {high:.2g})"

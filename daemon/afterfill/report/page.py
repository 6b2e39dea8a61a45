"""The page: everything in one file, that asks no other for anything."""

from datetime import tzinfo

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.figures import figure, interval, span_words
from afterfill.records import KitResult, Quantity, Verdict
from afterfill.report.charts import (
    ammonia_chart,
    nearest_estimate,
    readings_chart,
    residual_chart,
)
from afterfill.report.gathered import Gathered, answers, blind_spans, floors_mg_l, raised
from afterfill.report.markup import Html, joined, table, tag
from afterfill.report.style import STYLE, source_of
from afterfill.report.words import (
    CAUTIONS,
    VERDICT_TITLES,
    Moment,
    done_words,
    evidence_words,
    kit_words,
    meaning,
    moments,
    neutraliser_words,
    per_cent,
    seen_words,
    volume_words,
)
from afterfill.tank_table import TankTable

_QUANTITIES: tuple[Quantity, ...] = ("orp", "ph", "temperature")


def page(
    found: Gathered, told: TankTable, *, zone: tzinfo | None, refill_s: float | None, made_s: float
) -> str:
    """The report as an HTML document. Times on the clock of `zone`; `refill_s` [Unix s]: the
    refill that it is about, None for a period; `made_s` [Unix s]: when it is made."""
    moment = moments(zone)
    what = "a period" if refill_s is None else f"the refill of {moment(refill_s)}"
    title = f"Tank {found.tank}: {what}"
    body = [
        tag("h1", title),
        tag("p", f"{moment(found.from_s)} to {moment(found.to_s)}", class_="soft"),
        *_answers(found, moment, refill_s),
        _section("What was poured", _poured(found, told, moment)),
        _section("What it means for the water", residual_chart(found, told, zone)),
        _section("How the verdict came about", _course(found, told, moment)),
        _section("Ammonia", ammonia_chart(found, told, zone)),
        _section(
            "What the probes saw", *(readings_chart(found, q, told, zone) for q in _QUANTITIES)
        ),
        _section("Alarms", _alarms(found, told, moment)),
        _section("What was done", _done(found, told, moment)),
        _section("Test kits", _kits(found, moment)),
        _section("What the probes could not see", *_unseen(found, moment)),
        _section("Cautions", tag("ul", *(tag("li", c) for c in CAUTIONS), class_="caution")),
        _foot(moment, made_s),
    ]
    html = tag("html", head(title), tag("body", tag("main", *body)), lang="en")
    return f"<!DOCTYPE html>\n{html}\n"


def head(title: str, more_style: str = "") -> Html:
    """The head of a page that loads nothing from elsewhere."""
    return tag(
        "head",
        Html('<meta charset="utf-8">'),
        Html('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        # nothing may be loaded: not by this page, nor by what a person typed into it
        Html(
            '<meta http-equiv="Content-Security-Policy" '
            f"content=\"default-src 'none'; style-src {source_of(STYLE + more_style)}\">"
        ),
        tag("title", title),
        tag("style", Html(STYLE + more_style)),
    )


def _section(title: str, *content: str) -> Html:
    return tag("section", tag("h2", title), *content)


def _empty(words: str) -> Html:
    return tag("p", words, class_="empty")


def _answers(found: Gathered, moment: Moment, refill_s: float | None) -> list[Html]:
    all_ = answers(found)
    about = [v for v in all_ if refill_s is None or v.refill_time_s == refill_s]
    if about:
        return [_answer(verdict, moment) for verdict in about]
    waiting = "No refill was judged in this time." if refill_s is None else "No verdict yet."
    return [tag("div", tag("strong", waiting, class_="word"), class_="verdict cannot-tell")]


def _answer(verdict: Verdict, moment: Moment) -> Html:
    state = "final" if verdict.final else "still watched"
    return tag(
        "div",
        tag("strong", VERDICT_TITLES[verdict.verdict], class_="word"),
        tag("p", meaning(verdict)),
        tag(
            "p",
            f"Refill of {moment(verdict.refill_time_s)}, {state}. Probability that the limit was "
            f"exceeded: {per_cent(verdict.probability)}. Highest residual: "
            f"{interval(verdict.peak_residual_mg_l)} mg/L as Cl2 (median and 90 % interval).",
        ),
        _advice(verdict),
        class_=f"verdict {verdict.verdict}",
    )


def _advice(verdict: Verdict) -> Html:
    if verdict.verdict != "carried-over":
        return Html("")
    action = DEFINITIONS["residual-oxidant"].action
    return tag("p", tag("strong", "What to do when this happens: "), action)


def _poured(found: Gathered, told: TankTable, moment: Moment) -> Html:
    rows = [
        (
            moment(r.time_s),
            volume_words(r, told.shown),
            neutraliser_words(r, told.dose_unit),
            r.source or "the tank's own",
        )
        for r in found.refills
    ]
    rows += [
        (moment(s.time_s), seen_words(s), "not known", "not known")
        for s in found.seen
        if s.origin == "inferred"
    ]
    if not rows:
        return _empty("No refill was announced, and the readings show none.")
    return table(("begun", "water", "neutraliser", "source"), rows)


def _course(found: Gathered, told: TankTable, moment: Moment) -> Html:
    if not found.verdicts:
        return _empty("No refill was judged in this time.")
    limit = f"{told.bounds.residual_oxidant_mg_l:g} mg/L"
    what = (
        f"Carry-over means more disinfectant than the limit of this tank ({limit}). So an ORP that "
        "rises, but by less than that or unlike it, speaks against a carry-over."
    )
    steps = (_step(verdict, moment) for verdict in found.verdicts)
    return joined(tag("p", what, class_="soft"), *steps)


def _step(verdict: Verdict, moment: Moment) -> Html:
    final = ", final" if verdict.final else ""
    head = (
        f"{moment(verdict.time_s)}: {VERDICT_TITLES[verdict.verdict].lower()}{final}, "
        f"{per_cent(verdict.probability)}"
    )
    why = tag("ul", *(tag("li", evidence_words(e)) for e in verdict.evidence))
    return joined(tag("h3", head), why if verdict.evidence else _empty("No reasons were recorded."))


def _alarms(found: Gathered, told: TankTable, moment: Moment) -> Html:
    said = told.shown.text
    rows = [
        (moment(a.time_s), a.alarm, a.priority, a.state.replace("-", " "), said(a.message))
        for a in raised(found.alarms)
    ]
    if not rows:
        return _empty("No alarm was raised.")
    return table(("when", "alarm", "priority", "state", "why"), rows)


def _done(found: Gathered, told: TankTable, moment: Moment) -> Html:
    if not found.done:
        return _empty("Nothing was done that afterfill was told of.")
    rows = [(moment(d.time_s), done_words(d, told.dose_unit)) for d in found.done]
    return table(("when", "what"), rows)


def _kits(found: Gathered, moment: Moment) -> Html:
    if not found.kits:
        return _empty("No test-kit reading was logged. A DPD total-chlorine test tells more.")
    rows = [(moment(k.time_s), kit_words(k), _believed(found, k)) for k in found.kits]
    return table(("when", "the kit showed", "believed then"), rows)


def _believed(found: Gathered, kit: KitResult) -> str:
    then = nearest_estimate(found.estimates, kit.time_s)
    if then is None:
        return "nothing"
    parts = []
    if kit.total_chlorine_mg_l is not None or kit.free_chlorine_mg_l is not None:
        parts.append(f"residual {interval(then.residual_mg_l)} mg/L as Cl2")
    if kit.total_ammonia_mg_l is not None:
        parts.append(f"total ammonia {interval(then.total_ammonia_mg_l)} mg/L as N")
    return "; ".join(parts) or "nothing of this"


def _unseen(found: Gathered, moment: Moment) -> list[Html]:
    if not found.estimates:
        return [_empty("Nothing was estimated in this time: nothing here is an all-clear.")]
    spans, floors = blind_spans(found.estimates), floors_mg_l(found.estimates)
    rows = [(moment(s.from_s), moment(s.to_s), span_words(s.to_s - s.from_s), s.why) for s in spans]
    blind = (
        table(("from", "to", "for", "why"), rows)
        if rows
        else _empty("The ORP probe could see all the time.")
    )
    return [blind, tag("p", _floor_words(floors)), tag("p", _NEVER)]


_NEVER = (
    "No probe here measures ammonia, nitrite, copper, medicines or oxygen: un-ionised ammonia is a "
    "model fed with kit readings, pH and temperature."
)


def _floor_words(floors: tuple[float, float] | None) -> str:
    if floors is None:
        return "How small a residual would have been called is not known."
    low, high = (figure(floor) for floor in floors)
    much = low if low == high else f"{low} to {high}"
    return (
        f"Detection floor: {much} mg/L as Cl2, the smallest residual that would have been called "
        "with 95 % power. Less than that the probe cannot tell from none."
    )


def _foot(moment: Moment, made_s: float) -> Html:
    return tag(
        "p",
        f"Made by afterfill on {moment(made_s)} from its journal; limits as configured then.",
        class_="soft",
    )

"""Is the water safe? Why? What do I do? The answer for one tank as HTML."""

from collections.abc import Iterator

from afterfill.alarms.definitions import DEFINITIONS
from afterfill.cli.alarm.states import STATES
from afterfill.cli.standing import WORDS
from afterfill.cli.times import ahead_words, moment
from afterfill.figures import figure, interval
from afterfill.page.layout import link, path_of, sentence, with_links
from afterfill.page.seen import Seen
from afterfill.records import AlarmChange, Quantity, StandingWord
from afterfill.report.markup import Html, joined, tag
from afterfill.report.words import VERDICT_TITLES, per_cent
from afterfill.sinks.notify.text import span, title_of

_SIGNS: dict[StandingWord, str] = {
    "safe": "✓", "not-safe": "!", "cannot-tell": "?", "learning": "…",
}  # fmt: skip
_DO: dict[StandingWord, str] = {
    "safe": "Nothing.",
    "not-safe": "Test with DPD (total chlorine), aerate, and look at the rescue plan.",
    "cannot-tell": "Nothing here is an all-clear: test with DPD (total chlorine) before you rely "
    "on the water, and treat refills as unwatched.",
    "learning": "Nothing yet: after a refill test with DPD (total chlorine) until it has learnt.",
}
_CALLED: dict[Quantity, str] = {"orp": "ORP", "ph": "pH", "temperature": "Temperature"}


def headline(it: Seen) -> str:
    """The answer in one line, as it is read out."""
    return f"{it.stands.tank}: {WORDS[it.stands.word]}"


def tank_now(it: Seen) -> Html:
    """The answer: word, why, what to do."""
    return joined(_answer(it), _to_do(it), *_others(it))


def figures(it: Seen) -> Html:
    """The figures behind it."""
    rows = [pair for name, value in _rows(it) for pair in (tag("dt", name), tag("dd", value))]
    return joined(tag("h2", "Figures"), tag("dl", *rows))


def tank_card(it: Seen) -> Html:
    """Its first part, to be one of several."""
    return tag("section", _answer(it, linked=True), _to_do(it), class_="card")


def _answer(it: Seen, *, linked: bool = False) -> Html:
    s = it.stands
    name = link(path_of(s.tank), s.tank, id=f"to-{s.tank}") if linked else s.tank
    since = ""
    if s.since_s is not None and s.since_age_s is not None:
        since = f"Since {moment(s.since_s, it.now_s)}, for {span(s.since_age_s)}. "
    return tag(
        "div",
        tag("h2" if linked else "h1", name, class_="tank"),
        tag("p", tag("span", _SIGNS[s.word], class_="sign", aria_hidden="true"), WORDS[s.word],
            class_="word"),
        tag("p", sentence(s.why)) if s.why else Html(""),
        tag("p", f"{since}As of {moment(it.now_s, it.now_s)}.", class_="soft"),
        tag("p", sentence(ahead_words(s.ahead_s))) if s.ahead_s else Html(""),
        class_=f"answer {s.word}",
    )  # fmt: skip


def _to_do(it: Seen) -> Html:
    holding = it.holding
    blocks = [_alarm(it, change) for change in holding]
    # what is low or upkeep says nothing of how the tank stands
    if it.stands.word != "safe" and not any(change.priority != "low" for change in holding):
        blocks.insert(0, tag("p", _DO[it.stands.word]))
    if not blocks:
        blocks = [tag("p", _DO["safe"])]
    return tag("section", tag("h2", "What to do now"), *blocks, class_="do")


def _alarm(it: Seen, change: AlarmChange) -> Html:
    definition, tank = DEFINITIONS[change.alarm], it.stands.tank
    steps, said = definition.steps, it.table.shown.text
    dose = said(change.advice) or steps.dose
    then = [*([f"dose: {dose}" if change.advice else dose] if dose else []), *steps.then]
    first = tag("li", tag("strong", with_links(tank, sentence(steps.first))))
    do = [first, *(tag("li", with_links(tank, sentence(step))) for step in then)]
    more = [tag("p", with_links(tank, f"Do not {steps.never()}."))] if steps.do_not else []
    rescue = link(
        path_of(tank, "/rescue"), "Rescue plan", class_="button", id=f"rescue-{change.alarm}"
    )
    return tag(
        "article",
        tag("h3", sentence(title_of(change.alarm)).rstrip(".")),
        tag("p", f"{change.priority.capitalize()} priority, time to act: "
            f"{definition.time_to_respond}; {STATES[change.state]}.", class_="soft"),
        tag("ol", *do),
        *more,
        tag("p", sentence(said(change.message))),
        tag("p", rescue if change.alarm.startswith("residual-oxidant") else Html(""),
            _answer_link(tank, change, "I am on it, or put it aside")),
        class_=f"alarm {change.priority}",
    )  # fmt: skip


def _answer_link(tank: str, change: AlarmChange, words: str) -> Html:
    to = path_of(tank, f"/alarm/{change.alarm}")
    label = f"{words}: {title_of(change.alarm)}"
    return link(to, words, class_="button quiet", id=f"answer-{change.alarm}", aria_label=label)


def _others(it: Seen) -> Iterator[Html]:
    holding = it.holding
    others = [change for change in it.alarms if change not in holding]
    if others:
        rows = [
            tag("li", f"{sentence(title_of(change.alarm)).rstrip('.')}: {STATES[change.state]}. ",
                _answer_link(it.stands.tank, change, "See it"))
            for change in others
        ]  # fmt: skip
        yield tag("section", tag("h2", "Other alarms"), tag("ul", *rows), class_="others")


def _rows(it: Seen) -> Iterator[tuple[str, str]]:
    for quantity, reading in it.readings.items():
        value = reading.value or 0.0
        words = {"orp": f"{value:.0f} mV", "ph": f"{value:.2f}"}.get(quantity)
        words = words or it.table.shown.temperature(value)
        yield _CALLED[quantity], f"{words}, {span(it.stands.ages_s[quantity])} ago"
    yield from _estimated(it)
    yield from _ahead(it)
    verdict = it.stands.verdict
    if verdict is not None:
        state = "final" if verdict.final else "still watched"
        when, word = moment(verdict.refill_time_s, it.now_s), VERDICT_TITLES[verdict.verdict]
        chance = per_cent(verdict.probability)
        words = f"{when}: {word.lower()} ({state}), carry-over with probability {chance}"
        yield "Last refill", words
    ready = "may begin, as far as can be told" if it.ready.ready else "hold it back"
    yield "Next refill", "; ".join([ready, *it.ready.why])


def _estimated(it: Seen) -> Iterator[tuple[str, str]]:
    now, s = it.stands.estimate, it.stands
    if now is None:
        return
    spread, over = interval(now.residual_mg_l), per_cent(now.p_over_limit)
    words = f"{spread} mg/L as Cl2, limit {s.limit_mg_l:.3g}; over it with probability {over}"
    yield "Residual chlorine", f"{words} (as of {moment(now.time_s, it.now_s)})"
    ammonia = "not known without pH and temperature"
    if now.free_ammonia_mg_l is not None:
        spread = interval(now.free_ammonia_mg_l)
        ammonia = f"{spread} mg/L as N, limit {s.ammonia_limit_mg_l:.3g}"
    yield "Un-ionised ammonia", ammonia
    yield "What the probe can see", _sight(it)


def _sight(it: Seen) -> str:
    now = it.stands.estimate
    if now is None or not now.sees:
        why = "nothing was estimated" if now is None else now.why_blind
        return f"nothing: {why or 'the ORP cannot be used'}"
    if now.detection_floor_mg_l is None:
        return "how small a residual it would call is not known"
    floor = now.detection_floor_mg_l
    times = floor / it.stands.limit_mg_l
    hidden = f"; less is not told from none, and that is {figure(times)} times the limit"
    return f"a residual of {figure(floor)} mg/L or more" + (hidden if times > 1.0 else "")


def _ahead(it: Seen) -> Iterator[tuple[str, str]]:
    """What is to come, as long as it was said of this day."""
    ahead, now = it.forecast, it.stands.estimate
    if ahead is None or now is None or it.now_s - ahead.time_s > 3600.0 or not it.stands.runs:
        return
    surely_s = ahead.residual_surely_below_limit_s
    if ahead.sees and surely_s is not None and surely_s > it.now_s:
        when = moment(surely_s, it.now_s)
        yield "Ahead", f"the residual is surely below its limit at about {when}"
    peak, peak_s = ahead.free_ammonia_peak_mg_l, ahead.free_ammonia_peak_s
    high = peak is not None and peak.q50 > 0.5 * it.stands.ammonia_limit_mg_l
    if high and peak is not None and peak_s is not None:
        when = moment(peak_s, it.now_s)
        yield "Ahead", f"un-ionised ammonia highest at about {when}: {interval(peak)} mg/L as N"

"""What the keeper may tell, as forms: filled with what is usual, sent with one tap."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from afterfill.chemistry.doses import dose_words
from afterfill.cli.log.lines import Line, lines_of
from afterfill.config import Config
from afterfill.journal.store import Journal
from afterfill.journal.words import as_told, told_of
from afterfill.page.layout import button, form, path_of
from afterfill.payloads import CORRECTION, PAYLOADS
from afterfill.records import Correction, Quantity, Refill
from afterfill.report.markup import Html, joined, tag, void
from afterfill.tank_table import TankTable, tank_table

_AMMONIA = (("", "as N"), ("NH3", "as NH3"), ("NH4+", "as NH4+"))
_CHLORINE = (("", "as Cl2"), ("NH2Cl", "as NH2Cl"))
_VOLUMES = (("L", "L"), ("US gal", "US gal"), ("imp gal", "imp gal"))
_MODES = (("replace", "drained first, then refilled"), ("add", "added to what is there"))
_WORK = (
    ("feeding", "Fish fed"), ("cleaning", "Tank cleaned"), ("probe", "ORP probe serviced"),
    ("lamp", "UV lamp on"), ("ozone", "Ozone on"), ("medicine", "Medicine given"),
    ("other", "Other work"),
)  # fmt: skip
_OFTEN = ("kit", "source-test")  # open at once: a tap less
UNIT = ".unit"  # a field's unit stands in a field of its own
_BY_ROUTINE = ("calibration", "response-check")  # a guided command tells these
TOLD_KINDS = (*(kind for kind in PAYLOADS if kind not in _BY_ROUTINE), CORRECTION)
SURE = "sure"  # the field that says: it is meant so
_LINES = 8  # what was logged lately
_SAID = {
    "litres": "Water (L)", "neutraliser_ml": "Neutraliser ({unit})", "minutes": "Minutes",
    "total_chlorine_mg_l": "Total chlorine (mg/L as Cl2)",
    "free_chlorine_mg_l": "Free chlorine (mg/L as Cl2)",
    "total_ammonia_mg_l": "Total ammonia (mg/L as N)", "ph": "pH", "text": "Note",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the forms of one tank need. `usual`: its last refill whose volume was told; `given`:
    what was sent and refused, `wrong`: why, `doubtful`: it is strange, and may be meant so; `kind`:
    the form that it is about; `lines`: what was logged lately, the newest first."""

    config: Config
    tank: str
    usual: Refill | None
    ticket: str
    kind: str = ""
    given: Mapping[str, str] | None = None
    wrong: str = ""
    doubtful: bool = False
    lines: Sequence[Line] = ()

    @property
    def table(self) -> TankTable:
        """How the tank's keeper counts."""
        return tank_table(self.config, self.tank)

    def value(self, kind: str, name: str, usual: str = "") -> str:
        """What a field holds at first."""
        if self.given is not None and self.kind == kind:
            return self.given.get(name, "")
        return usual


def known(journal: Journal, config: Config, tank: str) -> tuple[Refill | None, list[Line]]:
    """The last refill of which the volume was told, and what was logged lately. Raises
    JournalError."""
    return usual_refill(journal, tank), lines_of(journal, config, tank, _LINES)


def usual_refill(journal: Journal, tank: str) -> Refill | None:
    """The last refill of which the volume was told, as it was corrected. Raises JournalError."""
    for record in as_told(journal.latest("refill", tank, 20), told_of(journal, tank)):
        if isinstance(record, Refill) and record.litres is not None:
            return record
    return None


def payload_of(fields: Mapping[str, str]) -> dict[str, str | float]:
    """The fields as `payloads` takes them: each with its unit, what is empty left out."""
    found: dict[str, str | float] = {}
    for name, text in fields.items():
        if text.strip() and name not in ("ticket", "at", SURE) and not name.endswith(UNIT):
            unit = fields.get(name + UNIT, "")
            has_unit = any(c.isalpha() for c in text)
            found[name] = text.strip() if has_unit or not unit else f"{text.strip()} {unit}"
    return found


def sheet_html(it: Sheet) -> Html:
    """All forms: the refill first, then what takes one tap, then what takes typing."""
    return joined(
        tag("h1", f"{it.tank}: what was done?"),
        _section(it, "refill", "A refill", "Log this refill", *_refill_fields(it)),
        _work(it),
        _folded(it, "kit", "Test kit, the tank's water", *_kit_fields(it)),
        _folded(
            it, "source-test", "Test kit, the tap's or source's own water", *_source_fields(it)
        ),
        _folded(it, "dose", "Neutraliser into the tank itself", _dose(it, "dose"), _at(it, "dose")),
        _folded(it, "service", "A probe out of the tank, or back", *_probe_fields(it)),
        _folded(it, "stock", "Neutraliser bought, opened, counted", *_stock_fields(it)),
        _folded(it, "note", "A note", _note(it)),
        _logged(it),
    )


def _section(it: Sheet, kind: str, title: str, words: str, *fields: Html) -> Html:
    return tag("section", tag("h2", title), _form(it, kind, words, *fields), id=kind)


def _folded(it: Sheet, kind: str, title: str, *fields: Html) -> Html:
    is_open = "open" if kind in _OFTEN or it.kind == kind else None
    return tag(
        "details", tag("summary", title), _form(it, kind, "Log it", *fields), id=kind, open=is_open
    )


def _form(it: Sheet, kind: str, words: str, *fields: Html) -> Html:
    said = (
        [tag("p", it.wrong, class_="wrong", role="alert")] if it.kind == kind and it.wrong else []
    )
    if said and it.doubtful:
        said.append(_meant(kind))
    to = path_of(it.tank, f"/log/{kind}")
    return form(to, *said, *fields, button(words), ticket=f"{it.ticket}.{kind}")


def _refill_fields(it: Sheet) -> Iterator[Html]:
    usual = it.usual
    if usual is not None:
        yield tag("p", "Filled in as last time: change what was different.", class_="soft")
    yield _water(it, "refill")
    ml = None if usual is None else usual.neutraliser_ml
    hint = "0 for none, empty: not known"
    yield _dose(it, "refill", "neutraliser_ml", "" if ml is None else _amount(ml, it), hint=hint)
    yield from _source(it, "refill", None if usual is None else usual.source)
    minutes = "" if usual is None or usual.minutes is None else f"{usual.minutes:g}"
    mode = it.value("refill", "mode", _usual_mode(it))
    long = f", {minutes} min" if minutes and it.given is None else ""
    yield tag(
        "details",
        tag("summary", f"{_MODES[mode == 'add'][1].capitalize()}{long}, now: change"),
        _mode(it, "refill"),
        _typed(it, "refill", "minutes", "Minutes it takes", minutes),
        _at(it, "refill"),
        open="open" if it.kind == "refill" and it.wrong else None,
    )


def plan_fields(it: Sheet) -> Iterator[Html]:
    """A refill to be planned."""
    yield _water(it, "plan")
    yield _mode(it, "plan")
    yield from _source(it, "plan", None if it.usual is None else it.usual.source)
    yield _dose(it, "plan", "dose_ml", hint="empty: work it out")


def _water(it: Sheet, kind: str) -> Html:
    """How much; as last time."""
    usual, shown = it.usual, it.table.shown
    litres, unit = "", "L" if shown.gallon is None else _gallon(it)
    if usual is not None and usual.litres is not None:
        litres, _, unit = shown.typed_volume(usual.litres).partition(" ")
    name, place = "litres" + UNIT, f"{kind}-unit"
    field = chosen(place, name, _VOLUMES, it.value(kind, name, unit))
    new = _typed(it, kind, "litres", "New water", litres)
    return tag("div", new, labelled(place, "Unit", field), class_="beside")


def _usual_mode(it: Sheet) -> str:
    return "replace" if it.usual is None else it.usual.mode


def _mode(it: Sheet, kind: str) -> Html:
    place = f"{kind}-mode"
    field = chosen(place, "mode", _MODES, it.value(kind, "mode", _usual_mode(it)))
    return labelled(place, "How", field)


def _gallon(it: Sheet) -> str:
    return "US gal" if it.table.shown.gallon == "us" else "imp gal"


def _amount(ml: float, it: Sheet) -> str:
    return dose_words(ml, it.table.dose_unit).partition(" ")[0]


def _dose(
    it: Sheet, kind: str, name: str = "neutraliser_ml", usual: str = "", hint: str = ""
) -> Html:
    unit = it.table.dose_unit
    words = f"Neutraliser ({unit}{'; ' if hint else ''}{hint})"
    return _typed(it, kind, name, words, usual)


def _kit_fields(it: Sheet) -> Iterator[Html]:
    yield _counted(it, "kit", "total_chlorine_mg_l", "Total chlorine (mg/L)", _CHLORINE)
    yield _typed(it, "kit", "free_chlorine_mg_l", "Free chlorine (mg/L as Cl2)")
    yield _counted(it, "kit", "total_ammonia_mg_l", "Total ammonia (mg/L)", _AMMONIA)
    yield _typed(it, "kit", "ph", "pH")
    yield _at(it, "kit")


def _source_fields(it: Sheet) -> Iterator[Html]:
    yield _counted(it, "source-test", "total_chlorine_mg_l", "Total chlorine (mg/L)", _CHLORINE)
    yield _typed(it, "source-test", "free_chlorine_mg_l", "Free chlorine (mg/L as Cl2)")
    yield from _source(it, "source-test", None)
    yield _at(it, "source-test")


def _counted(it: Sheet, kind: str, name: str, words: str, ways: Sequence[tuple[str, str]]) -> Html:
    """A value beside what it is counted in: a telephone's keys for numbers have no letters."""
    place, how = f"{kind}-{name}-unit", it.value(kind, name + UNIT)
    counted = labelled(place, "Counted", chosen(place, name + UNIT, ways, how))
    return tag("div", _typed(it, kind, name, words), counted, class_="beside")


def _probe_fields(it: Sheet) -> Iterator[Html]:
    yield void("input", type="hidden", name="what", value="probe")
    quantities: tuple[tuple[Quantity, str], ...] = (
        ("orp", "ORP"), ("ph", "pH"), ("temperature", "temperature"),
    )  # fmt: skip
    field = chosen("service-quantity", "quantity", quantities, it.value("service", "quantity"))
    yield labelled("service-quantity", "Which", field)
    yield _typed(it, "service", "minutes", "Minutes out of the tank from now on (0: it is back)")


def _stock_fields(it: Sheet) -> Iterator[Html]:
    whats = (("bought", "bought"), ("opened", "opened"), ("counted", "counted: all there is"))
    field = chosen("stock-what", "what", whats, it.value("stock", "what"))
    yield labelled("stock-what", "What", field)
    yield _dose(it, "stock", hint="empty: a bottle as configured")


def _note(it: Sheet) -> Html:
    value = it.value("note", "text")
    return labelled("note-text", "Anything worth remembering", _input("note-text", "text", value))


def _meant(kind: str) -> Html:
    place = f"{kind}-{SURE}"
    box = void("input", type="checkbox", id=place, name=SURE, value="yes")
    return tag("p", box, " ", tag("label", "It is meant so", for_=place), class_="field")


def _logged(it: Sheet) -> Html:
    """What was logged lately, each word with a way back."""
    said = [tag("p", it.wrong, class_="wrong", role="alert")] if it.kind == CORRECTION else []
    rows = [tag("li", line.said, *_way_back(it, line)) for line in it.lines]
    listed = tag("ul", *rows) if rows else tag("p", "Nothing yet.", class_="soft")
    why = "A word that is corrected or taken back: all that was concluded from it is undone."
    return tag(
        "section", tag("h2", "Logged lately"), *said, tag("p", why, class_="soft"), listed,
        id=CORRECTION,
    )  # fmt: skip


def _way_back(it: Sheet, line: Line) -> Iterator[Html]:
    if line.fate or line.number is None:
        yield tag("span", f" ({line.fate})", class_="soft")
        return
    if isinstance(line.event, Correction):
        return
    number = str(line.number)
    of = void("input", type="hidden", name="of", value=number)
    removed = button(
        "Take it back", name="remove", value="yes", class_="quiet",
        aria_label=f"Take back: {line.said}",
    )  # fmt: skip
    to = path_of(it.tank, f"/log/{CORRECTION}")
    yield form(to, of, removed, ticket=f"{it.ticket}.{number}")
    fields = [*_values(it, line)]
    if fields:
        asked = it.kind == CORRECTION and it.value(CORRECTION, "of") == number
        meant = [_meant(f"{CORRECTION}-{number}")] if asked and it.doubtful else []
        said = form(to, of, *fields, *meant, button("Correct it"), ticket=f"{it.ticket}.{number}c")
        summary = tag("summary", "Correct it", aria_label=f"Correct: {line.said}")
        yield tag("details", summary, said, open="open" if asked else None)


def _values(it: Sheet, line: Line) -> Iterator[Html]:
    """What a word says, to be typed over; what is left empty stays as it was."""
    for name, words in _SAID.items():
        value = getattr(line.event, name, None)
        if hasattr(line.event, name):
            shown = value if isinstance(value, str) else "" if value is None else f"{value:.10g}"
            place = f"word-{line.number}-{name}"
            field = _input(place, name, shown, numeric=name != "text")
            yield labelled(place, words.format(unit=it.table.dose_unit), field)


def _work(it: Sheet) -> Html:
    buttons = [button(words, name="what", value=what, class_="quiet") for what, words in _WORK]
    to, ticket = path_of(it.tank, "/log/service"), f"{it.ticket}.work"
    why = "Work moves the readings: said first, it raises no alarm."
    return tag(
        "section", tag("h2", "Work on the tank, now"), tag("p", why, class_="soft"),
        form(to, *buttons, ticket=ticket, class_="grid-of"), id="work",
    )  # fmt: skip


def _source(it: Sheet, kind: str, usual: str | None) -> Iterator[Html]:
    names = list(it.config.source)
    if len(names) > 1:
        own = usual or it.config.tank[it.tank].source or ""
        options = [*([] if own else [("", "not said")]), *((name, name) for name in names)]
        field = chosen(f"{kind}-source", "source", options, it.value(kind, "source", own))
        yield labelled(f"{kind}-source", "Source", field)
    elif names:
        yield tag("p", f"Source: {names[0]}", class_="soft")


def _at(it: Sheet, kind: str) -> Html:
    words = "When (empty: now; 07:30, or 20 min ago)"
    value = it.value(kind, "at")
    return labelled(f"{kind}-at", words, _input(f"{kind}-at", "at", value))


def _typed(it: Sheet, kind: str, name: str, words: str, usual: str = "") -> Html:
    place, value = f"{kind}-{name}", it.value(kind, name, usual)
    return labelled(place, words, _input(place, name, value, numeric=True))


def _input(place: str, name: str, value: str, *, numeric: bool = False) -> Html:
    mode = "decimal" if numeric else None
    return void("input",
        id=place, name=name, value=value, type="text", inputmode=mode, autocomplete="off",
        maxlength="60",
    )  # fmt: skip


def labelled(place: str, words: str, field: Html) -> Html:
    """A field with its label above."""
    return tag("p", tag("label", words, for_=place), field, class_="field")


def chosen(place: str, name: str, options: Sequence[tuple[str, str]], value: str) -> Html:
    """A choice; `options`: pairs of value and words."""
    made = [
        tag("option", words, value=it, selected="selected" if it == value else None)
        for it, words in options
    ]
    return tag("select", *made, id=place, name=name)

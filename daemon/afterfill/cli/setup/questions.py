"""The questions of `afterfill setup`: an option, a person's answer, or a default."""

import re
import tomllib
from collections.abc import Callable, Mapping, Sequence

import typer

from afterfill.chemistry.doses import dose_of_label, dose_words
from afterfill.chemistry.kit_units import chlorine_from
from afterfill.chemistry.typed import number_from
from afterfill.chemistry.units import gallon_of, litres_from
from afterfill.cli.setup.starter_file import Answers, ProbeAnswers, TomlValue, required_keys
from afterfill.errors import AfterfillError, ModelDomainError, UsageError
from afterfill.ports import FEED
from afterfill.records import Quantity
from afterfill.sentences import nearest
from afterfill.service.driver_registry import driver_named, driver_names, is_fed
from afterfill.tank_setup import usual_max_mg_l

_NO_PORT = "-"
_WITH_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+")
_LIVESTOCK = ("salmonid", "warmwater", "sensitive")
_TOP_OFFS = ("treated", "told", "unknown")
_DISINFECTANTS = ("chlorine", "chloramine", "unknown")
_ASKED: tuple[Quantity, ...] = ("orp", "ph", "temperature")
_CALLED: dict[Quantity, str] = {"orp": "ORP", "ph": "pH", "temperature": "temperature"}


class Questions:
    """`given` holds options by name, `settings` driver keys as ``orp.device=7``."""

    def __init__(self, given: Mapping[str, str], settings: Sequence[str], *, ask: bool) -> None:
        """Raises UsageError when a driver key is not written so."""
        self._given = given
        self._settings = dict(_setting(text) for text in settings)
        self._ask = ask
        self._typed: dict[str, str] = {}  # answers as they were written

    def answers(self, ports: Sequence[str]) -> Answers:
        """All answers; `ports` are those found here. Raises UsageError for one of no use."""
        tank = self._text("tank", "A short name for the tank", "tank", _plain_name)
        litres = self._number(
            "litres", "Water in the full tank, litres or '30 US gal'", "120", volume
        )
        livestock = self._text(
            "livestock", "Livestock: salmonid, warmwater or sensitive", "sensitive", _of(_LIVESTOCK)
        )
        top_off = self._text(
            "top_off", "Evaporated water is made up for with treated water (treated), each time "
            "logged or published (told), or unknown", "unknown", _of(_TOP_OFFS),
        )  # fmt: skip
        disinfectant = self._text(
            "disinfectant", "Tap water holds chlorine, chloramine or unknown", "unknown",
            _of(_DISINFECTANTS),
        )  # fmt: skip
        residual = self._number(
            "residual", "Typical total chlorine at the tap, mg/L", "1.0", chlorine
        )
        usual_max = f"{max(residual, usual_max_mg_l(residual)):g}"
        residual_max = self._number("residual_max", "The most it may be, mg/L", usual_max, chlorine)
        label = self._text(
            "label_ml",
            "Neutraliser label: how much (5 ml, 2 g, 20 drops, 1 tablet) ...",
            "5 ml",
            dose,
        )
        label_litres = self._number("label_litres", "... treat how much water", "200", volume)
        label_mg_l = self._number("label_mg_l", "... holding chlorine, mg/L", "1.0", chlorine)
        probes = self._probes(ports)
        return Answers(
            tank, litres, livestock, top_off, disinfectant, residual, residual_max,
            dose_of_label(label), label_litres, label_mg_l, probes,
            gallon_of(self._typed.get("litres", "")), self._broker(probes),
        )  # fmt: skip

    def _probes(self, ports: Sequence[str]) -> dict[Quantity, ProbeAnswers]:
        probes: dict[Quantity, ProbeAnswers] = {}
        likely = ports[0] if ports and self._ask else _NO_PORT
        for quantity in _ASKED:
            called = _CALLED[quantity]
            port = self._text(f"{quantity}_port", f"Port of the {called} probe, - for none", likely)
            if port != _NO_PORT:
                probes[quantity] = self._probe(quantity, port)
                port = probes[quantity].port
            likely = port if self._ask else _NO_PORT  # one head often has all three
        self._check_all_used(probes)
        return probes

    def _broker(self, probes: Mapping[Quantity, ProbeAnswers]) -> str:
        """The host of the broker on which probes are read, if any is."""
        if all(it.port != FEED for it in probes.values()):
            return ""
        return self._text("broker", "Host of the MQTT broker", "localhost")

    def _probe(self, quantity: Quantity, port: str) -> ProbeAnswers:
        known = driver_names()
        asked = f"Driver of the {_CALLED[quantity]} probe ({', '.join(known)})"
        likely = FEED if port == FEED else "line"  # the driver of such probes has the same name
        name = self._text(f"{quantity}_driver", asked, likely, _of(known))
        if is_fed(name) and port != FEED:
            if not self._ask:
                raise UsageError(f"driver '{name}' has the port {FEED}, not {port}")
            port = FEED  # there is only one for it
        settings = driver_named(name).settings
        keys = {k[1]: v for k, v in self._settings.items() if k[0] == quantity}
        for key in required_keys(settings):
            if key not in keys:
                keys[key] = self._driver_key(quantity, name, key)
        return ProbeAnswers(port, name, settings, keys)

    def _driver_key(self, quantity: Quantity, driver: str, key: str) -> TomlValue:
        if not self._ask:
            raise UsageError(
                f"driver '{driver}' needs the key '{key}' for the {_CALLED[quantity]} probe: "
                f"add --set {quantity}.{key}=..."
            )
        while True:
            try:
                return _value(typer.prompt(f"  {driver}: {key}", err=True))
            except ModelDomainError as error:
                typer.echo(str(error), err=True)

    def _check_all_used(self, probes: Mapping[Quantity, ProbeAnswers]) -> None:
        for quantity, key in self._settings:
            if quantity not in probes:
                guess = nearest(quantity, probes)
                raise UsageError(f"--set {quantity}.{key}: no such probe is set up; {guess}")

    def _text(
        self, name: str, question: str, default: str, proved: Callable[[str], object] = str
    ) -> str:
        return self._answer(name, question, default, lambda text: str(proved(text)))

    def _number(
        self, name: str, question: str, default: str, proved: Callable[[str], float]
    ) -> float:
        return float(self._answer(name, question, default, lambda text: repr(proved(text))))

    def _answer(self, name: str, question: str, default: str, proved: Callable[[str], str]) -> str:
        """What was given or typed; a useless answer is asked again, a useless option ends it."""
        if name in self._given or not self._ask:
            option = f"--{name.replace('_', '-')}"
            self._typed[name] = self._given.get(name, default)
            return _proved(self._typed[name], proved, f"{option}: ")
        while True:
            typed = str(typer.prompt(question, default=default, err=True)).strip()
            self._typed[name] = typed
            try:
                return _proved(typed, proved, "")
            except UsageError as error:
                typer.echo(str(error), err=True)


def _proved(text: str, proved: Callable[[str], str], where: str) -> str:
    try:
        return proved(text)
    except AfterfillError as error:
        raise UsageError(f"{where}{error}") from error


def volume(text: str) -> float:
    """A volume [L], above 0. Raises ModelDomainError or UsageError."""
    litres = litres_from(text)
    if not 0.0 < litres <= 100_000.0:
        raise UsageError(f"'{text}' is no volume of a tank: give more than 0 and at most 100000 L")
    return litres


def dose(text: str) -> str:
    """What a label says, above 0, as `dose_of_label` reads it. Raises ModelDomainError or
    UsageError."""
    amount, unit = dose_of_label(text)
    if not 0.0 < amount <= 100_000.0:
        raise UsageError(f"'{text}' is no dose of a label: give more than 0, such as 5 ml")
    return dose_words(amount, unit)


def chlorine(text: str) -> float:
    """Chlorine [mg/L as Cl2], from 0 to 100. Raises ModelDomainError or UsageError."""
    value = chlorine_from(text)
    if not 0.0 <= value <= 100.0:
        raise UsageError(f"'{text}' is not usable: give mg/L from 0 to 100, such as 1.5")
    return value


def _plain_name(text: str) -> str:
    if not text or not all(c.isalnum() or c in "-_" for c in text):
        raise UsageError(f"'{text}' cannot name a tank: use letters, digits, - and _")
    return text


def _of(known: Sequence[str]) -> Callable[[str], str]:
    def proved(text: str) -> str:
        if text not in known:
            raise UsageError(f"'{text}' is not one of {', '.join(known)}; {nearest(text, known)}")
        return text

    return proved


def _setting(text: str) -> tuple[tuple[str, str], TomlValue]:
    name, equals, value = text.partition("=")
    quantity, dot, key = name.strip().partition(".")
    if not (equals and dot and key):
        raise UsageError(f"--set {text}: write QUANTITY.KEY=VALUE, such as orp.device=7")
    try:
        return (quantity, key), _value(value.strip())
    except ModelDomainError as error:
        raise UsageError(f"--set {name.strip()}: {error}") from error


def _value(text: str) -> TomlValue:
    """A number, with a point or a comma, or a truth value where the text is one, else the text
    itself; a text like a number is put into quotes. Raises ModelDomainError for `1,200`."""
    if _WITH_COMMA.fullmatch(text):
        return number_from(text)
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text
    return value if isinstance(value, (str, int, float, bool)) else text

"""What `afterfill setup` asks about the probes: port, driver, keys, and whether what they show is
right."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path

import typer

from afterfill.chemistry.typed import number_from
from afterfill.cli.setup.asking import NONE, Asking, one_of
from afterfill.cli.setup.heads import CALLED, Head, met, proof, speaks_in_lines
from afterfill.cli.setup.starter_file import ProbeAnswers, TomlValue, required_keys
from afterfill.errors import AfterfillError, ModelDomainError, UsageError
from afterfill.ports import FEED
from afterfill.records import Quantity
from afterfill.sentences import nearest
from afterfill.service.driver_registry import driver_named, driver_names, is_fed

_WITH_COMMA = re.compile(r"[-+]?[0-9]+,[0-9]+")


class ProbeQuestions:
    """`settings`: driver keys from options, as ``orp.device=7``; `ports`: those found here."""

    def __init__(self, asking: Asking, settings: Sequence[str], ports: Sequence[str]) -> None:
        """Raises UsageError when a driver key is not written so."""
        self._asking, self._ports = asking, ports
        self._settings = dict(_setting(text) for text in settings)
        self._heads: dict[str, Head] = {}

    def answers(self) -> dict[Quantity, ProbeAnswers]:
        """The probes that there are. Raises UsageError for an option of no use."""
        probes: dict[Quantity, ProbeAnswers] = {}
        likely = self._ports[0] if self._ports and self._asking.asks else NONE
        for quantity in CALLED:
            found = self._probe(quantity, likely)
            if found is not None:
                probes[quantity] = found
            if self._asking.asks:  # one head often has all three
                likely = NONE if found is None else found.port
        self._check_all_used(probes)
        return probes

    def broker(self, probes: Mapping[Quantity, ProbeAnswers]) -> str:
        """The host of the broker on which probes are read; empty where none is."""
        if all(it.port != FEED for it in probes.values()):
            return ""
        return self._asking.text("broker", "Host of the MQTT broker", "localhost")

    def _probe(self, quantity: Quantity, likely: str) -> ProbeAnswers | None:
        """Asked again until the probe answers, or the person wants it as it is."""
        while True:
            name = f"{quantity}_port"
            port = self._asking.text(
                name, f"Port of the {CALLED[quantity]} probe, - for none", likely
            )
            if port == NONE:
                return None
            found = self._on(quantity, port)
            # what is on a broker is proved by `check`, which knows the broker
            if not self._asking.asks or found.port == FEED or self._is_right(quantity, found):
                return found
            if self._asking.is_given(name):
                raise UsageError(f"--{quantity}-port {port}: not taken; name another port or keys")
            self._heads.pop(port, None)

    def _on(self, quantity: Quantity, port: str) -> ProbeAnswers:
        known = driver_names()
        asked = f"Driver of the {CALLED[quantity]} probe ({', '.join(known)})"
        head = self._heads.get(port)
        usual = FEED if port == FEED else "line"  # the driver of such probes has the same name
        name = self._asking.text(f"{quantity}_driver", asked, usual, one_of(known))
        if is_fed(name) and port != FEED:
            if not self._asking.asks:
                raise UsageError(f"driver '{name}' has the port {FEED}, not {port}")
            port = FEED  # there is only one for it
        settings = driver_named(name).settings
        keys = {k[1]: v for k, v in self._settings.items() if k[0] == quantity}
        if self._asking.asks and speaks_in_lines(settings):
            head = head or self._met(port, name, keys)
            if head is not None and quantity in head.quantities:
                keys = {**head.keys, **keys}
        for key in required_keys(settings):
            if key not in keys:
                keys[key] = self._driver_key(quantity, name, key, port)
        return ProbeAnswers(port, name, settings, keys)

    def _met(self, port: str, driver: str, given: Mapping[str, TomlValue]) -> Head | None:
        """None where no talk is to be had; the proof that follows says what is the matter."""
        try:
            head = met(self._asking, port, driver, given)
        except AfterfillError:
            return None
        if head is not None:
            self._heads[port] = head
        return head

    def _is_right(self, quantity: Quantity, it: ProbeAnswers) -> bool:
        shows = proof(it.port, it.driver, it.keys, quantity)
        if shows is None:
            return typer.confirm("  Keep it all the same?", default=False, err=True)
        return typer.confirm(f"  It shows {shows}. Is that right?", default=True, err=True)

    def _driver_key(self, quantity: Quantity, driver: str, key: str, port: str) -> TomlValue:
        if not self._asking.asks:
            raise UsageError(
                f"driver '{driver}' needs the key '{key}' for the {CALLED[quantity]} probe: "
                f"add --set {quantity}.{key}=..."
            )
        while True:
            try:
                typed = typer.prompt(f"  {driver}: {key}", default=_seen(key, port), err=True)
                return _value(str(typed))
            except ModelDomainError as error:
                typer.echo(str(error), err=True)

    def _check_all_used(self, probes: Mapping[Quantity, ProbeAnswers]) -> None:
        for quantity, key in self._settings:
            if quantity not in probes:
                guess = nearest(quantity, probes)
                raise UsageError(f"--set {quantity}.{key}: no such probe is set up; {guess}")


def _seen(key: str, port: str) -> str | None:
    """On a bus that shows its sensors as folders, the first of them."""
    if key != "sensor":
        return None
    sensors = sorted(it.name for it in Path(port).glob("28-*"))
    return sensors[0] if sensors else None


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

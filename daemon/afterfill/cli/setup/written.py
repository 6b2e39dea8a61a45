"""The starter configuration is asked for, proved and written."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import typer

from afterfill.cli.check.findings import sound
from afterfill.cli.check.unseen import unseen_findings
from afterfill.cli.console import notice, say, tell
from afterfill.cli.places import journal_for
from afterfill.cli.setup import kept_answers
from afterfill.cli.setup.asking import Asking
from afterfill.cli.setup.probe_questions import ProbeQuestions
from afterfill.cli.setup.questions import about_neutraliser, about_source, about_tank
from afterfill.cli.setup.serial_ports import ports_found
from afterfill.cli.setup.starter_file import Answers, starter_text
from afterfill.config import Config
from afterfill.config_file import parse
from afterfill.errors import AfterfillError, ConfigError, UsageError
from afterfill.service.driver_registry import ports_of


def written(
    path: Path,
    answers: Mapping[str, str],
    settings: Sequence[str],
    *,
    ask: bool,
    force: bool,
    as_json: bool,
) -> None:
    """Write the file from `answers` by name and `settings` of drivers; asks for the rest. A person
    who was asked is shown what `check` says of it.

    Raises UsageError for an answer of no use or a file that is there, ConfigError when it cannot
    be written.
    """
    if path.exists() and not force:
        raise UsageError(f"{path} is there already: replace it with --force, or name another")
    asking = Asking(answers, ask=ask, before=kept_answers.kept(path) if ask else {})
    try:
        text, config = _text(asking, settings, journal_for(path), quiet=as_json)
    except (typer.Abort, AfterfillError) as error:
        if ask and asking.typed:
            kept_answers.keep(path, asking.typed)
            notice("What you answered is kept: the next setup offers it again.")
        if isinstance(error, AfterfillError):
            raise
        raise typer.Exit(130) from None
    _write(path, text)
    kept_answers.forget(path)
    if ask and not as_json:
        _prove(path, config)
    else:
        _say(path, config, as_json=as_json)


def _prove(path: Path, config: Config) -> None:
    say(f"{path} is written (probes: {len(config.probe)}). What `afterfill check` says of it:")
    if sound(path, send_test=False, as_json=False):
        say(f"Next: afterfill run --config {path}")
    else:
        say(f"Mend what is at fault, then: afterfill check --config {path}")


def _say(path: Path, config: Config, *, as_json: bool) -> None:
    probes, unseen = len(config.probe), [it.text for it in unseen_findings(config)]
    said = f"{path} is written (probes: {probes}). Next: afterfill check --config {path}"
    wire = {"kind": "setup", "path": str(path), "probes": probes, "unseen": unseen}
    tell([*unseen, said], wire, as_json=as_json)


def _text(
    asking: Asking, settings: Sequence[str], journal: Path, *, quiet: bool
) -> tuple[str, Config]:
    """The file's text, and what it says, proved to be usable."""
    ports = ports_found()
    if not quiet:
        say("serial ports found here: " + ("none" if not ports else ""))
        for port, what in ports:
            say(f"  {port}  {what}")
        say(
            "in the network: socket://HOST:PORT, rfc2217://HOST:PORT, tcp://HOST; on a broker: mqtt"
        )
    probes = ProbeQuestions(asking, settings, [port for port, _ in ports])
    water = about_tank(asking), about_source(asking), about_neutraliser(asking)
    found = probes.answers()
    text = starter_text(Answers(*water, found, probes.broker(found), journal))
    config = parse(text, "the starter file")
    ports_of(config)
    return text, config


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ConfigError(f"{path}: cannot be written ({error}); name another file") from error

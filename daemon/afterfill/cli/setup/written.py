"""The starter configuration is asked for, proved and written."""

from collections.abc import Mapping, Sequence
from pathlib import Path

import typer

from afterfill.cli.check.unseen import unseen_findings
from afterfill.cli.console import say, tell
from afterfill.cli.setup.questions import Questions
from afterfill.cli.setup.serial_ports import ports_found
from afterfill.cli.setup.starter_file import starter_text
from afterfill.config import Config
from afterfill.config_file import parse
from afterfill.errors import ConfigError, UsageError
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
    """Write the file from `answers` by name and `settings` of drivers; asks for the rest.

    Raises UsageError for an answer of no use or a file that is there, ConfigError when it cannot
    be written.
    """
    if path.exists() and not force:
        raise UsageError(f"{path} is there already: replace it with --force, or name another")
    text, config = _text(Questions(answers, settings, ask=ask), quiet=as_json)
    _write(path, text)
    probes, unseen = len(config.probe), [it.text for it in unseen_findings(config)]
    said = f"{path} is written (probes: {probes}). Next: afterfill check --config {path}"
    wire = {"kind": "setup", "path": str(path), "probes": probes, "unseen": unseen}
    tell([*unseen, said], wire, as_json=as_json)


def _text(questions: Questions, *, quiet: bool) -> tuple[str, Config]:
    """The file's text, and what it says, proved to be usable."""
    ports = ports_found()
    if not quiet:
        say("serial ports found here: " + ("none" if not ports else ""))
        for port, what in ports:
            say(f"  {port}  {what}")
        say(
            "in the network: socket://HOST:PORT, rfc2217://HOST:PORT, tcp://HOST; on a broker: mqtt"
        )
    try:
        answers = questions.answers([port for port, _ in ports])
    except typer.Abort:
        raise typer.Exit(130) from None
    text = starter_text(answers)
    config = parse(text, "the starter file")
    ports_of(config)
    return text, config


def _write(path: Path, text: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise ConfigError(f"{path}: cannot be written ({error}); name another file") from error

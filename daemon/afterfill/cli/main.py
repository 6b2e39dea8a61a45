"""The command `afterfill`: the table of its commands, each imported when it runs."""

import logging
from typing import Annotated, Any

import typer

from afterfill.cli.lazy_group import LazyGroup, Row, group, later
from afterfill.errors import AfterfillError
from afterfill.service.log_lines import LogLines

_LOG = {
    "refill": ("log.commands:refill", "Water was (or is being) poured."),
    "kit": ("log.commands:kit", "A test kit was used on the tank's water."),
    "source-test": ("log.commands:source_test", "A test kit was used on the source's own water."),
    "dose": ("log.commands:dose", "Neutraliser was put into the tank itself."),
    "stock": ("log.commands:stock", "Neutraliser was bought, opened or counted."),
    "list": ("log.commands:list_", "What was logged, with the numbers to correct it by."),
    "correct": (
        "log.commands:correct",
        "Take back what was logged, or say it otherwise.",
    ),
    "note": ("log.commands:note", "Anything worth remembering."),
    "service": ("log.commands:service", "Work that moves the readings without any disinfectant."),
}
_PROBE = {
    "list": ("probe.commands:list_", "Every probe, with its last usable value."),
    "read": ("probe.commands:read", "Ask probes now and print what they say."),
    "calibrate": (
        "probe.commands:calibrate",
        "Hold a pH probe in buffers, or an ORP in a standard.",
    ),
    "response": (
        "probe.commands:response",
        "Teach how an ORP probe answers, in two cups of water.",
    ),
}
_JOURNAL = {
    "backup": ("journal:backup", "Copy all that is committed into FILE."),
    "check": ("journal:check", "Read all of the journal: what is sound, damaged, missing."),
}
_MQTT = {"clear": ("mqtt:clear", "Remove this service's entities and states from a broker.")}
_ALARM = {
    "list": ("alarm.commands:list_", "Every alarm with its state, in the words of ISA-18.2."),
    "acknowledge": ("alarm.commands:acknowledge", "Say that a person has seen it and acts on it."),
    "shelve": ("alarm.commands:shelve", "Put an alarm aside for some minutes."),
    "unshelve": ("alarm.commands:unshelve", "Take an alarm back before its shelf ends."),
    "out-of-service": ("alarm.commands:out_of_service", "Take an alarm out for maintenance."),
    "return-to-service": ("alarm.commands:return_to_service", "Bring back one that was out."),
    "load": ("alarm.commands:load", "How much the alarms ask of you."),
}
_COMMANDS: dict[str, Row] = {
    "demo": ("demo.command:demo", "Show the whole job on a virtual tank, in less than a minute."),
    "run": ("run:run", "Run the service: read probes, watch refills, raise alarms."),
    "page": (
        ".page.command:page",
        "Serve the page on the local network, for a phone at the tank.",
    ),
    "setup": ("setup.command:setup", "Write a starter configuration."),
    "check": (
        "check.command:check",
        "Prove configuration, ports, probes, broker, database, clock.",
    ),
    "now": ("now.command:now", "Is the tank safe, as far as the probes can see?"),
    "plan": (
        "plan.command:plan",
        "What to dose and expect before a refill, or after a carry-over.",
    ),
    "audit": ("audit:audit", "Have the figures earned trust, by the tests that you logged?"),
    "trends": ("trends:trends", "Months side by side: refills, probes, tap, neutraliser."),
    "report": ("report:report", "A page about a refill or a period, to look back."),
    "replay": ("replay:replay", "Judge a recording as the live service would have."),
    "export": ("export:export", "Write a recording of a tank from the journal."),
    "man": ("man_page:man", "Print the manual page."),
    "log": group(
        "Tell of a refill, a test-kit result, a dose, work; correct it.",
        "Tell what was done to a tank: a refill, a test-kit result, a dose, work on it. "
        "List and correct what was told.",
        _LOG,
    ),
    "probe": group(
        "List, read, calibrate the probes.", "List, read, calibrate and check the probes.", _PROBE
    ),
    "journal": group(
        "Back up the journal, or read all of it.",
        "Copy the journal, or read all of it to see whether it is sound.",
        _JOURNAL,
    ),
    "mqtt": group(
        "Take back what was left on a broker.",
        "What was left on a broker of home automation.",
        _MQTT,
    ),
    "alarm": group(
        "List, acknowledge or shelve alarms.",
        "List alarms and their load; acknowledge, shelve, take out of service.",
        _ALARM,
    ),
}


class _Afterfill(LazyGroup):
    """Ends a command that failed in a known way with its sentence and its exit code."""

    def __init__(self, **settings: Any) -> None:  # noqa: ANN401 - as in the class above
        super().__init__(**{**settings, "commands": later(_COMMANDS)})

    def main(self, *args: Any, **options: Any) -> Any:  # noqa: ANN401 - as in the class above
        if logging.lastResort is not None:  # what commands say by the way, where `run` logs
            logging.lastResort.setFormatter(LogLines())
        try:
            return super().main(*args, **options)
        except AfterfillError as error:
            typer.echo(f"afterfill: {error}", err=True)
            raise SystemExit(error.exit_code) from error
        except KeyboardInterrupt:
            raise SystemExit(130) from None


def _version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"afterfill {version('afterfill')}")
        raise typer.Exit


def _own_options(
    *,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """The other options are those of the commands."""
    del version  # told by its callback


app = typer.Typer(
    cls=_Afterfill,
    callback=_own_options,
    help=(
        "Tells a fishkeeper whether tap-water disinfectant got into the tank after a refill.\n\n"
        "It reads ORP, pH and temperature probes. It is no drinking-water instrument and no "
        "substitute for a test kit. Exit codes: 0 done, 1 bad news (now, check, plan, probe), "
        "2 wrong use or configuration, 3 something is unavailable."
    ),
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def main() -> None:
    """The console script."""
    app(prog_name="afterfill")


if __name__ == "__main__":
    main()

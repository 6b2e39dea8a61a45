"""The command `afterfill`: one file per command; what a command needs loads when it runs."""

import logging
from collections.abc import Callable
from typing import Any

import typer
from typer.core import TyperGroup

from afterfill.cli.alarm.commands import alarm
from afterfill.cli.check.command import check
from afterfill.cli.demo.command import demo
from afterfill.cli.export import export
from afterfill.cli.journal import journal
from afterfill.cli.log.commands import log
from afterfill.cli.mqtt import mqtt
from afterfill.cli.now.command import now
from afterfill.cli.plan.command import plan
from afterfill.cli.probe.commands import probe
from afterfill.cli.replay import replay
from afterfill.cli.report import report
from afterfill.cli.run import run
from afterfill.cli.setup.command import setup
from afterfill.errors import AfterfillError
from afterfill.service.log_lines import LogLines


class _OneSentence(TyperGroup):
    """Ends a command that failed in a known way with its sentence and its exit code."""

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


app = typer.Typer(
    cls=_OneSentence,
    help=(
        "Tells a fishkeeper whether tap-water disinfectant got into the tank after a refill.\n\n"
        "It reads ORP, pH and temperature probes. It is no drinking-water instrument and no "
        "substitute for a test kit. Exit codes: 0 done, 1 bad news (now, check, plan, probe), "
        "2 wrong use or configuration, 3 something is unavailable."
    ),
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
)
_COMMANDS: dict[str, Callable[..., None]] = {
    "Show the whole job on a virtual tank, in less than a minute.": demo,
    "Run the service: read probes, watch refills, raise alarms.": run,
    "Write a starter configuration.": setup,
    "Prove configuration, ports, probes, broker, database, clock.": check,
    "Is the tank safe, as far as the probes can see?": now,
    "What to dose and expect before a refill, or after a carry-over.": plan,
    "A page about a refill or a period, to look back.": report,
    "Judge a recording as the live service would have.": replay,
    "Write a recording of a tank from the journal.": export,
}
for short, command in _COMMANDS.items():
    app.command(short_help=short)(command)
app.add_typer(log, name="log", short_help="Tell of a refill, a test-kit result, a dose, work.")
app.add_typer(probe, name="probe", short_help="List, read, calibrate the probes.")
app.add_typer(journal, name="journal", short_help="Back up the journal, or read all of it.")
app.add_typer(mqtt, name="mqtt", short_help="Take back what was left on a broker.")
app.add_typer(alarm, name="alarm", short_help="List, acknowledge or shelve alarms.")


def main() -> None:
    """The console script."""
    app(prog_name="afterfill")


if __name__ == "__main__":
    main()

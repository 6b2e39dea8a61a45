"""`afterfill log list`."""

from afterfill.cli.configured import loaded, reading_journal, tanks
from afterfill.cli.console import say, say_json, say_table
from afterfill.cli.log.lines import lines_of
from afterfill.cli.options import Asked
from afterfill.cli.times import present_s


def listed(limit: int, asked: Asked) -> None:
    """Print the newest `limit` words of the tank that is named, or of each."""
    settings = loaded(asked.config)
    names, now_s = tanks(settings, asked.tank), present_s()
    with reading_journal(settings.journal.path) as journal:
        found = {name: lines_of(journal, settings, name, limit) for name in names}
    for name, lines in found.items():
        if asked.as_json:
            for line in lines:
                say_json(line.wire())
        elif lines:
            say(f"{name}:")
            say_table(("number", "when", "said", ""), [line.cells(now_s) for line in lines])
        else:
            say(f"{name}: nothing was logged yet")

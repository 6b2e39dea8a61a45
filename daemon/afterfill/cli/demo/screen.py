"""What the demo shows: the moment, the belief and what was said, as a screen or as plain lines."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from textwrap import wrap

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.table import Table
from rich.text import Text

from afterfill.records import (
    AlarmChange,
    Estimate,
    Output,
    Quantiles,
    Quantity,
    Reading,
    RefillSeen,
    Verdict,
)
from afterfill.report.words import evidence_words
from afterfill.simulation.demo_run import Frame
from afterfill.simulation.demo_scenario import START_S

_BARS = "▁▂▃▄▅▆▇█"
_KEPT_LINES = 200
_CHART = 66
_NAMES = 21  # columns of the longest name
_INDENT = 13  # behind `day 5 06:15  `
_SAYS_LITTLE = 0.1  # log odds
_FRAME = 2  # rows of the panel's border
VERDICT_STYLE = {
    "clear": "green",
    "possible": "yellow",
    "carried-over": "bold red",
    "cannot-tell": "magenta",
}


@dataclass
class DemoScreen:
    """Takes frames and keeps what is to be seen of them."""

    estimate: Estimate | None = None
    verdict: Verdict | None = None
    alarms: dict[str, AlarmChange] = field(default_factory=dict)
    values: dict[Quantity, float] = field(default_factory=dict)
    orp_mv: deque[float] = field(default_factory=lambda: deque(maxlen=_CHART))
    lines: deque[str] = field(default_factory=lambda: deque(maxlen=_KEPT_LINES))
    time_s: float = 0.0
    true_mg_l: float = 0.0

    def took(self, frame: Frame) -> list[str]:
        """Take a frame; returns the new lines, one for each thing that was said or found."""
        self.time_s, self.true_mg_l = frame.time_s, frame.true_residual_mg_l
        for reading in frame.readings:
            self._read(reading)
        new = [f"{_clock(frame.time_s)}  {line}" for line in frame.lines]
        for output in frame.found:
            told = self._is_told(output)
            self._found(output)
            said = [] if told else sentences_of(output)
            new += [f"{_clock(frame.time_s)}  {text}" for text in said]
        self.lines.extend(new)
        return new

    def _is_told(self, output: Output) -> bool:
        """Whether it is an alarm that stands as it did: only figures, advice or doubt changed."""
        if not isinstance(output, AlarmChange):
            return False
        before = self.alarms.get(output.alarm)
        if before is None:
            return output.state == "normal"
        return (before.state, before.active) == (output.state, output.active)

    def _read(self, reading: Reading) -> None:
        if reading.value is None:
            return
        self.values[reading.quantity] = reading.value
        if reading.quantity == "orp":
            self.orp_mv.append(reading.value)

    def _found(self, output: Output) -> None:
        if isinstance(output, Estimate):
            self.estimate = output
        elif isinstance(output, Verdict):
            self.verdict = output
        elif isinstance(output, AlarmChange):
            self.alarms[output.alarm] = output

    def view(self, columns: int, rows: int) -> RenderableType:
        """The screen now, on a terminal of this size: the newest lines are always in sight."""
        title = f"afterfill demo: tank 'window', {_clock(self.time_s)} (fast time)"
        inner = max(columns - 4, 20)
        table, chart = self._table(inner), self._chart(inner)
        above = len(table.rows) + 1
        said = _newest(self.lines, inner, max(rows - _FRAME - above - 1, 3))
        parts: list[RenderableType] = [chart, table, Text("\n".join(said))]
        return Panel(Group(*parts), title=title, border_style=self._border(), width=columns)

    def _border(self) -> str:
        alarm = self.alarms.get("residual-oxidant")
        return "red" if alarm is not None and alarm.active else "cyan"

    def _chart(self, columns: int) -> Text:
        low, high = min(self.orp_mv, default=0.0), max(self.orp_mv, default=1.0)
        span = max(high - low, 25.0)
        label = f"ORP {self.values.get('orp', 0.0):6.1f} mV  "
        shown = list(self.orp_mv)[-(columns - len(label)) :]
        bars = "".join(_BARS[min(int((v - low) / span * 8), 7)] for v in shown)
        return Text(label + bars, style="bold", no_wrap=True)

    def _table(self, columns: int) -> Table:
        table = Table.grid(padding=(0, 2))
        for name, value in self._rows():
            value.truncate(columns - _NAMES, overflow="ellipsis")
            table.add_row(Text(name, style="dim"), value)
        return table

    def _rows(self) -> list[tuple[str, Text]]:
        values = self.values
        rows = [
            (
                "pH, temperature",
                Text(f"{values.get('ph', 0.0):.2f}, {values.get('temperature', 0.0):.1f} °C"),
            )
        ]
        if self.estimate is not None:
            rows += _estimate_rows(self.estimate)
        truth = f"{self.true_mg_l:.3f} mg/L (only the simulation knows this)"
        rows.append(("really in the water", Text(truth, style="italic")))
        if self.verdict is not None:
            rows.append(("last verdict", verdict_text(self.verdict)))
        active = [a.alarm for a in self.alarms.values() if a.active]
        rows.append(("alarms", Text(", ".join(active) or "none", style="red" if active else "")))
        return rows


def _newest(lines: Iterable[str], columns: int, rows: int) -> list[str]:
    """The last lines that fit, each whole as far as there is room; further rows of one stand
    behind its clock."""
    wrapped = [wrap(line, columns, subsequent_indent=" " * _INDENT) for line in lines]
    return [row for rows_of_one in wrapped for row in rows_of_one][-rows:]


def _estimate_rows(estimate: Estimate) -> list[tuple[str, Text]]:
    rows = [("residual oxidant", Text(f"{_spread(estimate.residual_mg_l)} mg/L as Cl2"))]
    if estimate.free_ammonia_mg_l is not None:
        ammonia = _spread(estimate.free_ammonia_mg_l)
        rows.append(("un-ionised ammonia", Text(f"{ammonia} mg/L as N")))
    if estimate.sees:
        floor = estimate.detection_floor_mg_l or 0.0
        rows.append(("sees", Text(f"residuals over about {floor:.2g} mg/L")))
    else:
        rows.append(("sees", Text(f"nothing: {estimate.why_blind}", style="magenta")))
    return rows


def _spread(quantiles: Quantiles) -> str:
    low, middle, high = quantiles
    return f"{middle:.3f}  (90 %: {low:.3f} to {high:.3f})"


def verdict_text(verdict: Verdict) -> Text:
    """A verdict in a line: word, probability, peak with interval."""
    final = ", final" if verdict.final else ""
    text = Text(verdict.verdict, style=VERDICT_STYLE[verdict.verdict])
    return text.append(
        f"  probability {verdict.probability:.2f}, peak {_spread(verdict.peak_residual_mg_l)}"
        f" mg/L{final}",
        style="default",
    )


def sentences_of(output: Output) -> list[str]:
    """What a finding says to a person, one line each; nothing for estimates."""
    if isinstance(output, RefillSeen):
        low, _, high = output.fraction
        return [f"a refill is under watch ({output.origin}, {low:.0%} to {high:.0%} of the tank)"]
    if isinstance(output, Verdict):
        telling = (e for e in output.evidence if abs(e.log_odds) >= _SAYS_LITTLE)
        reasons = "; ".join(evidence_words(e) for e in telling)
        return [f"verdict: {verdict_text(output).plain}", f"  because {reasons}"]
    if isinstance(output, AlarmChange):
        advice = (
            [f"  {output.advice}"] if output.advice and output.state == "unacknowledged" else []
        )
        return [f"alarm {output.alarm}: {output.state} ({output.message})", *advice]
    return []


def _clock(time_s: float) -> str:
    day, rest = divmod(int(time_s - START_S), 86400)
    return f"day {day + 1} {rest // 3600:02d}:{rest % 3600 // 60:02d}"

"""Small drawings over time, as HTML with SVG inside: lines stretch with the page, text does not.

The plot is an SVG of 1000 x 100 units drawn out to the width at hand; strokes keep their width,
and what is written beside it is ordinary text, as legible on a phone as on a wall.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import tzinfo
from typing import TypeVar

from afterfill.report.markup import Html, empty, joined, tag
from afterfill.report.scale import Scale, time_ticks

_WIDTH, _COLUMNS = 1000.0, 400  # columns: finer cannot be seen
Point = tuple[float, float]  # time [Unix s], value
Row = TypeVar("Row", tuple[float, float], tuple[float, float, float])


@dataclass(frozen=True, slots=True)
class Line:
    """Values over time; it breaks where they are more than `gap_s` apart."""

    points: Sequence[Point]
    style: str = "line"
    gap_s: float = 300.0


@dataclass(frozen=True, slots=True)
class Band:
    """From `low` to `high` over time: (time [Unix s], low, high)."""

    points: Sequence[tuple[float, float, float]]
    gap_s: float = 900.0


@dataclass(frozen=True)
class Chart:
    """One drawing. `summary` is for who cannot see it; `marks_s`: times of refills [Unix s];
    `blind_s`: stretches in which the probe could not be used; `limits` are drawn across."""

    title: str
    unit: str
    summary: str
    scale: Scale
    from_s: float
    to_s: float
    zone: tzinfo | None
    bands: Sequence[Band] = ()
    lines: Sequence[Line] = ()
    limits: Sequence[float] = ()
    marks_s: Sequence[float] = ()
    blind_s: Sequence[Point] = ()
    key: Sequence[tuple[str, str]] = field(default_factory=tuple)

    def x(self, time_s: float) -> float:
        """Units from the left edge."""
        share = (time_s - self.from_s) / (self.to_s - self.from_s)
        return _WIDTH * min(max(share, 0.0), 1.0)

    def y(self, value: float) -> float:
        """Units from the top."""
        return 100.0 - self.scale.percent(value)


def drawn(chart: Chart) -> Html:
    """The chart as a figure. Nothing in it is styled in place: a strict page may hold it."""
    plot = tag(
        "svg", *_shapes(chart), viewBox="0 0 1000 100", preserveAspectRatio="none", role="img",
        aria_label=chart.summary, class_="drawing",
    )  # fmt: skip
    beside = tag(
        "svg", *_value_words(chart), *_mark_words(chart), class_="words", aria_hidden="true"
    )
    caption = tag("figcaption", tag("strong", chart.title), f" {chart.unit}")
    key = [tag("li", tag("i", class_=style), words) for style, words in chart.key]
    return tag(
        "figure",
        caption,
        tag("div", plot, beside, class_="plot"),
        tag("svg", *_time_words(chart), class_="times", aria_hidden="true"),
        tag("ul", *key, class_="key") if key else Html(""),
        class_="chart",
    )


def _shapes(chart: Chart) -> Iterable[Html]:
    for from_s, to_s in chart.blind_s:
        left, width = chart.x(from_s), max(chart.x(to_s) - chart.x(from_s), 1.0)
        yield empty("rect", class_="blind", x=_n(left), y="0", width=_n(width), height="100")
    for value in chart.scale.ticks():
        yield _across(chart, value, "grid")
    for band in chart.bands:
        yield from _areas(chart, band)
    for line in chart.lines:
        yield from _strokes(chart, line)
    for value in chart.limits:
        yield _across(chart, value, "limit")
    for time_s in chart.marks_s:
        x = _n(chart.x(time_s))
        yield empty("line", class_="mark", x1=x, x2=x, y1="0", y2="100")


def _across(chart: Chart, value: float, style: str) -> Html:
    y = _n(chart.y(value))
    return empty("line", class_=style, x1="0", x2="1000", y1=y, y2=y)


def _areas(chart: Chart, band: Band) -> Iterable[Html]:
    for part in _parts(band.points, band.gap_s):
        up = [(t, high) for t, _, high in part]
        down = [(t, low) for t, low, _ in reversed(part)]
        yield empty("polygon", class_="band", points=_written(chart, [*up, *down]))


def _strokes(chart: Chart, line: Line) -> Iterable[Html]:
    for part in _parts(line.points, line.gap_s):
        shown = _thinned(chart, part)
        if len(shown) == 1:  # a single reading would be invisible
            shown = [shown[0], (shown[0][0] + (chart.to_s - chart.from_s) / 300.0, shown[0][1])]
        yield empty("polyline", class_=line.style, points=_written(chart, shown))


def _parts(points: Sequence[Row], gap_s: float) -> Iterable[list[Row]]:
    part: list[Row] = []
    for point in points:
        if part and point[0] - part[-1][0] > gap_s:
            yield part
            part = []
        part.append(point)
    if part:
        yield part


def _thinned(chart: Chart, points: Sequence[Point]) -> list[Point]:
    """Of each column the lowest and the highest, so that no peak is lost."""
    if len(points) <= 2 * _COLUMNS:
        return list(points)
    columns: dict[int, list[Point]] = {}
    for point in points:
        columns.setdefault(int(chart.x(point[0]) * _COLUMNS / _WIDTH), []).append(point)
    kept: list[Point] = []
    for column in columns.values():
        ends = {min(column, key=lambda p: p[1]), max(column, key=lambda p: p[1])}
        kept += sorted(ends)
    return kept


def _written(chart: Chart, points: Sequence[Point]) -> str:
    return " ".join(f"{_n(chart.x(t))},{_n(chart.y(v))}" for t, v in points)


def _value_words(chart: Chart) -> Iterable[Html]:
    for value in chart.scale.ticks():
        words, y = f"{round(value, 9):g}", f"{_n(chart.y(value))}%"
        yield tag("text", words, x="0", dx="-0.5em", y=y, dy="0.35em", text_anchor="end")


def _time_words(chart: Chart) -> Iterable[Html]:
    for time_s, words in time_ticks(chart.from_s, chart.to_s, chart.zone):
        percent = chart.x(time_s) / 10.0
        # nothing beyond the edges
        side = "start" if percent < 5.0 else "end" if percent > 95.0 else "middle"
        yield tag("text", words, x=f"{_n(percent)}%", y="1em", text_anchor=side)


def _mark_words(chart: Chart) -> Iterable[Html]:
    for time_s in chart.marks_s:
        x = f"{_n(chart.x(time_s) / 10.0)}%"
        yield tag("text", "refill", x=x, y="0", dy="-0.4em", text_anchor="middle", class_="refill")


def _n(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def nothing(title: str, why: str) -> Html:
    """In place of a chart that would be empty."""
    return joined(tag("h3", title), tag("p", why, class_="empty"))

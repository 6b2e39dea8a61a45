"""The few kinds of panel that the dashboards are made of, on a typed library's models."""

from typing import Any

from grafana_foundation_sdk.builders import bargauge, stat, statetimeline, table, timeseries
from grafana_foundation_sdk.builders import common as made
from grafana_foundation_sdk.builders import dashboard as making
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.cog.variants import Dataquery
from grafana_foundation_sdk.models import common
from grafana_foundation_sdk.models.dashboard import (
    DataSourceRef,
    DynamicConfigValue,
    FieldColorModeId,
    Panel,
    ValueMapping,
)
from grafana_foundation_sdk.models.units import PercentUnit

from dashboards.palette import BLUE

SOURCE = DataSourceRef(type_val="influxdb", uid="afterfill-influxql")
MG_L, PH = "suffix: mg/L", "suffix: pH"
DASHED, DOTTED, DASH_DOT = [10.0, 6.0], [2.0, 6.0], [12.0, 4.0, 2.0, 4.0]
_GAP_MS = 1_800_000.0  # longer without a point is a gap; shorter, and a month would fall into dots
_NOTHING = "no data"
Column = tuple[str, list[DynamicConfigValue]]  # its name in the answer, and how it is shown


class Question(Dataquery):
    """A query as the data source's editor keeps it; the library has no model of its own for it."""

    def __init__(self, text: str, *, alias: str = "", rows: bool = False) -> None:
        self.ref = "A"
        self.text, self.alias, self.rows = text, alias, rows

    def to_json(self) -> dict[str, object]:
        """As it stands in the file."""
        named: dict[str, object] = {"alias": self.alias} if self.alias else {}
        return {
            "datasource": SOURCE,
            "refId": self.ref,
            "query": self.text,
            "rawQuery": True,
            "resultFormat": "table" if self.rows else "time_series",
            **named,
        }


class _Made(Builder[Dataquery]):
    def __init__(self, question: Question) -> None:
        self.question = question

    def build(self) -> Dataquery:
        return self.question


def _asked(*questions: Question) -> list[Builder[Dataquery]]:
    for number, question in enumerate(questions):
        question.ref = chr(ord("A") + number)
    return [_Made(question) for question in questions]


def _fixed() -> making.FieldColor:
    return making.FieldColor().mode(FieldColorModeId.FIXED).fixed_color(BLUE)


def _line(colour: str, dash: list[float] | None, width: int) -> list[DynamicConfigValue]:
    style = {"fill": "dash", "dash": dash} if dash else {"fill": "solid"}
    return [
        DynamicConfigValue("color", {"mode": "fixed", "fixedColor": colour}),
        DynamicConfigValue("custom.lineStyle", style),
        DynamicConfigValue("custom.lineWidth", width),
    ]


class Curves:
    """A panel of curves over time."""

    def __init__(self, title: str, why: str, unit: str, decimals: int) -> None:
        self._questions: list[Question] = []
        self.panel = (
            timeseries.Panel()
            .title(title)
            .description(why)
            .datasource(SOURCE)
            .unit(unit)
            .decimals(decimals)
            .interval("1m")
            .color_scheme(_fixed())
            .insert_nulls(_GAP_MS)
            .fill_opacity(0)
            .no_value(_NOTHING)
            .legend(
                made.VizLegendOptions()
                .show_legend(True)
                .display_mode(common.LegendDisplayMode.LIST)
                .placement(common.LegendPlacement.BOTTOM)
                .calcs(["lastNotNull"])
            )
            .tooltip(made.VizTooltipOptions().mode(common.TooltipDisplayMode.MULTI))
        )

    def curve(
        self, name: str, query: str, colour: str, dash: list[float] | None = None, width: int = 2
    ) -> "Curves":
        """One curve, in its own colour and its own dashes."""
        self._questions.append(Question(query, alias="$col"))
        self.panel.override_by_name(name, _line(colour, dash, width))
        return self

    def curves_by(
        self, tag: str, query: str, looks: dict[str, tuple[str, list[float] | None]]
    ) -> "Curves":
        """One curve for each value of a tag."""
        self._questions.append(Question(query, alias=f"$tag_{tag}"))
        for name, (colour, dash) in looks.items():
            self.panel.override_by_name(name, _line(colour, dash, 2))
        return self

    def band(self, low: str, high: str, colour: str, of: tuple[str, str]) -> "Curves":
        """Fill between two curves; `of` are their queries."""
        self.curve(low, of[0], colour, width=1).curve(high, of[1], colour, width=1)
        shaded = [
            DynamicConfigValue("custom.fillBelowTo", low),
            DynamicConfigValue("custom.fillOpacity", 25),
        ]
        self.panel.override_by_name(high, shaded)
        return self

    def bars(self, name: str, query: str, colour: str) -> "Curves":
        """Bars instead of a curve."""
        self.panel.draw_style(common.GraphDrawStyle.BARS).fill_opacity(60)
        return self.curve(name, query, colour)

    def sized(self, width: int, height: int) -> Builder[Panel]:
        """The panel, `width` of 24 columns wide."""
        return self.panel.targets(_asked(*self._questions)).span(width).height(height)


def figure(
    title: str, why: str, asked: tuple[str, str], unit: str, decimals: int, size: tuple[int, int]
) -> Builder[Panel]:
    """One number; `asked` is the column and the query."""
    return _stat(title, why, asked, size).unit(unit).decimals(decimals)


def word(
    title: str, why: str, asked: tuple[str, str], said: list[ValueMapping], size: tuple[int, int]
) -> Builder[Panel]:
    """One word on its colour; `asked` is the column and the query."""
    panel = _stat(title, why, asked, size).unit("string").mappings(said)
    return panel.color_mode(common.BigValueColorMode.BACKGROUND_SOLID)


def _stat(title: str, why: str, asked: tuple[str, str], size: tuple[int, int]) -> stat.Panel:
    name, query = asked
    reduced = made.ReduceDataOptions().calcs(["lastNotNull"]).fields(f"/^{name}$/").values(False)
    return (
        stat.Panel()
        .title(title)
        .description(why)
        .datasource(SOURCE)
        .color_scheme(_fixed())
        .no_value(_NOTHING)
        .graph_mode(common.BigValueGraphMode.NONE)
        .text_mode(common.BigValueTextMode.VALUE)
        .reduce_options(reduced)
        .targets(_asked(Question(query, rows=True)))
        .span(size[0])
        .height(size[1])
    )


def column(
    name: str,
    shown: str = "",
    *,
    unit: str = "",
    decimals: int | None = None,
    said: list[ValueMapping] | None = None,
) -> Column:
    """How a column of a table is shown."""
    properties: list[tuple[str, Any]] = [("displayName", shown)] if shown else []
    properties += [("unit", unit)] if unit else []
    properties += [("decimals", decimals)] if decimals is not None else []
    if said is not None:
        properties += [("mappings", said), ("custom.cellOptions", {"type": "color-background"})]
    return name, [DynamicConfigValue(key, value) for key, value in properties]


def hidden(name: str) -> Column:
    """A column that is not shown."""
    return name, [DynamicConfigValue("custom.hidden", True)]


def rows(
    title: str,
    why: str,
    query: str,
    columns: list[Column],
    size: tuple[int, int],
) -> Builder[Panel]:
    """A table; what is not text says its unit in its column."""
    panel = (
        table.Panel()
        .title(title)
        .description(why)
        .datasource(SOURCE)
        .unit("string")
        .align(common.FieldTextAlignment.AUTO)
        .color_scheme(_fixed())
        .no_value(_NOTHING)
        .targets(_asked(Question(query, rows=True)))
        .span(size[0])
        .height(size[1])
    )
    for name, properties in columns:
        panel.override_by_name(name, properties)
    return panel


def bands(
    title: str,
    why: str,
    query: str,
    said: list[ValueMapping],
    tag: str,
    size: tuple[int, int],
    *,
    interval: str = "1m",
    unit: str = "string",
) -> Builder[Panel]:
    """Words over time, a row for each value of `tag` (or for the column, when it is empty).
    `interval`: the shortest step; longer than what is told regularly takes to be told again."""
    return (
        statetimeline.Panel()
        .title(title)
        .description(why)
        .datasource(SOURCE)
        .unit(unit)
        .mappings(said)
        .color_scheme(_fixed())
        .no_value(_NOTHING)
        .interval(interval)
        .show_value(common.VisibilityMode.AUTO)
        .fill_opacity(70)
        .line_width(0)
        .legend(made.VizLegendOptions().show_legend(False))
        .targets(_asked(Question(query, alias=f"$tag_{tag}" if tag else "$col")))
        .span(size[0])
        .height(size[1])
    )


def shares(title: str, why: str, query: str, size: tuple[int, int]) -> Builder[Panel]:
    """A bar with its figure for each column of an answer."""
    reduced = made.ReduceDataOptions().calcs(["lastNotNull"]).values(False)
    return (
        bargauge.Panel()
        .title(title)
        .description(why)
        .datasource(SOURCE)
        .unit(PercentUnit)
        .decimals(0)
        .min(0.0)
        .max(1.0)
        .color_scheme(_fixed())
        .no_value(_NOTHING)
        .orientation(common.VizOrientation.HORIZONTAL)
        .reduce_options(reduced)
        .targets(_asked(Question(query, alias="$col")))
        .span(size[0])
        .height(size[1])
    )

"""What all dashboards share: the variable, the marks over the curves, the links, the numbering."""

import json
from collections.abc import Sequence

from grafana_foundation_sdk.builders import dashboard as making
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.cog.encoder import JSONEncoder
from grafana_foundation_sdk.models.dashboard import (
    AnnotationTarget,
    Dashboard,
    DashboardCursorSync,
    DashboardLinkType,
    Panel,
    VariableRefresh,
    VariableSort,
)

from dashboards.palette import BLUE, ORANGE, VERMILLION
from dashboards.parts import SOURCE
from dashboards.queries import SHOWN, TANK, TANKS

TAG = "afterfill"


class _Mark(AnnotationTarget):
    """A query whose points are marked; the library's model has no query of this data source."""

    def __init__(self, measurement: str, text: str, tags: str) -> None:
        super().__init__()
        self._measurement, self._text, self._tags = measurement, text, tags

    def to_json(self) -> dict[str, object]:
        columns = ", ".join(f'"{name}"' for name in (self._text, *self._tags.split(",")) if name)
        return {
            "refId": "Anno",
            "query": f'SELECT {columns} FROM "{self._measurement}" WHERE {TANK} AND {SHOWN}',
            "rawQuery": True,
            "fromAnnotations": True,
            "textColumn": self._text,
            "tagsColumn": self._tags,
        }


class _MadeMark(Builder[AnnotationTarget]):
    def __init__(self, mark: _Mark) -> None:
        self._mark = mark

    def build(self) -> AnnotationTarget:
        return self._mark


def _marks(name: str, colour: str, mark: _Mark) -> making.AnnotationQuery:
    return (
        making.AnnotationQuery()
        .name(name)
        .datasource(SOURCE)
        .icon_color(colour)
        .target(_MadeMark(mark))
    )


def sheet(uid: str, title: str, why: str, since: str) -> making.Dashboard:
    """An empty dashboard; `since` is how far back it looks, as in "now-24h"."""
    link = (
        making.DashboardLink("Other views")
        .type(DashboardLinkType.DASHBOARDS)
        .tags([TAG])
        .as_dropdown(False)
        .include_vars(True)
        .keep_time(False)
    )
    return (
        making.Dashboard(title)
        .uid(uid)
        .description(why)
        .tags([TAG])
        .time(since, "now")
        .refresh("30s")
        .tooltip(DashboardCursorSync.CROSSHAIR)
        .version(1)
        .link(link)
    )


def of_one_tank(made: making.Dashboard) -> making.Dashboard:
    """Let the reader choose the tank."""
    variable = (
        making.QueryVariable("tank")
        .label("Tank")
        .datasource(SOURCE)
        .query(TANKS)
        .refresh(VariableRefresh.ON_TIME_RANGE_CHANGED)
        .sort(VariableSort.ALPHABETICAL_ASC)
    )
    return made.with_variable(variable)


def marked(made: making.Dashboard) -> making.Dashboard:
    """Mark verdicts, refills and alarms over the curves."""
    return (
        made.annotation(_marks("Verdicts", VERMILLION, _Mark("verdict", "verdict", "refill_time")))
        .annotation(_marks("Refills", BLUE, _Mark("refill", "origin", "")))
        .annotation(_marks("Alarms", ORANGE, _Mark("alarm", "state", "alarm,priority")))
    )


def row(made: making.Dashboard, title: str, lines: Sequence[Sequence[Builder[Panel]]]) -> None:
    """A headline and lines of panels, each line 24 columns wide."""
    made.with_row(making.Row(title))
    for line in lines:
        for panel in line:
            made.with_panel(panel)


def text_of(made: making.Dashboard) -> str:
    """The file's text; panels are numbered as they stand."""
    dashboard: Dashboard = made.build()
    for number, panel in enumerate(dashboard.panels or [], start=1):
        panel.id_val = number
    return json.dumps(dashboard, cls=JSONEncoder, indent=1, ensure_ascii=False) + "\n"

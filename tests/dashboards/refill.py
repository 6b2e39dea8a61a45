"""One refill under the lens: choose the time around it."""

from grafana_foundation_sdk.builders.dashboard import Dashboard
from grafana_foundation_sdk.cog.builder import Builder
from grafana_foundation_sdk.models.dashboard import Panel

from dashboards import curves
from dashboards.palette import BLUE, ORANGE, SIGHT, STATE, VERDICT, YES
from dashboards.parts import DASHED, MG_L, Column, Curves, bands, column, rows
from dashboards.queries import course, held, listed
from dashboards.sheet import marked, of_one_tank, row, sheet


def made() -> Dashboard:
    """The dashboard."""
    dashboard = sheet(
        "afterfill-refill",
        "A refill under the lens",
        "Draw over a curve, or choose a time above, from before the pour until the final verdict. "
        "Marks: verdicts, refills and alarms.",
        "now-6h",
    )
    marked(of_one_tank(dashboard))
    row(
        dashboard,
        "What is believed",
        [
            [curves.residual().sized(24, 11)],
            [curves.probability().sized(12, 8), _kinds().sized(12, 8)],
            [_until_below().sized(24, 6)],
        ],
    )
    row(
        dashboard,
        "What the probes said",
        [
            [curves.orp().sized(24, 8)],
            [curves.ph().sized(12, 7), curves.temperature().sized(12, 7)],
            [
                bands(
                    "Could the ORP be used?",
                    "While it is blind nothing can be ruled out.",
                    held("estimate", "sees", "ORP"),
                    SIGHT,
                    "",
                    (24, 4),
                    interval="10m",
                )
            ],
        ],
    )
    row(dashboard, "What was said about it", [_tables()])
    return dashboard


def _until_below() -> Curves:
    made = Curves(
        "How long until the residual is below its limit",
        "As forecast each half hour, nothing more poured. 0: below it now. A gap: not in a day.",
        "dtdurations",
        0,
    )
    made.panel.min(0.0)
    for name, field, colour, dash in (
        ("by the median", "residual_below_limit_in_s", BLUE, None),
        ("by the 95 % point", "residual_surely_below_limit_in_s", ORANGE, DASHED),
    ):
        made.curve(name, course("forecast", field, name, "max"), colour, dash)
    return made


def _share(name: str, shown: str) -> Column:
    return column(name, shown, unit="percentunit", decimals=0)


def _peak(name: str, shown: str) -> Column:
    return column(name, shown, unit=MG_L, decimals=3)


def _kinds() -> Curves:
    made = Curves(
        "Free and combined chlorine, medians",
        "Combined chlorine moves an ORP less than free chlorine does.",
        MG_L,
        3,
    )
    made.curve("free", course("estimate", "free_chlorine_q50_mg_l", "free"), BLUE)
    combined = course("estimate", "combined_chlorine_q50_mg_l", "combined")
    return made.curve("combined", combined, ORANGE, DASHED)


def _tables() -> list[Builder[Panel]]:
    time = column("Time", "told", unit="dateTimeAsIso")
    verdicts = listed(
        "verdict", "verdict", "probability", "peak_residual_q05_mg_l", "peak_residual_q50_mg_l",
        "peak_residual_q95_mg_l", "final", "refill_time",
    )  # fmt: skip
    return [
        rows(
            "Verdicts",
            "Each change, the newest first; the last on a refill is final. Peak: the highest "
            "residual since the pour, mg/L as Cl2.",
            verdicts,
            [
                time,
                column("verdict", said=VERDICT),
                _share("probability", "probability"),
                _peak("peak_residual_q05_mg_l", "peak, 5 %"),
                _peak("peak_residual_q50_mg_l", "peak, median"),
                _peak("peak_residual_q95_mg_l", "peak, 95 %"),
                column("final", said=YES),
                column("refill_time", "refill of"),
            ],
            (24, 7),
        ),
        rows(
            "Refills",
            "Announced, or inferred from the readings; the share of the tank's water.",
            listed("refill", "origin", "fraction_q05", "fraction_q50", "fraction_q95"),
            [
                time,
                _share("fraction_q05", "share, 5 %"),
                _share("fraction_q50", "share, median"),
                _share("fraction_q95", "share, 95 %"),
            ],
            (10, 7),
        ),
        rows(
            "Alarms",
            "Each change, the newest first, in the words of ISA-18.2.",
            listed("alarm", "alarm", "priority", "state", "active", "first_out"),
            [
                time,
                column("state", said=STATE),
                column("active", "holds", said=YES),
                column("first_out", "came first", said=YES),
            ],
            (14, 7),
        ),
    ]

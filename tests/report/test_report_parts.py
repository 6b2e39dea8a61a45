"""The parts of a report: spans, scales, drawings and figures."""

from datetime import UTC, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from afterfill.figures import figure, span_words
from afterfill.records import Evidence, Stock
from afterfill.report.chart import Chart, Line, drawn
from afterfill.report.gathered import BlindSpan, blind_spans
from afterfill.report.scale import Scale, scale_around, time_ticks
from afterfill.report.words import done_words, evidence_words, per_cent
from cli_room import estimate

DAY_S = 86400.0
MOST = "more than 1000 times higher)"


def test_blind_spans_join_what_counts_its_minutes_and_part_at_other_reasons() -> None:
    told = [
        estimate(0.0),
        estimate(60.0, sees=False, why_blind="no ORP reading for 6 min"),
        estimate(120.0, sees=False, why_blind="no ORP reading for 7 min"),
        estimate(180.0, sees=False, why_blind="the ORP probe was serviced; settling"),
        estimate(240.0),
        estimate(300.0, sees=False, why_blind="no ORP reading for 6 min"),
        estimate(9000.0, sees=False, why_blind="no ORP reading for 6 min"),
    ]
    assert blind_spans(told) == [
        BlindSpan(60.0, 120.0, "no ORP reading"),
        BlindSpan(180.0, 240.0, "the ORP probe was serviced; settling"),
        BlindSpan(300.0, 300.0, "no ORP reading"),
        BlindSpan(9000.0, 9000.0, "no ORP reading"),
    ]


@pytest.mark.parametrize("hours", [0.1, 1, 3, 5, 12, 30, 24 * 7, 24 * 60, 24 * 400])
def test_a_handful_of_round_times_whatever_the_period(hours: float) -> None:
    ticks = time_ticks(1_772_350_200.0, 1_772_350_200.0 + hours * 3600.0, UTC)
    assert len(ticks) <= 6
    assert hours < 1 or len(ticks) >= 2


def test_times_are_round_on_the_keepers_own_clock() -> None:
    zone = timezone(timedelta(hours=5, minutes=45))
    ticks = time_ticks(1_772_350_200.0, 1_772_350_200.0 + 3 * 3600.0, zone)
    assert [words for _, words in ticks][:2] == ["13:30", "14:00"]


def test_times_stay_round_on_the_day_that_the_clocks_change() -> None:
    zone = ZoneInfo("Europe/Berlin")
    begin_s = 1_774_738_800.0  # 2026-03-29 00:00 there; 02:00 does not exist
    ticks = time_ticks(begin_s, begin_s + 6 * 3600.0, zone)
    assert {words: time_s for time_s, words in ticks}["06:00"] == begin_s + 5 * 3600.0


def test_values_outside_a_scale_stand_at_its_edge() -> None:
    scale = Scale(0.001, 1.0, logarithmic=True)
    assert [scale.percent(v) for v in (0.0, 0.001, 1.0, 7.0)] == [0.0, 0.0, 100.0, 100.0]
    assert scale.ticks() == pytest.approx([0.001, 0.01, 0.1, 1.0])


def test_a_flat_line_gets_room() -> None:
    scale = scale_around([300.0, 300.0], 20.0)
    assert scale.low < 290.0 + 1e-9
    assert scale.high > 310.0 - 1e-9
    assert all(scale.low <= tick <= scale.high for tick in scale.ticks())


def chart_of(points: list[tuple[float, float]]) -> str:
    chart = Chart("ORP", "mV", "s", Scale(0.0, 100.0), 0.0, DAY_S, UTC, lines=[Line(points)])
    return drawn(chart)


def test_no_time_is_written_beyond_the_edges() -> None:
    svg = chart_of([(0.0, 1.0)])
    assert 'x="0%" y="1em" text-anchor="start"' in svg
    assert 'x="50%" y="1em" text-anchor="middle"' in svg


def test_a_gap_breaks_the_line() -> None:
    assert chart_of([(0.0, 1.0), (60.0, 1.0), (3600.0, 1.0), (3660.0, 1.0)]).count("<polyline") == 2


def test_thinning_keeps_a_spike_of_one_reading() -> None:
    points = [(t * 10.0, 100.0 if t == 4321 else 0.0) for t in range(8640)]
    svg = chart_of(points)
    assert ",0 " in svg  # the top of the plot
    assert len(svg) < 20_000


@pytest.mark.parametrize(
    ("value", "words"),
    [(0.0, "0"), (1e-5, "less than 0.0005"), (0.0123, "0.012"), (0.3, "0.30"), (3.44, "3.4"),
     (247.0, "247")],
)  # fmt: skip
def test_figures_have_no_powers_of_ten(value: float, words: str) -> None:
    assert figure(value) == words


def test_what_is_nearly_sure_is_not_called_sure() -> None:
    assert [per_cent(p) for p in (1.0, 0.5, 0.0)] == ["more than 99 %", "50 %", "less than 1 %"]


def test_spans_in_their_natural_unit() -> None:
    assert [span_words(s) for s in (90.0, 9000.0, 400_000.0)] == ["2 min", "2.5 h", "4.6 days"]


@pytest.mark.parametrize(
    ("log_odds", "words"),
    [
        (3.2, "the ORP probe: strongly for a carry-over (its odds 25 times higher)"),
        (-0.3, "the ORP probe: weakly against a carry-over (its odds 1.3 times lower)"),
        (0.01, "the ORP probe: says nothing either way"),
        (12.0, "the ORP probe: very strongly for a carry-over (its odds " + MOST),
    ],
)  # fmt: skip
def test_evidence_in_words(log_odds: float, words: str) -> None:
    assert evidence_words(Evidence("orp", log_odds)) == words


@pytest.mark.parametrize(
    ("stock", "words"),
    [
        (Stock(0.0, "t", "counted", 120.0), "neutraliser counted: 120 mL"),
        (Stock(0.0, "t", "opened"), "neutraliser opened: a bottle"),
    ],
)
def test_the_stock_of_neutraliser_stands_among_what_was_done(stock: Stock, words: str) -> None:
    assert done_words(stock, "mL") == words

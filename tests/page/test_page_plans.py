"""What the page shows besides: plans, what was, reports, months, the keeper's units."""

import re
import time
from pathlib import Path

from cli_room import afterfill, lines_of, running
from page_room import LOG, Asker, a_day, configured, served, text_of


def test_the_plan_stands_there_before_anything_is_poured(keeper: Asker, folder: Path) -> None:
    config = str(folder / "afterfill.toml")
    plan = lines_of(afterfill("plan", "--litres", "25", "--config", config, "--json"))[0]
    html = keeper.ask("/tank/window/plan").text  # of the usual refill
    text = text_of(html)
    assert "refill of 25 L" in text
    assert f"Dose: {plan['dose']['ml']:.2g} mL into the bucket" in text
    for step in plan["steps"][:3]:
        assert step.rstrip(".")[1:] in text
    assert (
        'href="/tank/window/log?litres=25&amp;litres.unit=L&amp;mode=replace&amp;source=tap"'
        in html
    )
    own = text_of(keeper.ask("/tank/window/plan?litres=10&litres.unit=US+gal&dose_ml=1").text)
    assert "10 US gal" in own
    assert "NOT SAFE as planned" in own


def test_what_was_planned_is_filled_in_when_it_is_logged(keeper: Asker) -> None:
    html = keeper.ask(f"{LOG}?litres=12&litres.unit=L&mode=add").text
    assert 'name="litres" value="12"' in html
    assert '<option value="add" selected="selected">' in html
    assert 'name="neutraliser_ml" value=""' in html  # the dose is what is really poured


def test_a_volume_that_cannot_be_gets_a_sentence(keeper: Asker) -> None:
    found = keeper.ask("/tank/window/plan?litres=500")
    assert found.status == 400
    assert "500: give more than nothing, and at most the tank's 120 L" in text_of(found.text)
    assert "--litres" not in text_of(found.text)


def test_the_rescue_plan_by_belief_and_by_a_kit(keeper: Asker) -> None:
    believed = keeper.ask("/tank/window/rescue").text
    assert "What not to do" in text_of(believed)
    assert 'class="planned safe"' not in believed  # there is something to rescue
    by_kit = text_of(keeper.ask("/tank/window/rescue?residual=0,5").text)
    assert "0.5 mg/L" in by_kit
    assert keeper.ask("/tank/window/rescue?residual=much").status == 400


def test_history_leads_to_the_report_of_each(keeper: Asker) -> None:
    html = keeper.ask("/tank/window/history").text
    assert "carried over, carry-over 97 %" in text_of(html)
    assert "25 L, drained and refilled" in text_of(html)
    assert "disinfectant in the water" in text_of(html)
    reports = [it.replace("&amp;", "&") for it in re.findall(r'href="(/[^"]*report[^"]*)"', html)]
    assert len(reports) >= 2
    for where in reports[:3]:
        found = keeper.ask(where)
        assert found.status == 200
        assert "How the verdict came about" in found.text
    assert keeper.ask("/tank/window/report?refill=2001-01-01T00:00:00Z").status == 400


def test_months_stand_side_by_side(keeper: Asker) -> None:
    text = text_of(keeper.ask("/tank/window/months").text)
    assert time.strftime("%Y-%m") in text
    assert "detection floor" in text


def test_the_keepers_own_units_are_shown(tmp_path: Path) -> None:
    config = configured(tmp_path, 'units = { volume = "US gal", temperature = "F" }\n')
    a_day(tmp_path)
    with running(tmp_path), served(config) as page:
        keeper = page.keeper()
        assert "°F" in text_of(keeper.ask("/").text)
        html = keeper.ask(LOG).text
        assert 'name="litres" value="6.6"' in html
        assert '<option value="US gal" selected="selected">' in html
        assert "refill of 6.6 US gal (25 L)" in text_of(keeper.ask("/tank/window/plan").text)

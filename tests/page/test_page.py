"""What the keeper sees and tells: on the real server, into the real journal."""

import http.client
import json
import re
import time
from pathlib import Path

import pytest

from afterfill.journal.store import Journal
from afterfill.records import (
    AlarmCommand,
    Dose,
    KitResult,
    Quantiles,
    Refill,
    Service,
    SourceTest,
    Stock,
    Verdict,
)
from cli_room import afterfill, alarm, inbox, lines_of, record, running, written_at
from page_room import LOG, PASSWORD, Asker, Served, a_day, carried_over, configured, served, text_of


@pytest.fixture
def another(page: Served) -> Asker:
    """A session of its own: what one may change in a minute is bounded."""
    return page.keeper()


def told(keeper: Asker, kind: str, fields: dict[str, str], ending: str = "") -> int:
    ticket = keeper.ticket(LOG, f".{ending or kind}")
    return keeper.post(f"{LOG}/{kind}", {**fields, "ticket": ticket}).status


# --- how it stands -----------------------------------------------------------------------------


def test_word_why_since_and_what_to_do_come_first(keeper: Asker) -> None:
    text = text_of(keeper.ask("/").text)
    order = ["NOT SAFE", "neutraliser absent, short or used up", "Since ", "What to do now",
             "Stop the refill", "Do not add raw water", "The last day", "Figures"]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_it_says_what_now_says(keeper: Asker, folder: Path) -> None:
    now = lines_of(afterfill("now", "--config", str(folder / "afterfill.toml"), "--json"))[0]
    text = text_of(keeper.ask("/").text)
    assert now["state"] == "not-safe"
    assert now["why"][1:] in text
    assert f"limit {now['limit_mg_l']:.3g}" in text
    assert "carried over (final), carry-over with probability 97 %" in text
    assert now["verdict"]["verdict"] == "carried-over"


def test_what_the_probe_cannot_see_is_said(keeper: Asker) -> None:
    text = text_of(keeper.ask("/").text)
    assert "a residual of 0.12 mg/L or more; less is not told from none" in text


def test_the_last_day_is_drawn_with_band_limit_detection_limit_and_blindness(keeper: Asker) -> None:
    html = keeper.ask("/").text
    for drawn in (
        'class="band"',
        'class="limit"',
        'class="floor"',
        'class="blind"',
        'class="mark"',
    ):
        assert drawn in html
    for summary in ("Residual over time", "ORP over time", "pH over time", "Temperature over time"):
        assert f'aria-label="{summary}' in html


def test_a_service_that_does_not_run_is_never_safe(tmp_path: Path) -> None:
    config = configured(tmp_path)
    a_day(tmp_path)
    with served(config) as page:
        text = text_of(page.keeper().ask("/").text)
    assert "CANNOT TELL" in text
    assert "The service is not running" in text
    assert "safe as far" not in text


def test_without_a_journal_it_says_so_and_takes_up_the_one_that_comes(tmp_path: Path) -> None:
    with served(configured(tmp_path)) as page:
        keeper = page.keeper()
        assert "CANNOT TELL: the journal" in text_of(keeper.ask("/").text)
        assert keeper.ask("/tank/window/history").status == 503
        a_day(tmp_path)
        with running(tmp_path):
            assert "safe as far as the probes can see" in text_of(keeper.ask("/").text)


def test_several_tanks_stand_side_by_side(tmp_path: Path) -> None:
    tanks = "".join(f"[tank.{name}]\nlitres = 60\n" for name in ("window", "fry"))
    config = configured(tmp_path, tanks=tanks)
    a_day(tmp_path)
    with running(tmp_path), served(config) as page:
        keeper = page.keeper()
        text = text_of(keeper.ask("/").text)
        assert re.search(r"window (. )?safe as far as the probes can see", text)
        assert "CANNOT TELL Nothing has been read and estimated yet" in text
        assert "fry" in text_of(keeper.ask("/tank/fry").text)
        assert 'href="/tank/fry"' in keeper.ask("/").text


def test_news_are_pushed_within_a_second_of_their_commit(tmp_path: Path) -> None:
    config = configured(tmp_path)
    now_s = a_day(tmp_path)
    with running(tmp_path), served(config) as page:
        line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
        line.request("GET", "/live?tank=window", headers={"Cookie": page.keeper().cookie})
        stream = line.getresponse()
        assert "safe as far" in _news(stream)["said"]
        waits = list[float]()
        for n in range(5):
            verdict = Verdict(now_s + n, "window", now_s - 60 - n, "possible", 0.4 + n / 100,
                              Quantiles(0.0, 0.1, 0.3), False)  # fmt: skip
            with Journal.open(tmp_path / "afterfill.db") as journal:
                journal.append(verdict, written_at(now_s))
                journal.commit()
                began_s = time.monotonic()
            while f"probability {40 + n} %" not in _news(stream)["figures"]:
                assert time.monotonic() - began_s < 10.0
            waits.append(time.monotonic() - began_s)
        line.close()
    assert max(waits) < 1.0


def _news(stream: http.client.HTTPResponse) -> dict[str, str]:
    while not (line := stream.readline()).startswith(b"data:"):
        assert line, "the stream has ended"
    found: dict[str, str] = json.loads(line[5:])
    return found


# --- what is told ------------------------------------------------------------------------------


def test_the_usual_refill_is_offered_and_logged_as_it_stands(keeper: Asker, folder: Path) -> None:
    html = keeper.ask(LOG).text
    offered = dict(re.findall(r'<input id="refill-[^"]*" name="([^"]+)" value="([^"]*)"', html))
    assert offered == {"litres": "25", "neutraliser_ml": "5", "minutes": "10", "at": ""}
    assert told(keeper, "refill", {**offered, "litres.unit": "L", "mode": "replace"}) == 303
    event = inbox(folder)[-1]
    assert event == Refill(event.time_s, "window", "replace", 25.0, 10.0, 5.0)
    assert abs(event.time_s - time.time()) < 5.0
    assert "Logged for tank window" in text_of(keeper.ask("/").text)


@pytest.mark.parametrize(
    ("litres", "unit", "expected"),
    [
        ("2,5", "L", 2.5),
        ("10", "US gal", 37.854),
        ("6 imp gal", "L", 27.277),
        ("750 ml", "L", 0.75),
    ],
)
def test_amounts_are_read_as_people_type_them(
    keeper: Asker, folder: Path, litres: str, unit: str, expected: float
) -> None:
    # a US gallon is 3.785411784 L, an imperial one 4.54609 L (NIST SP 811, appendix B; from memory)
    fields = {"litres": litres, "litres.unit": unit, "mode": "add", "neutraliser_ml": ""}
    assert told(keeper, "refill", fields) == 303
    event = inbox(folder)[-1]
    assert event.litres == pytest.approx(expected, rel=1e-4)
    assert (event.mode, event.neutraliser_ml) == ("add", None)


def test_tests_doses_work_and_stock_are_told(keeper: Asker, folder: Path) -> None:
    assert told(keeper, "kit", {"total_chlorine_mg_l": "0,2", "total_ammonia_mg_l": "0.5",
                                "total_ammonia_mg_l.unit": "NH3", "ph": "7.1"}) == 303  # fmt: skip
    kit = inbox(folder)[-1]
    assert isinstance(kit, KitResult)
    # 14.007 of 17.031 g/mol of NH3 are nitrogen
    assert kit.total_ammonia_mg_l == pytest.approx(0.5 * 14.007 / 17.031, rel=1e-3)
    assert (kit.total_chlorine_mg_l, kit.ph) == (0.2, 7.1)
    tested = {"total_chlorine_mg_l": "1.9", "total_chlorine_mg_l.unit": "NH2Cl"}
    assert told(keeper, "source-test", {**tested, "at": "20 min ago"}) == 303
    test = inbox(folder)[-1]
    assert isinstance(test, SourceTest)
    # 70.906 g/mol of Cl2 for 51.476 of NH2Cl
    assert test.total_chlorine_mg_l == pytest.approx(1.9 * 70.906 / 51.476, rel=1e-3)
    assert time.time() - test.time_s == pytest.approx(1200, abs=10)
    assert told(keeper, "dose", {"neutraliser_ml": "2 ml"}) == 303
    assert isinstance(inbox(folder)[-1], Dose)
    for what in ("feeding", "cleaning", "probe"):
        assert told(keeper, "service", {"what": what}, "work") == 303
        assert inbox(folder)[-1] == Service(inbox(folder)[-1].time_s, "window", what)
    out = {"what": "probe", "quantity": "orp", "minutes": "20"}
    assert told(keeper, "service", out) == 303
    assert (inbox(folder)[-1].quantity, inbox(folder)[-1].minutes) == ("orp", 20.0)
    assert told(keeper, "stock", {"what": "counted", "neutraliser_ml": "120"}) == 303
    assert isinstance(inbox(folder)[-1], Stock)


@pytest.mark.parametrize(
    ("kind", "fields", "says"),
    [
        ("refill", {"litres": "9999", "litres.unit": "L", "mode": "replace"}, "cannot be meant"),
        ("refill", {"litres": "1,200", "litres.unit": "L", "mode": "replace"}, "1,200"),
        ("kit", {}, "at least one value"),
        ("kit", {"ph": "77"}, "less than or equal to 14"),
        ("dose", {"neutraliser_ml": "much"}, "neutraliser_ml"),
        ("source-test", {"total_chlorine_mg_l": "1", "source": "no-such"}, "no source"),
        ("kit", {"ph": "7", "at": "tomorrow"}, "is not a time"),
    ],
)
def test_a_slip_comes_back_with_a_sentence_and_what_was_typed(
    keeper: Asker, folder: Path, kind: str, fields: dict[str, str], says: str
) -> None:
    before = len(inbox(folder))
    ticket = keeper.ticket(LOG, f".{kind}")
    found = keeper.post(f"{LOG}/{kind}", {**fields, "ticket": ticket})
    assert found.status == 400
    assert says in text_of(found.text)
    assert len(inbox(folder)) == before
    typed = next(iter(fields.values()), "")
    if kind != "source-test":
        assert f'value="{typed}"' in found.text


def test_what_is_strange_is_asked_about_and_taken_when_it_is_meant_so(
    another: Asker, folder: Path
) -> None:
    fields = {"litres": "130", "litres.unit": "L", "mode": "replace", "neutraliser_ml": "3"}
    before = len(inbox(folder))
    ticket = another.ticket(LOG, ".refill")
    asked = another.post(f"{LOG}/refill", {**fields, "ticket": ticket})
    assert asked.status == 400
    assert "Is it meant so?" in text_of(asked.text)
    assert 'name="sure"' in asked.text
    assert len(inbox(folder)) == before
    assert told(another, "refill", {**fields, "sure": "yes"}) == 303
    assert inbox(folder)[-1].litres == 130.0


def test_a_word_is_taken_back_in_two_taps(tmp_path: Path) -> None:
    config = configured(tmp_path)
    a_day(tmp_path, *carried_over(round(time.time())))
    record(tmp_path, Refill(time.time() - 60.0, "window", "add", 7.0, 5.0, 1.0))
    with Journal.open(tmp_path / "afterfill.db") as journal:
        number = journal.latest("refill", "window")[0].seq
    with served(config) as room:
        keeper = room.keeper()
        html = keeper.ask(LOG).text
        assert "Logged lately" in html
        assert f'name="of" value="{number}"' in html
        taken_back = {"of": str(number), "remove": "yes"}
        assert told(keeper, "correction", taken_back, str(number)) == 303
        again = keeper.post(f"{LOG}/correction", {**taken_back, "ticket": "another.one"})
    taken = inbox(tmp_path)[-1]
    assert (taken.of, taken.word) == (number, None)
    assert again.status == 400
    assert "is on its way" in text_of(again.text)


def test_a_word_is_corrected_in_place_and_asked_about_where_that_is_strange(
    tmp_path: Path,
) -> None:
    config = configured(tmp_path)
    a_day(tmp_path)
    record(tmp_path, Refill(time.time() - 60.0, "window", "replace", 7.0, 5.0, 1.0))
    with Journal.open(tmp_path / "afterfill.db") as journal:
        number = str(journal.latest("refill", "window")[0].seq)
    with served(config) as room:
        keeper = room.keeper()
        strange = {"of": number, "litres": "130", "ticket": keeper.ticket(LOG, f".{number}c")}
        asked = keeper.post(f"{LOG}/correction", strange)
        assert asked.status == 400
        assert "Is it meant so?" in text_of(asked.text)
        assert 'name="sure"' in asked.text
        right = {"of": number, "litres": "17,5", "minutes": "", "neutraliser_ml": "2"}
        assert told(keeper, "correction", right, f"{number}c") == 303
    said = inbox(tmp_path)[-1]
    assert (said.of, said.word.litres, said.word.neutraliser_ml) == (int(number), 17.5, 2.0)
    assert said.word.minutes == 5.0, "what is left empty stays"


@pytest.mark.parametrize("of", ["", "one", "-1", "99999999", "\u0661"])
def test_what_is_no_word_cannot_be_taken_back(another: Asker, folder: Path, of: str) -> None:
    before = len(inbox(folder))
    refused = another.post(
        f"{LOG}/correction", {"of": of, "remove": "yes", "ticket": f"t{len(of)}.{before}"}
    )
    assert refused.status == 400
    assert len(inbox(folder)) == before


def test_a_note_is_kept(another: Asker, folder: Path) -> None:
    assert told(another, "note", {"text": "new <lamp>"}) == 303
    assert inbox(folder)[-1].text == "new <lamp>"
    assert "new &lt;lamp&gt;" in another.ask(LOG).text


def test_an_alarm_is_acknowledged_put_aside_and_taken_back(keeper: Asker, folder: Path) -> None:
    where = "/tank/window/alarm/residual-oxidant"
    assert f'href="{where}"' in keeper.ask("/").text
    done = keeper.post(f"{where}/acknowledge", {"ticket": keeper.ticket(where, ".acknowledge")})
    assert done.status == 303
    said = inbox(folder)[-1]
    assert isinstance(said, AlarmCommand)
    assert (said.alarm, said.action) == ("residual-oxidant", "acknowledge")
    shelve = {"ticket": keeper.ticket(where, ".shelve60"), "minutes": "60"}
    assert keeper.post(f"{where}/shelve", shelve).status == 303
    assert (inbox(folder)[-1].action, inbox(folder)[-1].minutes) == ("shelve", 60.0)
    record(folder, alarm(time.time() - 1, "ph", "shelved"))
    where = "/tank/window/alarm/ph"
    assert (
        keeper.post(f"{where}/unshelve", {"ticket": keeper.ticket(where, ".unshelve")}).status
        == 303
    )
    assert inbox(folder)[-1].action == "unshelve"


def test_an_alarm_that_is_over_has_nothing_to_answer(keeper: Asker) -> None:
    html = keeper.ask("/tank/window/alarm/temperature").text
    assert "nothing to answer" in text_of(html)
    assert "/acknowledge" not in html


def test_the_link_of_a_mail_leads_to_the_button_by_way_of_the_password(
    page: Served, folder: Path
) -> None:
    before, keeper = len(inbox(folder)), page.asker()
    asked = keeper.ask("/tank/window/alarm/residual-oxidant", Sec_Fetch_Site="cross-site",
                       Sec_Fetch_Mode="navigate")  # fmt: skip
    form = keeper.ask(asked.headers["location"]).text
    wanted = re.search(r'name="next" value="([^"]+)"', form)
    assert wanted is not None
    found = keeper.post("/login", {"password": PASSWORD, "next": wanted[1]})
    assert found.headers["location"] == "/tank/window/alarm/residual-oxidant"
    assert f'href="{wanted[1]}"' in form  # for who is logged in: the cookie does not come by a mail
    keeper.cookie = found.headers["set-cookie"].partition(";")[0]
    assert "I am on it (acknowledge)" in keeper.ask(wanted[1]).text
    assert len(inbox(folder)) == before

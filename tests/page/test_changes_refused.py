"""Changes that the page does not take: from elsewhere, twice, too large, too many, too slow."""

import http.client
import socket
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from afterfill.page.sessions import Sessions
from afterfill.records import Refill
from cli_room import inbox
from page_paths import CHANGES, REFILL, refill_of
from page_room import PASSWORD, Asker, Served, page_room
from servers import wait_until

# --- where a change comes from -----------------------------------------------------------------

FOREIGN = [
    {"Origin": ""}, {"Origin": "null"}, {"Origin": "http://evil.example"},
    {"Origin": "http://127.0.0.1:1"}, {"Origin": "http://127.0.0.1.evil.example:{port}"},
    {"Origin": "https://127.0.0.1:{port}"},
    {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}, {"Sec-Fetch-Site": "none"},
]  # fmt: skip


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with page_room(folder) as room:
        yield room


@pytest.mark.parametrize("headers", FOREIGN, ids=repr)
def test_a_change_from_elsewhere_is_refused(
    page: Served, keeper: Asker, folder: Path, headers: dict[str, str]
) -> None:
    before = len(inbox(folder))
    sent = {name: value.format(port=page.port) for name, value in headers.items()}
    assert keeper.post("/tank/window/log/refill", refill_of(keeper), **sent).status == 403
    assert page.asker().post("/login", {"password": PASSWORD}, **sent).status == 403
    assert len(inbox(folder)) == before


@pytest.mark.parametrize("path", CHANGES)
def test_every_change_asks_where_it_comes_from(
    page: Served, keeper: Asker, folder: Path, path: str
) -> None:
    before = len(inbox(folder))
    fields = {**REFILL, "what": "feeding", "ticket": "x"}
    for headers in ({"Origin": "http://evil.example"}, {"Sec-Fetch-Site": "cross-site"}):
        assert keeper.post(path, fields, **headers).status == 403
    assert len(inbox(folder)) == before
    assert keeper.ask("/").status == 200  # nor was anyone logged out


def test_a_change_from_the_page_itself_is_taken(keeper: Asker, folder: Path) -> None:
    found = keeper.post("/tank/window/log/refill", refill_of(keeper), Sec_Fetch_Site="same-origin")
    assert found.status == 303
    assert isinstance(inbox(folder)[-1], Refill)


def test_another_site_cannot_use_the_page_as_a_picture_or_script(keeper: Asker) -> None:
    for mode in ("no-cors", "cors", "same-origin"):
        found = keeper.ask("/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode=mode)
        assert found.status == 403
    followed = keeper.ask("/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate")
    assert followed.status == 200  # a link from a mail


@pytest.mark.parametrize("kind", ["text/plain", "application/json", "multipart/form-data", ""])
def test_a_change_that_is_no_form_is_refused(keeper: Asker, kind: str) -> None:
    found = keeper.post("/tank/window/log/refill", REFILL, Content_Type=kind)
    assert found.status == 415


@pytest.mark.parametrize("path", ["/tank/window/log/refill", "/tank/window/alarm/ph/acknowledge",
                                  "/logout"])  # fmt: skip
def test_asking_changes_nothing(keeper: Asker, folder: Path, path: str) -> None:
    before = len(inbox(folder))
    assert keeper.ask(f"{path}?litres=25&mode=replace&ticket=x").status == 405
    assert keeper.ask("/").status == 200
    assert len(inbox(folder)) == before


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(keeper: Asker, method: str) -> None:
    assert keeper.ask("/", method).status == 405


def test_a_form_is_taken_once(keeper: Asker, folder: Path) -> None:
    sent, before = refill_of(keeper), len(inbox(folder))
    for _ in range(3):
        assert keeper.post("/tank/window/log/refill", sent).status == 303
    assert len(inbox(folder)) == before + 1
    assert "not logged again" in keeper.ask("/").text


@pytest.mark.parametrize("ticket", ["", "x" * 41])
def test_a_form_without_its_ticket_is_not_taken(page: Served, folder: Path, ticket: str) -> None:
    before, keeper = len(inbox(folder)), page.keeper()
    for path in CHANGES:
        if path != "/logout":
            fields = {**REFILL, "what": "feeding", "minutes": "60", "ticket": ticket}
            assert keeper.post(path, fields).status == 400
    assert len(inbox(folder)) == before


@pytest.mark.parametrize(
    "wanted",
    ["//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "",
     "/\r\nSet-Cookie: a=b"],
)  # fmt: skip
def test_a_log_in_leads_nowhere_else(page: Served, wanted: str) -> None:
    found = page.asker().post("/login", {"password": PASSWORD, "next": wanted})
    assert found.headers["location"] == "/"


# --- how much, and how often -------------------------------------------------------------------


def test_a_log_in_can_be_tried_a_few_times_only(page: Served) -> None:
    guesser, other = page.asker(), page.asker()
    tried = [guesser.post("/login", {"password": f"guess {n}"}).status for n in range(5)]
    assert tried == [403] * 5
    assert guesser.post("/login", {"password": PASSWORD}).status == 429  # right, but too late
    assert other.post("/login", {"password": PASSWORD}).status == 303


def test_changes_can_be_sent_at_a_bounded_rate(page: Served, folder: Path) -> None:
    keeper = page.keeper()
    sent = [keeper.post("/tank/window/log/dose", {"ticket": "x"}).status for n in range(40)]
    assert 429 in sent
    assert sent.index(429) >= 30
    assert keeper.ask("/").status == 200


def test_plans_are_worked_out_at_a_bounded_rate() -> None:
    sessions = Sessions()
    session = sessions.of(sessions.begin(0.0), 0.0)
    assert session is not None
    assert sum(session.work.take(1.0) for _ in range(100)) == 20


def test_a_large_body_is_refused(keeper: Asker, folder: Path) -> None:
    before = len(inbox(folder))
    fields = {**refill_of(keeper), "minutes": "1" * 9000}
    assert keeper.post("/tank/window/log/refill", fields).status == 413
    assert len(inbox(folder)) == before


@pytest.mark.parametrize("said", ["-1", "1e9", "99999999999999999999999"])
def test_a_length_that_is_none_is_refused(page: Served, keeper: Asker, said: str) -> None:
    head = (
        f"POST /logout HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nOrigin: {keeper.origin}\r\n"
        f"Cookie: {keeper.cookie}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        f"Content-Length: {said}\r\n\r\n"
    )
    assert _raw(page, head.encode()).split()[1] in (b"400", b"413")


def test_a_large_body_in_pieces_is_refused(page: Served, keeper: Asker) -> None:
    head = (
        f"POST /tank/window/log/kit HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\n"
        f"Origin: {keeper.origin}\r\nCookie: {keeper.cookie}\r\nTransfer-Encoding: chunked\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\n\r\n"
    )
    small, large = (
        b"".join(b"3e8\r\n" + b"a" * 1000 + b"\r\n" for _ in range(n)) + b"0\r\n\r\n"
        for n in (2, 20)
    )
    assert _raw(page, head.encode() + large).split()[1] == b"413"
    assert _raw(page, head.encode() + small).split()[1] == b"400"  # read, and no form of ours


def test_a_body_that_does_not_come_is_not_waited_for(page: Served, keeper: Asker) -> None:
    head = (
        f"POST /login HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nOrigin: {keeper.origin}\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 100\r\n\r\n"
    )
    assert _raw(page, head.encode(), 20.0).split()[1] == b"408"


def test_a_large_head_is_refused(page: Served) -> None:
    head = f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nX: {'x' * 100_000}\r\n\r\n"
    assert _raw(page, head.encode()).split()[1] in (b"400", b"431")


def _raw(page: Served, data: bytes, within_s: float = 10.0) -> bytes:
    with socket.create_connection(("127.0.0.1", page.port), within_s) as line:
        with suppress(ConnectionError):  # it may be refused before all is said
            line.sendall(data)
        return line.recv(4096)


def test_the_number_of_listeners_is_bounded(page: Served) -> None:
    keeper, open_ = page.keeper(), list[http.client.HTTPConnection]()
    found = list[int]()
    for _ in range(26):
        line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
        line.request("GET", "/live?tank=window", headers={"Cookie": keeper.cookie})
        answer = line.getresponse()
        found.append(answer.status)
        if answer.status == 200:
            answer.readline()
        open_.append(line)
    assert found.count(200) == 24
    assert found[-1] == 503
    assert keeper.ask("/").status == 200  # the page itself is still there
    for line in open_:
        line.close()
    keeper.post("/logout", {})
    wait_until(lambda: _listens(page), "they have gone")


def _listens(page: Served) -> bool:
    line = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
    keeper = page.keeper()
    line.request("GET", "/live?tank=window", headers={"Cookie": keeper.cookie})
    status = line.getresponse().status
    line.close()
    return status == 200

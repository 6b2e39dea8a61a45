"""Who may see and change what: each against the real server over a real socket."""

import hmac
import http.client
import re
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import html5lib
import pytest
from starlette.routing import Route

from afterfill.config_file import load
from afterfill.errors import ConfigError
from afterfill.page.app import made
from afterfill.page.password import Password
from afterfill.page.sessions import IDLE_S, LONGEST_S, Sessions
from afterfill.page.site import Site
from afterfill.records import AlarmChange
from cli_room import inbox, record, running
from page_paths import CHANGES, HOSTILE, OPEN, PAGES, REFILL
from page_room import PASSWORD, Answer, Asker, Served, a_day, configured, page_room, served


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with page_room(folder) as room:
        yield room


# --- where it listens, and under which names ---------------------------------------------------


def test_it_listens_on_the_address_that_was_given_and_on_no_other(page: Served) -> None:
    with socket.create_connection(("127.0.0.1", page.port), 5):
        pass
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.2", page.port), 5)


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1:1", "[::1]", ""]
)
def test_a_rebound_name_is_not_served(page: Served, keeper: Asker, host: str) -> None:
    found = keeper.ask("/", Host=host.format(port=page.port))
    assert found.status in (400, 421)
    assert "window" not in found.text


def test_its_own_names_are_served(page: Served, keeper: Asker) -> None:
    assert keeper.ask("/", Host=f"localhost:{page.port}").status == 200
    assert Site(8420, "https://tank.example").hosts("192.168.1.20") == {
        "192.168.1.20:8420", "tank.example",
    }  # fmt: skip


# --- the password ------------------------------------------------------------------------------


def test_the_list_of_pages_and_changes_here_is_whole(page: Served, folder: Path) -> None:
    app = made(
        load(folder / "afterfill.toml"), folder / "afterfill.toml", Site(1), Password(PASSWORD)
    )
    routes = [route for route in app.routes if isinstance(route, Route)]
    known = [re.sub("window", "{tank}", path) for path in PAGES]
    known = [re.sub("residual-oxidant", "{name}", path) for path in known]
    assert len(routes) == len(app.routes)
    gets = {route.path for route in routes if "GET" in (route.methods or ())}
    posts = {route.path for route in routes if "POST" in (route.methods or ())}
    assert gets == {*known, *OPEN, "/live"}
    assert posts == {
        "/login", "/logout", "/tank/{tank}/log/{kind}", "/tank/{tank}/alarm/{name}/{action}",
    }  # fmt: skip


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("cookie", ["", "afterfill=", "afterfill=guessed", "afterfill=\x80;;=;"])
def test_the_password_is_asked_at_every_page(page: Served, path: str, cookie: str) -> None:
    found = Asker(page.port, cookie).ask(path)
    assert found.status == 303
    assert found.headers["location"].startswith("/login?next=/")
    assert found.text == ""


def test_the_password_is_asked_at_the_event_stream(page: Served) -> None:
    assert page.asker().ask("/live?tank=window").status == 401
    assert page.asker().ask("/live").status == 401


@pytest.mark.parametrize("path", CHANGES)
def test_the_password_is_asked_at_every_change(page: Served, folder: Path, path: str) -> None:
    before = len(inbox(folder))
    assert page.asker().post(path, {**REFILL, "ticket": "x", "what": "feeding"}).status == 401
    assert len(inbox(folder)) == before


@pytest.mark.parametrize("said", ["", "correct", PASSWORD.upper(), PASSWORD + "x", "x" * 5000])
def test_another_password_does_not_let_in(page: Served, said: str) -> None:
    found = page.asker().post("/login", {"password": said})
    assert found.status == 403
    assert "set-cookie" not in found.headers


def test_it_is_kept_as_a_slow_hash_and_compared_in_constant_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    password, compared = Password(f"{PASSWORD}\n"), list[bool]()
    true_one = hmac.compare_digest

    def spied(a: bytes, b: bytes) -> bool:
        compared.append(true_one(a, b))
        return compared[-1]

    monkeypatch.setattr(hmac, "compare_digest", spied)
    began_s = time.process_time()
    assert [password.is_it(PASSWORD), password.is_it("x"), password.is_it("")] == [
        True,
        False,
        False,
    ]
    assert compared == [True, False, False]
    assert time.process_time() - began_s > 0.03  # three tries; a plain hash takes microseconds
    assert PASSWORD.encode() not in repr(vars(password)).encode()


@pytest.mark.parametrize("text", ["", "\n", "short\n"])
def test_a_password_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(ConfigError, match="8 or more"):
        Password(text)


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (["--password-file", "/nowhere/at-all"], 3, "cannot be read"),
        (["--listen", "0.0.0.0"], 2, "no address to listen on"),
        (["--listen", "tank.example:8420"], 2, "no address to listen on"),
        (["--listen", "192.0.2.1:8420"], 3, "cannot listen on 192.0.2.1:8420"),
    ],
)
def test_a_wrong_address_or_file_gets_one_sentence(
    tmp_path: Path, options: list[str], code: int, says: str
) -> None:
    found = _started(configured(tmp_path), *options)
    assert found.returncode == code
    assert says in found.stderr
    assert len(found.stderr.strip().splitlines()) == 1


def test_it_is_off_unless_an_address_and_a_password_are_given(tmp_path: Path) -> None:
    config = configured(tmp_path)
    config.write_text(re.sub(r"(?m)^password_file.*$", "", config.read_text()))
    found = _started(config)
    assert found.returncode == 2
    assert "the page is off" in found.stderr


def _started(config: Path, *options: str) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "afterfill.cli.main", "page", "--config", str(config)]
    return subprocess.run([*command, *options], capture_output=True, text=True, timeout=30)


# --- sessions ----------------------------------------------------------------------------------


def test_the_cookie_is_for_the_server_alone(page: Served) -> None:
    found = page.asker().post("/login", {"password": PASSWORD})
    cookie = found.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Path=/" in cookie
    assert len(cookie.partition("=")[2].partition(";")[0]) >= 43  # 256 bits


def test_behind_tls_the_cookie_never_goes_in_clear(tmp_path: Path) -> None:
    config = configured(tmp_path)
    config.write_text(config.read_text().replace("[page]", '[page]\nurl = "https://tank.example"'))
    a_day(tmp_path)
    with running(tmp_path), served(config) as page:
        asked = {"Host": "tank.example", "Origin": "https://tank.example"}
        found = page.asker().post("/login", {"password": PASSWORD}, **asked)
        assert found.status == 303
        assert "Secure" in found.headers["set-cookie"]


def test_a_session_ends_at_logout(page: Served) -> None:
    keeper = page.keeper()
    assert keeper.ask("/").status == 200
    assert keeper.post("/logout", {}).status == 303
    assert keeper.ask("/").status == 303


def test_the_event_stream_ends_at_logout(page: Served) -> None:
    keeper = page.keeper()
    stream = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
    stream.request("GET", "/live?tank=window", headers={"Cookie": keeper.cookie})
    answer = stream.getresponse()
    assert answer.readline() == b"event: now\n"
    keeper.post("/logout", {})
    began_s = time.monotonic()
    answer.read()  # until it ends; the time-out fails otherwise
    assert time.monotonic() - began_s < 5.0
    stream.close()


def test_a_session_ends_after_its_time_and_when_it_lies_idle() -> None:
    sessions = Sessions()
    idle = sessions.begin(0.0)
    assert sessions.of(idle, IDLE_S - 1.0) is not None
    assert sessions.of(idle, 2 * IDLE_S) is None
    watched = sessions.begin(0.0)  # by a phone that only listens
    assert sessions.of(watched, IDLE_S - 1.0, used=False) is not None
    assert sessions.of(watched, IDLE_S + 1.0, used=False) is None
    busy, now_s = sessions.begin(0.0), 0.0
    while now_s < LONGEST_S:
        assert sessions.of(busy, now_s) is not None
        now_s += IDLE_S / 2
    assert sessions.of(busy, LONGEST_S + 1.0) is None


def test_the_number_of_sessions_is_bounded() -> None:
    sessions = Sessions()
    tokens = [sessions.begin(float(n)) for n in range(200)]
    assert sessions.of(tokens[0], 200.0) is None
    assert sessions.of(tokens[-1], 200.0) is not None


# --- what every answer says --------------------------------------------------------------------


def answers(keeper: Asker, page: Served) -> Iterator[tuple[str, Answer]]:
    for path in (*PAGES, *OPEN, "/no-such-page", "/tank/other"):
        yield path, keeper.ask(path)
    yield "not logged in", page.asker().ask("/")
    yield "rebound", page.asker().ask("/", Host="evil.example")
    yield "foreign", keeper.post("/logout", {}, Origin="http://evil.example")
    yield "wrong", keeper.post("/tank/window/log/refill", {"litres": "x", "ticket": "h"})


def test_every_answer_is_strict(keeper: Asker, page: Served) -> None:
    for path, found in answers(keeper, page):
        said = found.headers
        policy = dict(part.split(" ", 1) for part in said["content-security-policy"].split("; "))
        assert policy["default-src"] == "'none'", path
        assert policy["frame-ancestors"] == policy["base-uri"] == "'none'", path
        assert "unsafe" not in said["content-security-policy"], path
        assert "http" not in said["content-security-policy"], path
        if path != "/tank/window/report":
            assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
        assert said["x-content-type-options"] == "nosniff", path
        assert said["x-frame-options"] == "DENY", path
        assert said["cache-control"] == "no-store", path
        assert "access-control-allow-origin" not in said, path
        assert "server" not in said, path


def test_no_page_holds_a_script_or_style_of_its_own_or_asks_another_host(
    keeper: Asker, page: Served
) -> None:
    for path, found in answers(keeper, page):
        if found.headers.get("content-type", "").startswith("text/html"):
            for name, attributes in tags(found.text):
                assert name != "script" or attributes["src"] == "/page.js", path
                assert name != "style" or path == "/tank/window/report"
                assert not [a for a in attributes if a.startswith("on") or a == "style"], path
                places = [v for a, v in attributes.items() if a in ("src", "href", "action")]
                assert all(re.match(r"/(?!/)|#", place) for place in places), path


def tags(text: str) -> list[tuple[str, dict[str, str]]]:
    """Each element of a page as a browser understands it, with its attributes."""
    tree = html5lib.parse(text, namespaceHTMLElements=False)
    return [(str(it.tag), dict(it.attrib)) for it in tree.iter() if isinstance(it.tag, str)]


def test_the_event_stream_is_strict_too(keeper: Asker, page: Served) -> None:
    stream = http.client.HTTPConnection("127.0.0.1", page.port, timeout=10)
    stream.request("GET", "/live?tank=window", headers={"Cookie": keeper.cookie})
    said = stream.getresponse().headers
    assert said["cache-control"] == "no-store"
    assert said["x-content-type-options"] == "nosniff"
    assert "frame-ancestors 'none'" in (said["content-security-policy"] or "")
    stream.close()


# --- what is shown -----------------------------------------------------------------------------


def test_no_secret_is_on_a_page_or_in_the_log(page: Served) -> None:
    keeper = page.keeper()
    token = keeper.cookie.partition("=")[2]
    page.asker().post("/login", {"password": f"{PASSWORD} or so"})
    told = "".join(found.text for _, found in answers(keeper, page)) + page.log.read_text()
    assert PASSWORD not in told
    assert token not in told
    assert "page-password" not in told
    assert "a wrong password from 127.0." in page.log.read_text()


def test_what_comes_from_outside_is_shown_as_text(folder: Path, keeper: Asker) -> None:
    now_s = round(time.time())
    record(folder, AlarmChange(now_s, "window", "ph", "unacknowledged", "medium", True, HOSTILE,
                               advice=HOSTILE))  # fmt: skip
    wrong = keeper.post(
        "/tank/window/log/kit", {"ph": HOSTILE, "at": HOSTILE, "ticket": HOSTILE + ".kit"}
    )
    assert wrong.status == 400
    shown = [wrong.text, keeper.ask(f"/login?next={HOSTILE.replace(' ', '+')}").text]
    shown += [keeper.ask(path).text for path in (*PAGES, "/tank/window/alarm/ph")]
    shown.append(keeper.ask("/tank/window/plan?litres=%3Cscript%3E&source=%22onx=%22").text)
    for text in shown:
        for name, attributes in tags(text):
            assert name not in ("img", "iframe", "object")
            assert name != "script" or attributes.get("src") == "/page.js"
            assert not [a for a in attributes if a.startswith("on")]
    assert "&lt;script&gt;alert(2)" in "".join(shown)


@pytest.mark.parametrize(
    "path",
    ["/tank/..%2f..%2fetc", "/tank/x/log", "/tank/window/alarm/x", "/tank/window/alarm/..%2f",
     "/page.css/../../etc/passwd"],
)  # fmt: skip
def test_what_is_not_there_is_not_found(keeper: Asker, path: str) -> None:
    assert keeper.ask(path).status == 404

"""A room for tests of the page: a configuration, a day in the journal, the real server on a real
socket, and a browser that has no browser's habits."""

import http.client
import itertools
import math
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode

from afterfill.records import Quantiles, Quantity, Record, Refill, Verdict
from cli_room import alarm, estimate, line_probes, reading, record, running, write_config
from servers import free_port, wait_until

LOG = "/tank/window/log"
PASSWORD = "correct horse battery"
_others = itertools.count(1)


def configured(folder: Path, more: str = "", *, tanks: str = "") -> Path:
    """A configuration with a page, whose port is not fixed, and its password."""
    (folder / "page-password").write_text(f"{PASSWORD}\n")
    table = '[page]\nlisten = "127.0.0.1:0"\npassword_file = "page-password"\n'
    units = "" if not more.startswith("units") else more
    rest = "" if units else more
    path = write_config(folder, probes=line_probes("/dev/none"), more=table + rest, tanks=tanks)
    path.write_text(units + path.read_text())
    return path


def a_day(folder: Path, *last: Record) -> float:
    """A quiet day of window, told up to now, with a refill that carried over two hours ago; then
    `last`. Now [Unix s]."""
    now_s = round(time.time())
    begun_s = now_s - 7200
    told: list[Record] = [
        Refill(begun_s, "window", "replace", 25.0, 10.0, 5.0, "tap"),
        *(it for t in range(now_s - 85000, now_s, 300) for it in _moment(t, begun_s)),
        *_moment(now_s - 5, begun_s),
    ]
    record(folder, *sorted([*told, *last], key=lambda it: it.time_s))
    return now_s


def _moment(time_s: float, begun_s: float) -> list[Record]:
    since_h = (time_s - begun_s) / 3600
    residual = 0.25 * math.exp(-1.5 * since_h) if since_h > 0 else 0.0
    values: dict[Quantity, float] = {
        "orp": 310 + 60 * residual + 4 * math.sin(time_s / 3000),
        "ph": 7.2 + 0.2 * math.sin(time_s / 14000), "temperature": 24.6 - residual,
    }  # fmt: skip
    blind = 10 < (begun_s - time_s) / 3600 < 12
    return [
        *(reading(time_s, quantity, value=value) for quantity, value in values.items()),
        estimate(
            time_s, residual_mg_l=Quantiles(residual / 2, residual, 2 * residual + 0.008),
            p_over_limit=0.02 if residual < 0.02 else 0.97, sees=not blind,
            why_blind="the ORP probe settles after work on it" if blind else None,
            detection_floor_mg_l=None if blind else 0.12,
        ),
    ]  # fmt: skip


def carried_over(now_s: float) -> list[Record]:
    """A verdict and an alarm that asks."""
    peak = Quantiles(0.1, 0.24, 0.5)
    return [
        Verdict(now_s - 6000, "window", now_s - 7200, "carried-over", 0.97, peak, True),
        alarm(now_s - 6000, "residual-oxidant"),
    ]


@dataclass(frozen=True)
class Answer:
    """What came back."""

    status: int
    headers: dict[str, str]
    text: str


@dataclass
class Asker:
    """Asks the server over a real socket, from an address of its own; sends what it is told, and
    its cookie when it has one."""

    port: int
    cookie: str = ""
    source: str = field(default_factory=lambda: f"127.0.1.{next(_others)}")

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def ask(
        self, path: str, method: str = "GET", body: str | bytes | None = None, **headers: str
    ) -> Answer:
        """One request; underscores of `headers` become hyphens, an empty one is left out."""
        sent = {"Host": f"127.0.0.1:{self.port}"}
        if self.cookie:
            sent["Cookie"] = self.cookie
        if method == "POST":
            sent |= {"Origin": self.origin, "Content-Type": "application/x-www-form-urlencoded"}
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection(
            "127.0.0.1", self.port, timeout=30, source_address=(self.source, 0)
        )
        try:
            connection.putrequest(method, path, skip_host=True)
            for name, value in sent.items():
                if value:
                    connection.putheader(name, value)
            data = body.encode() if isinstance(body, str) else body
            if data is not None:
                connection.putheader("Content-Length", str(len(data)))
            connection.endheaders(data)
            found = connection.getresponse()
            text = found.read().decode(errors="replace")
            return Answer(found.status, {k.lower(): v for k, v in found.getheaders()}, text)
        finally:
            connection.close()

    def post(self, path: str, fields: dict[str, str], **headers: str) -> Answer:
        """A form is sent."""
        return self.ask(path, "POST", urlencode(fields), **headers)

    def logged_in(self, password: str = PASSWORD) -> "Asker":
        """Keep the cookie of a log-in."""
        found = self.post("/login", {"password": password})
        assert found.status == 303, found.text
        self.cookie = found.headers["set-cookie"].partition(";")[0]
        return self

    def ticket(self, path: str, ending: str) -> str:
        """The ticket of the form on a page whose ticket ends so."""
        tickets = re.findall(r'name="ticket" value="([^"]+)"', self.ask(path).text)
        return str(next(ticket for ticket in tickets if ticket.endswith(ending)))


@dataclass(frozen=True)
class Served:
    """A running page."""

    port: int
    process: "subprocess.Popen[str]"
    log: Path

    def asker(self) -> Asker:
        """Who is not logged in."""
        return Asker(self.port)

    def keeper(self) -> Asker:
        """Who is."""
        return self.asker().logged_in()


@contextmanager
def served(config: Path, port: int = 0) -> Iterator[Served]:
    """`afterfill page` as its user starts it, on a port of its own."""
    port, log = port or free_port(), config.parent / f"page-{time.monotonic_ns()}.log"
    command = [sys.executable, "-m", "afterfill.cli.main", "page", "--config", str(config)]
    command += ["--listen", f"127.0.0.1:{port}"]
    with log.open("w") as said:
        process = subprocess.Popen(command, stderr=said, text=True, env=dict(os.environ))
    try:
        wait_until(lambda: "the page is at" in log.read_text() or process.poll() is not None,
                   "the page is there", 20.0)  # fmt: skip
        assert process.poll() is None, log.read_text()
        wait_until(lambda: _answers(port), "the page answers", 20.0)
        yield Served(port, process, log)
    finally:
        process.terminate()
        process.wait(10.0)


def _answers(port: int) -> bool:
    try:
        return Asker(port).ask("/login").status == 200
    except OSError:
        return False


@contextmanager
def page_room(folder: Path, more: str = "") -> Iterator[Served]:
    """A tank that stands well, a service that seems to run, and the page."""
    config = configured(folder, more)
    a_day(folder)
    with running(folder), served(config) as page:
        yield page


def text_of(html: str) -> str:
    """What stands there, without its tags."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).replace("&#x27;", "'")

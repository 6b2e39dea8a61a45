"""Real servers on free loopback ports, started and ended by the tests.

A binary that is missing fails the test: `.ci/servers.sh` installs them.
"""

import gzip
import json
import os
import shutil
import signal
import socket
import subprocess
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

DEADLINE_S = 20.0


def free_port() -> int:
    """A port of the loopback interface on which nothing listens now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(condition: Callable[[], object], what: str, deadline_s: float = DEADLINE_S) -> None:
    """Poll until `condition()` is true; AssertionError with `what` after `deadline_s` [s]."""
    end = time.monotonic() + deadline_s
    while not condition():
        assert time.monotonic() < end, f"not within {deadline_s:g} s: {what}"
        time.sleep(0.02)


def binary(name: str) -> str:
    """The path of a server's program."""
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    assert found, f"{name} is not installed; run .ci/servers.sh"
    return found


class Server:
    """A child process that listens on `port`."""

    def __init__(self, folder: Path, port: int | None = None) -> None:
        self.folder = folder
        self.port = port or free_port()
        self._process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)

    def command(self) -> list[str]:
        """The command line of the server."""
        raise NotImplementedError

    def environment(self) -> dict[str, str]:
        """Further environment variables."""
        return {}

    def __enter__(self) -> "Server":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def start(self) -> None:
        """Start, and wait until it listens."""
        with (self.folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen(
                self.command(),
                stdout=log,
                stderr=log,
                env={**os.environ, **self.environment()},
                cwd=self.folder,
            )
        wait_until(self._listens, f"{self.command()[0]} listens on {self.port}")

    @property
    def pid(self) -> int:
        """Of the process that runs."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """End it as a power cut would."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """End it in order."""
        self._end(signal.SIGTERM)

    def _end(self, how: signal.Signals) -> None:
        if self._process is not None:
            self._process.send_signal(how)
            self._process.wait(DEADLINE_S)
            self._process = None

    def _listens(self) -> bool:
        assert self._process is not None
        log = self.folder / "server.log"
        assert self._process.poll() is None, f"the server ended:\n{log.read_text()[-2000:]}"
        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0


class Broker(Server):
    """mosquitto; with `user` it wants the `password`, with `tls` it speaks only TLS. Further
    users have the same password; `acl` is what a file of access rules holds; what it keeps is
    written each `autosave_s` [s], by its own default each half hour. `more` is added to its
    configuration."""

    def __init__(
        self,
        folder: Path,
        *,
        user: str | None = None,
        tls: bool = False,
        password: str = "secret",
        others: tuple[str, ...] = (),
        acl: str = "",
        autosave_s: int = 1,
        more: str = "",
        port: int | None = None,
    ) -> None:
        super().__init__(folder, port)
        lines = [
            f"listener {self.port} 127.0.0.1",
            "user root",
            "persistence true",
            f"persistence_location {folder}/",
            f"autosave_interval {autosave_s}",
            f"allow_anonymous {'false' if user else 'true'}",
        ]
        if user:
            lines.append(f"password_file {self._passwords((user, *others), password)}")
        if acl:
            (folder / "acl").write_text(acl)
            lines.append(f"acl_file {folder}/acl")
        if tls:
            make_certificates(folder)
            lines += [f"certfile {folder}/server.crt", f"keyfile {folder}/server.key"]
        (folder / "mosquitto.conf").write_text("\n".join([*lines, more]) + "\n")

    def _passwords(self, users: tuple[str, ...], password: str) -> Path:
        path = self.folder / "passwords"
        path.touch(mode=0o600)
        for user in users:
            command = [binary("mosquitto_passwd"), "-b", str(path), user, password]
            subprocess.run(command, check=True, capture_output=True)
        return path

    def command(self) -> list[str]:
        return [binary("mosquitto"), "-c", str(self.folder / "mosquitto.conf")]


def make_certificates(folder: Path) -> None:
    """An authority `ca.crt`, and `server.crt` with `server.key` for localhost, in `folder`."""
    openssl = binary("openssl")
    authority = ["-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=test-ca"]
    request = ["-newkey", "rsa:2048", "-nodes", "-subj", "/CN=localhost"]
    signing = ["-CAcreateserial", "-days", "2", "-extfile", "names", "-out", "server.crt"]
    (folder / "names").write_text("subjectAltName=DNS:localhost,IP:127.0.0.1\n")
    for arguments in (
        ["req", *authority, "-keyout", "ca.key", "-out", "ca.crt"],
        ["req", *request, "-keyout", "server.key", "-out", "server.csr"],
        ["x509", "-req", "-in", "server.csr", "-CA", "ca.crt", "-CAkey", "ca.key", *signing],
    ):
        subprocess.run([openssl, *arguments], cwd=folder, check=True, capture_output=True)


class Engine(Server):
    """influxd 1.x, the real InfluxQL engine; it takes /write, see `Shim`."""

    def command(self) -> list[str]:
        return [binary("influxd"), "run"]

    def environment(self) -> dict[str, str]:
        return {
            "INFLUXDB_CONFIG_PATH": "/dev/null",
            "INFLUXDB_HTTP_BIND_ADDRESS": f"127.0.0.1:{self.port}",
            "INFLUXDB_BIND_ADDRESS": f"127.0.0.1:{free_port()}",
            "INFLUXDB_DATA_DIR": str(self.folder / "data"),
            "INFLUXDB_DATA_WAL_DIR": str(self.folder / "wal"),
            "INFLUXDB_META_DIR": str(self.folder / "meta"),
            "INFLUXDB_MONITOR_STORE_ENABLED": "false",
            "INFLUXDB_REPORTING_DISABLED": "true",
        }

    def query(self, text: str, database: str = "afterfill") -> list[dict[str, Any]]:
        """The rows of an InfluxQL query, series tags merged in."""
        asked = urllib.parse.urlencode({"db": database, "q": text, "epoch": "ms"})
        answer = json.loads(fetch(f"http://127.0.0.1:{self.port}/query?{asked}", b""))
        series = [s for result in answer["results"] for s in result.get("series", [])]
        return [
            {**s.get("tags", {}), **dict(zip(s["columns"], row, strict=True))}
            for s in series
            for row in s["values"]
        ]

    def write(self, line: str, database: str = "afterfill") -> None:
        """Write one line directly."""
        fetch(f"http://127.0.0.1:{self.port}/write?db={database}", line.encode())


class Victoria(Server):
    """victoria-metrics: takes /api/v2/write itself, and answers 204 to everything. With `path` its
    addresses begin so, as those of its cluster do."""

    def __init__(self, folder: Path, path: str = "") -> None:
        super().__init__(folder)
        self._path = path

    @property
    def url(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self.port}{self._path}"

    def command(self) -> list[str]:
        return [
            binary("victoria-metrics"),
            f"-httpListenAddr=127.0.0.1:{self.port}",
            f"-storageDataPath={self.folder / 'data'}",
            "-retentionPeriod=100y",
            "-memory.allowedBytes=64MB",
            f"-http.pathPrefix={self._path}",
        ]

    def export(self, match: str) -> list[dict[str, Any]]:
        """All series whose selector matches, with values and timestamps [ms]."""
        fetch(f"{self.url}/internal/force_flush")
        asked = urllib.parse.urlencode({"match[]": match})
        lines = fetch(f"{self.url}/api/v1/export?{asked}").splitlines()
        return [json.loads(line) for line in lines]


def fetch(url: str, body: bytes | None = None) -> bytes:
    """The body of a GET (or of a POST of `body`)."""
    with urllib.request.urlopen(url, body, timeout=DEADLINE_S) as answer:
        return bytes(answer.read())


class Shim:
    """Maps /api/v2/write onto the /write of the 1.x engine, which is the only real engine that can
    be installed here. It changes the address and the names of parameters, nothing else; `status`
    makes it answer with an error of its own."""

    def __init__(self, engine: Engine, token: str = "") -> None:
        self.requests: list[tuple[dict[str, str], list[str]]] = []
        self.status = 0
        shim = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                status, answer = shim._answer(self.path, dict(self.headers), body, engine, token)
                self.send_response(status)
                self.send_header("Content-Length", str(len(answer)))
                self.end_headers()
                self.wfile.write(answer)

            def log_message(self, format: str, *args: object) -> None:
                pass

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,))
        self.url = f"http://127.0.0.1:{self._server.server_port}"

    def __enter__(self) -> "Shim":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def _answer(
        self, path: str, headers: dict[str, str], body: bytes, engine: Engine, token: str
    ) -> tuple[int, bytes]:
        address = urllib.parse.urlparse(path)
        asked = dict(urllib.parse.parse_qsl(address.query))
        text = gzip.decompress(body) if headers.get("Content-Encoding") == "gzip" else body
        self.requests.append((headers, text.decode().splitlines()))
        if self.status:
            return self.status, b'{"message": "the shim was told to answer so"}'
        if token and headers.get("Authorization") != f"Token {token}":
            return 401, b'{"message": "unauthorized access"}'
        target = urllib.parse.urlencode({"db": asked["bucket"], "precision": asked["precision"]})
        request = urllib.request.Request(f"http://127.0.0.1:{engine.port}/write?{target}", text)
        try:
            with urllib.request.urlopen(request, timeout=DEADLINE_S) as answer:
                return answer.status, answer.read()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.read()
        except urllib.error.URLError:
            return 503, b'{"message": "the engine is down"}'

"""Services that take messages, real ones on free loopback ports: a mail server with TLS and
passwords, a web server, and one that accepts and never answers."""

import base64
import contextlib
import json
import socket
import ssl
import subprocess
import threading
from collections.abc import Iterator
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Literal

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult

from servers import free_port

USER, PASSWORD = "keeper", "not a real secret"


def certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate of its own authority for `localhost`, and its key."""
    cert, key = folder / "cert.pem", folder / "key.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256",
         "-nodes", "-days", "2", "-subj", "/CN=localhost", "-addext",
         "subjectAltName=DNS:localhost,IP:127.0.0.1", "-keyout", str(key), "-out", str(cert)],
        check=True, capture_output=True,
    )  # fmt: skip
    return cert, key


class Mailbox:
    """A mail server; what it took is in `mails`. `refuse` is what it answers instead."""

    def __init__(
        self,
        tls: tuple[Path, Path] | None = None,
        mode: Literal["none", "starttls", "tls"] = "none",
        *,
        asks_password: bool = False,
    ) -> None:
        self.mails: list[EmailMessage] = []
        self.refuse = ""
        self.refuse_to = ""
        context = None
        if tls is not None:
            context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
            context.load_cert_chain(*tls)
        options: dict[str, Any] = {"authenticator": self._authenticate} if asks_password else {}
        if asks_password:
            options |= {"auth_required": True, "auth_require_tls": mode == "starttls"}
        if mode == "starttls":
            options |= {"tls_context": context, "require_starttls": True}
        self.port = free_port()
        self._controller = Controller(
            self,
            hostname="127.0.0.1",
            port=self.port,
            ssl_context=context if mode == "tls" else None,
            **options,
        )

    def __enter__(self) -> "Mailbox":
        self._controller.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._controller.stop()

    def _authenticate(
        self,
        server: SMTP,
        session: object,
        envelope: object,
        mechanism: str,
        data: Any,
    ) -> AuthResult:
        right = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
        return AuthResult(success=right, handled=False)

    async def handle_RCPT(  # noqa: N802 - the library's name
        self,
        server: SMTP,
        session: object,
        envelope: Any,
        address: str,
        options: object,
    ) -> str:
        if self.refuse_to:
            return self.refuse_to
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: object, envelope: Any) -> str:  # noqa: N802 - as above
        if self.refuse:
            return self.refuse
        mail = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(mail, EmailMessage)
        self.mails.append(mail)
        return "250 taken"

    @property
    def subjects(self) -> list[str]:
        """Of what was taken, in order."""
        return [str(mail["Subject"]) for mail in self.mails]


def text_of_mail(mail: EmailMessage) -> str:
    """The text part."""
    body = mail.get_body(("plain",))
    assert body is not None
    return str(body.get_content())


def pictures_of_mail(mail: EmailMessage) -> list[bytes]:
    """The PNGs that came with it."""
    return [
        bytes(part.get_content())
        for part in mail.iter_attachments()
        if part.get_content_type() == "image/png"
    ]


class WebService:
    """A web server that takes JSON messages and signs of life."""

    def __init__(self) -> None:
        self.status = 200
        self.posts: list[dict[str, Any]] = []
        self.gets: list[str] = []
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                if service.status == 200:
                    service.posts.append(json.loads(body))
                self._answer()

            def do_GET(self) -> None:
                if service.status == 200:
                    service.gets.append(self.path)
                self._answer()

            def _answer(self) -> None:
                self.send_response(service.status)
                self.send_header("Content-Length", "0")
                self.end_headers()

            def log_message(self, *_: object) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,))
        self.port = self._server.server_port

    @property
    def address(self) -> str:
        """As the push library writes it."""
        return f"json://127.0.0.1:{self.port}/secret-path"

    def __enter__(self) -> "WebService":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def pictures(self) -> list[bytes]:
        """The attachments of all messages."""
        return [
            base64.b64decode(attachment["base64"])
            for post in self.posts
            for attachment in post["attachments"]
        ]


@contextlib.contextmanager
def hanging_server() -> Iterator[int]:
    """A port that accepts connections and never answers."""
    with hanging_on(0) as port:
        yield port


@contextlib.contextmanager
def hanging_on(port: int) -> Iterator[int]:
    """The same on this port (0: any), so that a real service can take its place later."""
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(50)
        yield int(listener.getsockname()[1])

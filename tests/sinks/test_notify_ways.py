"""Letters to real servers, and the one sentence that is said when one cannot be delivered."""

import importlib.util
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from afterfill.config import Notify, Smtp
from afterfill.errors import SinkUnavailable
from afterfill.sinks.notify import push as notify_push
from afterfill.sinks.notify.channels import deliveries_of
from afterfill.sinks.notify.mail import MailDelivery
from afterfill.sinks.notify.message import Message
from afterfill.sinks.notify.push import deliveries_in
from notify_peers import (
    PASSWORD,
    USER,
    Mailbox,
    WebService,
    certificate,
    hanging_server,
    pictures_of_mail,
    text_of_mail,
)
from servers import free_port

# TLS from the first byte is nothing that the mail server's library knows of.
pytestmark = pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS:UserWarning")
PNG = b"\x89PNG\r\n\x1a\n and more"


@pytest.fixture(scope="module")
def tls(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    return certificate(tmp_path_factory.mktemp("tls"))


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    file = tmp_path / "window.png"
    file.write_bytes(PNG)
    return file


@pytest.fixture
def password(tmp_path: Path) -> Path:
    file = tmp_path / "password"
    file.write_text(PASSWORD + "\n")
    return file


@pytest.fixture
def web() -> Iterator[WebService]:
    with WebService() as service:
        yield service


def mail_to(port: int, **keys: Any) -> MailDelivery:
    table = {
        "host": "localhost",
        "port": port,
        "from": "afterfill@example.org",
        "to": ["keeper@example.org", "neighbour@example.org"],
        **keys,
    }
    return MailDelivery(Smtp.model_validate(table), timeout_s=0.5)


def refusal(delivery: MailDelivery) -> str:
    with pytest.raises(SinkUnavailable) as refused:
        delivery.send(Message("subject", "text"))
    return str(refused.value)


@pytest.mark.parametrize("mode", ["starttls", "tls"])
def test_a_mail_arrives_over_tls_with_password_picture_and_umlauts(
    mode: Any,
    tls: tuple[Path, Path],
    password: Path,
    picture: Path,
) -> None:
    keys = {"username": USER, "password_file": password, "ca_file": tls[0], mode: True}
    text = "Größe: 0.31 mg/L\n" + "a long line " * 100 + "\n"
    with Mailbox(tls, mode, asks_password=True) as box:
        mail_to(box.port, **keys).send(Message("HIGH window: größer…", text, True, picture))
    (mail,) = box.mails
    assert box.subjects == ["HIGH window: größer…"]
    assert mail["To"] == "keeper@example.org, neighbour@example.org"
    assert mail["From"] == "afterfill@example.org"
    assert mail["Date"] is not None
    assert mail["Message-ID"].endswith("@example.org>")
    assert text_of_mail(mail).replace("\r\n", "\n") == text
    assert pictures_of_mail(mail) == [PNG]


def test_a_mail_without_tls_and_password(tmp_path: Path) -> None:
    with Mailbox() as box:
        mail_to(box.port, starttls=False).send(Message("subject", "text"))
    assert pictures_of_mail(box.mails[0]) == []


@pytest.mark.parametrize(
    ("server", "keys", "sentence"),
    [
        ({"mode": "starttls"}, {}, "shows a certificate that is not trusted"),
        ({"mode": "none"}, {}, "cannot do that (STARTTLS extension not supported"),
        ({"mode": "none"}, {"tls": True}, "does not speak TLS on this port; try starttls"),
        ({"mode": "tls"}, {"starttls": False}, "does not answer within 0.5 s; check host, port"),
        ({"mode": "starttls"}, {"starttls": False}, "refuses"),
    ],
    ids=["unknown-authority", "no-starttls", "tls-to-plain", "plain-to-tls", "starttls-required"],
)
def test_tls_that_does_not_fit_is_told_apart(
    server: Any,
    keys: dict[str, bool],
    sentence: str,
    tls: tuple[Path, Path],
) -> None:
    with Mailbox(tls, **server) as box:
        said = refusal(mail_to(box.port, **keys))
    assert said.startswith(f"the mail server localhost:{box.port} ")
    assert sentence in said
    assert box.mails == []


def test_a_wrong_password_is_said_and_not_shown(tls: tuple[Path, Path], tmp_path: Path) -> None:
    wrong = tmp_path / "wrong"
    wrong.write_text("open sesame")
    keys = {"username": USER, "password_file": wrong, "ca_file": tls[0]}
    with Mailbox(tls, "starttls", asks_password=True) as box:
        said = refusal(mail_to(box.port, **keys))
    assert "refuses user or password (535 " in said
    assert "sesame" not in said


def test_what_the_server_answers_is_handed_on() -> None:
    with Mailbox() as box:
        box.refuse = "552 too large"
        assert "refuses (552 too large)" in refusal(mail_to(box.port, starttls=False))
        box.refuse_to = "550 no such keeper"
        said = refusal(mail_to(box.port, starttls=False))
        assert "refuses every recipient (550 no such keeper; 550 no such keeper)" in said


def test_a_server_that_is_away_or_hangs_costs_a_time_out_and_a_sentence() -> None:
    assert "cannot be reached" in refusal(mail_to(free_port()))
    with hanging_server() as port:
        assert "does not answer within 0.5 s" in refusal(mail_to(port))


def test_secrets_that_cannot_be_read_are_found_without_the_network(
    tmp_path: Path, password: Path
) -> None:
    absent = mail_to(1, username=USER, password_file=tmp_path / "absent")
    with pytest.raises(SinkUnavailable, match=r"password_file .*absent cannot be read"):
        absent.examine()
    no_certificate = mail_to(1, ca_file=password)
    with pytest.raises(SinkUnavailable, match=r"ca_file .* is no certificate"):
        no_certificate.examine()
    mail_to(1, username=USER, password_file=password).examine()


# --- push --------------------------------------------------------------------------------------


def addresses(folder: Path, *lines: str) -> Path:
    file = folder / "urls"
    file.write_text("\n".join(lines) + "\n")
    return file


def test_a_message_arrives_by_push_with_its_picture(
    web: WebService, tmp_path: Path, picture: Path
) -> None:
    file = addresses(tmp_path, "# the keeper's telephone", "", web.address)
    (delivery,) = deliveries_of(Notify(url_file=file))
    delivery.send(Message("HIGH window: it", "the text", True, picture))
    (message,) = web.posts
    assert (message["title"], message["message"]) == ("HIGH window: it", "the text")
    assert message["type"] == "failure"
    assert web.pictures() == [PNG]
    assert delivery.name == "json (urls, line 3)"


def test_a_push_service_that_refuses_gives_a_sentence_without_secrets(
    web: WebService, tmp_path: Path
) -> None:
    web.status = 500
    address = web.address.replace("127.0.0.1", "someone:secret-word@127.0.0.1")
    (delivery,) = deliveries_in(addresses(tmp_path, address))
    with pytest.raises(SinkUnavailable) as refused:
        delivery.send(Message("subject", "text"))
    assert str(refused.value).startswith("json (urls, line 1) did not take the message (")
    assert "500" in str(refused.value)
    assert "secret" not in str(refused.value)


@pytest.mark.parametrize("lines", [(), ("# only a comment", "")])
def test_a_file_without_an_address_is_said(lines: tuple[str, ...], tmp_path: Path) -> None:
    with pytest.raises(SinkUnavailable, match="urls holds no address; write one into it"):
        deliveries_in(addresses(tmp_path, *lines))


def test_a_wrong_address_is_said_with_its_line_and_without_its_secret(tmp_path: Path) -> None:
    right, wrong, nonsense = deliveries_in(
        addresses(tmp_path, "json://example.org", "jsn://example.org/secret-token", "a-secret")
    )
    right.examine()
    for delivery, beginning in (
        (wrong, "jsn (urls, line 2) is no address that apprise knows"),
        (nonsense, "address (urls, line 3) is no address that apprise knows"),
    ):
        with pytest.raises(SinkUnavailable) as refused:
            delivery.examine()
        assert str(refused.value).startswith(beginning)
        assert "secret" not in str(refused.value)


def test_a_file_that_cannot_be_read_is_said(tmp_path: Path) -> None:
    with pytest.raises(SinkUnavailable, match=r"absent cannot be read .* url_file"):
        deliveries_in(tmp_path / "absent")


def test_without_the_library_the_sentence_says_how_to_install_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    with pytest.raises(SinkUnavailable, match=r"pip install 'afterfill\[notify\]'"):
        deliveries_in(addresses(tmp_path, "json://example.org"))


def test_a_push_that_outlasts_every_patience_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(notify_push, "_PATIENCE_S", 1.5)
    with hanging_server() as port:
        (delivery,) = deliveries_in(addresses(tmp_path, f"json://127.0.0.1:{port}?rto=60"))
        with pytest.raises(SinkUnavailable, match=r"took longer than 1\.5 s"):
            delivery.send(Message("subject", "text"))


def test_the_library_stays_out_of_the_services_memory(web: WebService, tmp_path: Path) -> None:
    program = (
        "import sys; from pathlib import Path;"
        "from afterfill.sinks.notify.message import Message;"
        "from afterfill.sinks.notify.push import deliveries_in;"
        "deliveries_in(Path(sys.argv[1]))[0].send(Message('subject', 'text'));"
        "print('apprise' in sys.modules)"
    )
    file = addresses(tmp_path, web.address)
    done = subprocess.run(
        [sys.executable, "-c", program, str(file)], capture_output=True, text=True, check=True
    )
    assert done.stdout == "False\n"
    assert len(web.posts) == 1

"""`afterfill check --send-test`, and the keys of [[notify]]."""

from pathlib import Path

import pytest

from afterfill.config import Notify, Smtp
from afterfill.config_file import parse
from afterfill.errors import ConfigError
from afterfill.sentences import known_keys
from cli_room import afterfill, lines_of, write_config
from notify_peers import Mailbox, WebService, text_of_mail
from servers import free_port

MAIL = """
[[notify]]
[notify.smtp]
host = "localhost"
port = {port}
from = "afterfill@example.org"
to = "keeper@example.org"
starttls = false
"""
PUSH = '[[notify]]\nurl_file = "urls"\nheartbeat_url_file = "heartbeat"\n'
TANK = "[tank.t]\nlitres = 100\n"
README = Path(__file__).parents[2] / "daemon" / "README.md"


def states(folder: Path, *arguments: str) -> dict[str, str]:
    """What `check` said of each way: state and text."""
    result = afterfill("check", "--json", "--config", str(folder / "afterfill.toml"), *arguments)
    assert result.exit_code == 1, "a tank without probes is a fault"
    return {
        f"{line['subject']} {line['text'].split(' ')[0]}": f"{line['state']}: {line['text']}"
        for line in lines_of(result)
        if line["subject"].startswith("notify")
    }


def test_a_test_message_goes_out_by_every_way(tmp_path: Path) -> None:
    with Mailbox() as box, WebService() as web:
        write_config(tmp_path, more=MAIL.format(port=box.port) + PUSH)
        (tmp_path / "urls").write_text(web.address)
        (tmp_path / "heartbeat").write_text(f"http://127.0.0.1:{web.port}/alive")
        assert set(states(tmp_path).values()) == {
            "ok: mail to keeper@example.org can be used (nothing was sent)",
            "ok: json (urls, line 1) can be used (nothing was sent)",
            "ok: heartbeat (heartbeat) can be used (nothing was sent)",
        }
        assert (box.mails, web.posts, web.gets) == ([], [], [])
        assert set(states(tmp_path, "--send-test").values()) == {
            "ok: mail to keeper@example.org accepted a test message",
            "ok: json (urls, line 1) accepted a test message",
            "ok: heartbeat (heartbeat) accepted a test message",
        }
    assert box.subjects == ["afterfill: this is a test"]
    assert "`afterfill check --send-test`" in text_of_mail(box.mails[0])
    assert web.posts[0]["title"] == "afterfill: this is a test"
    assert web.gets == ["/alive"]


def test_a_test_message_to_no_one_is_a_fault_and_no_silence(tmp_path: Path) -> None:
    write_config(tmp_path)
    assert states(tmp_path) == {}
    (told,) = states(tmp_path, "--send-test").values()
    assert told.startswith("fault: nothing was sent: the file names no one to reach")


def test_each_way_that_fails_has_its_sentence(tmp_path: Path) -> None:
    with WebService() as web:
        more = MAIL.format(port=free_port()) + PUSH + '[[notify]]\nurl_file = "absent"\n'
        config = write_config(tmp_path, more=more)
        (tmp_path / "urls").write_text(f"{web.address}\n{web.address}\n")
        (tmp_path / "heartbeat").write_text("example.org")
        web.status = 403
        result = afterfill("check", "--send-test", "--config", str(config))
    lines = [line for line in result.stdout.splitlines() if " notify " in line]
    for line, beginning in zip(
        lines,
        [
            "fault    notify 1: the mail server localhost:",
            "fault    notify 2: json (urls, line 1) did not take the message (",
            "fault    notify 2: json (urls, line 2) did not take the message (",
            "fault    notify 2: ",
            f"fault    notify 3: {tmp_path}/absent cannot be read",
        ],
        strict=True,
    ):
        assert line.startswith(beginning)
    assert "heartbeat must hold one address" in lines[3]
    assert result.exit_code == 1
    assert result.stderr == ""


@pytest.mark.parametrize(
    ("keys", "sentence"),
    [
        ('at_least = "low"', "no way is given; set url_file, smtp or heartbeat_url_file"),
        ('url_file = "a"\nsmtp = {host="h",from="a@b",to="c@d"}', "two ways; give each a"),
        ('url_file = "a"\nquiet = ["22:00", "7"]', "'7' is no time of day; write \"22:00\""),
        ('url_file = "a"\nquiet = ["22:00", "24:00"]', "'24:00' is no time of day"),
        ('url_file = "a"\nquiet = ["22:00", "22:00"]', "it ends when it begins"),
        ('url_file = "a"\nquiet_up_to = "high"', "is 'high'; allowed: 'low' or 'medium'"),
        ('smtp = {host="h",form="a@b",to="c@d"}', "unknown key 'smtp.form'; did you mean 'from'?"),
        ('smtp = {host="h",from="a@b",to=[]}', "key 'smtp.to'"),
        ('smtp = {host="h",from="a@b",to="keeper"}', "key 'smtp.to.0'"),
        ('smtp = {host="h",from="a@b",to="c@d",username="u"}', "belong together"),
        ('smtp = {host="h",from="a@b",to="c@d",tls=true,starttls=true}', "exclude each other"),
        (
            'smtp = {host="h",from="a@b",to="c@d",username="u",password_file="p",starttls=false}',
            "a password would travel in clear",
        ),
    ],
)
def test_a_wrong_table_is_one_sentence(keys: str, sentence: str) -> None:
    with pytest.raises(ConfigError) as wrong:
        parse(f"{TANK}[[notify]]\n{keys}\n", "afterfill.toml")
    assert str(wrong.value).startswith("afterfill.toml: [[notify]] number 1: ")
    assert sentence in str(wrong.value)


def test_paths_start_in_the_files_folder_and_times_are_minutes(tmp_path: Path) -> None:
    config = parse(
        f'{TANK}[[notify]]\nquiet = ["22:30", "07:00"]\nheartbeat_url_file = "beat"\n'
        'smtp = {host="h",from="a@b",to=["c@d"],username="u",password_file="p",ca_file="ca"}\n'
        '[[notify]]\nurl_file = "/run/credentials/afterfill.service/urls"\n',
        "x",
        tmp_path,
    )
    first, second = config.notify
    assert first.smtp is not None
    assert (first.smtp.password_file, first.smtp.ca_file) == (tmp_path / "p", tmp_path / "ca")
    assert (first.heartbeat_url_file, first.quiet) == (tmp_path / "beat", (22 * 60 + 30, 7 * 60))
    assert second.url_file == Path("/run/credentials/afterfill.service/urls")


@pytest.mark.parametrize(
    ("keys", "encryption", "port"),
    [("", "starttls", 587), ("tls=true", "tls", 465), ("starttls=false", "none", 25),
     ("tls=true,port=8465", "tls", 8465)],
)  # fmt: skip
def test_the_usual_port_follows_the_encryption(keys: str, encryption: str, port: int) -> None:
    more = f",{keys}" if keys else ""
    text = f'{TANK}[[notify]]\nsmtp = {{host="h",from="a@b",to="c@d"{more}}}\n'
    smtp = parse(text, "x").notify[0].smtp
    assert smtp is not None
    assert (smtp.encryption, smtp.usual_port) == (encryption, port)


def test_the_readmes_example_is_one_that_can_be_used_and_its_table_names_every_key() -> None:
    readme = README.read_text()
    example = readme.split("<!-- notify: begin -->\n```toml\n")[1].split("```")[0]
    first, second, third = parse(TANK + example, "README.md").notify
    assert first.smtp is not None
    assert (first.quiet, second.after_minutes) == ((22 * 60, 7 * 60), 30.0)
    assert third.heartbeat_url_file == Path("heartbeat-url")
    for title, model in (("[[notify]]", Notify), ("[notify.smtp]", Smtp)):
        (row,) = [line for line in readme.splitlines() if line.startswith(f"| `{title}`")]
        assert all(f"`{key}`" in row for key in known_keys(model)), title

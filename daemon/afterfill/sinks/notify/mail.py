"""A message by plain SMTP."""

import smtplib
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from email.message import EmailMessage
from email.utils import formatdate, make_msgid

from afterfill.config import Smtp
from afterfill.errors import SinkUnavailable
from afterfill.shown import shown
from afterfill.sinks.notify.message import Message
from afterfill.sinks.secret_file import secret_in

TIMEOUT_S = 20.0  # for each step; some servers greet strangers late, others hang for ever


class MailDelivery:
    """One mail to all of `to`, over a connection of its own."""

    def __init__(self, settings: Smtp, timeout_s: float = TIMEOUT_S) -> None:
        self._settings = settings
        self._timeout_s = timeout_s
        self._where = f"the mail server {settings.host}:{settings.usual_port}"

    @property
    def name(self) -> str:
        """``mail to a@example.org``"""
        return f"mail to {', '.join(self._settings.to)}"

    @property
    def address(self) -> str:
        """Server, user and recipients."""
        it = self._settings
        return f"smtp {it.username or ''}@{it.host} {' '.join(it.to)}"

    def examine(self) -> None:
        """Read the password and the authority's certificate."""
        self._password()
        self._context()

    def send(self, message: Message) -> None:
        """See `Delivery.send`. A server that refuses some of several recipients is a failure only
        when it refuses all of them."""
        mail = self._mail(message)
        with self._one_sentence():
            if self._settings.encryption == "tls":
                connection: smtplib.SMTP = smtplib.SMTP_SSL(
                    self._settings.host,
                    self._settings.usual_port,
                    timeout=self._timeout_s,
                    context=self._context(),
                )
            else:
                connection = smtplib.SMTP(
                    self._settings.host, self._settings.usual_port, timeout=self._timeout_s
                )
            with connection:
                self._greet(connection)
                connection.send_message(mail)

    def _greet(self, connection: smtplib.SMTP) -> None:
        if self._settings.encryption == "starttls":
            connection.starttls(context=self._context())
        password = self._password()
        if self._settings.username is not None and password is not None:
            connection.login(self._settings.username, password)

    def _mail(self, message: Message) -> EmailMessage:
        mail = EmailMessage()
        mail["Subject"] = message.subject
        mail["From"] = self._settings.sender
        mail["To"] = ", ".join(self._settings.to)
        mail["Date"] = formatdate(localtime=True)
        mail["Message-ID"] = make_msgid(domain=self._settings.sender.rpartition("@")[2])
        if message.urgent:
            mail["X-Priority"] = "1"
        mail.set_content(message.text)
        if message.picture is not None:
            mail.add_attachment(
                message.picture.read_bytes(),
                maintype="image",
                subtype="png",
                filename=message.picture.name,
            )
        return mail

    def _password(self) -> str | None:
        file = self._settings.password_file
        if file is None:
            return None
        return secret_in(file, "[[notify]] smtp password_file").strip()

    def _context(self) -> ssl.SSLContext:
        file = self._settings.ca_file
        try:
            return ssl.create_default_context(cafile=file)
        except OSError as error:
            raise SinkUnavailable(
                f"[[notify]] smtp ca_file {file} is no certificate that can be read ({error})"
            ) from error

    @contextmanager
    def _one_sentence(self) -> Iterator[None]:
        try:
            yield
        except UnicodeEncodeError:  # its words quote the password
            raise SinkUnavailable(
                f"{self._where} takes plain ASCII only as user and password: check username and "
                "password_file"
            ) from None
        except (smtplib.SMTPException, OSError) as error:  # ssl's errors are OSErrors
            raise SinkUnavailable(f"{self._where} {self._advice(error)}") from error

    def _advice(self, error: Exception) -> str:
        match error:
            case smtplib.SMTPAuthenticationError():
                return f"refuses user or password ({_said(error)}); check username, password_file"
            case smtplib.SMTPNotSupportedError():
                return f"cannot do that ({error}); check starttls, tls and username"
            case smtplib.SMTPRecipientsRefused(recipients=refused):
                reasons = "; ".join(_reply(*answer) for answer in refused.values())
                return f"refuses every recipient ({reasons}); check to"
            case smtplib.SMTPSenderRefused():
                return f"refuses the sender ({_said(error)}); check from"
            case smtplib.SMTPResponseException():
                return f"refuses ({_said(error)})"
            case ssl.SSLCertVerificationError():
                return (
                    f"shows a certificate that is not trusted ({error.verify_message}); set ca_file"
                )
            case ssl.SSLError():
                return "does not speak TLS on this port; try starttls = true, or another port"
            case _ if isinstance(error.__context__ or error, TimeoutError):  # smtplib hides it
                return f"does not answer within {self._timeout_s:g} s; check host, port and tls"
            case smtplib.SMTPServerDisconnected() | ConnectionResetError():
                return f"closed the connection ({error}); check port, tls and starttls"
            case _:
                return f"cannot be reached ({error}); check host and port"


def _said(error: smtplib.SMTPResponseException) -> str:
    return _reply(error.smtp_code, error.smtp_error)


def _reply(code: int, text: bytes | str) -> str:
    words = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return f"{code} {shown(' '.join(words.split()), 200)}"

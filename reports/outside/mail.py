"""The mail server: a line to it, and what it answers in the words of the ledger instead of its library's.

Nothing was handed over where `Unreachable` is raised; after `LineBroke` nobody can know (RFC 1047).
"""

import smtplib
from collections.abc import Iterator
from contextlib import contextmanager

import structlog
from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.base import BaseEmailBackend

log = structlog.get_logger("rillbook.deliveries")

FAILURES = (OSError, smtplib.SMTPException)
REFUSALS = (smtplib.SMTPSenderRefused, smtplib.SMTPRecipientsRefused, smtplib.SMTPDataError)


class MailError(Exception):
    """One mail did not go out; the text says what the server or the network said."""


class Unreachable(MailError):
    """Nobody answered: nothing was handed over."""


class Refused(MailError):
    """The server said no; `for_now` where it asks to be tried later (reply codes 400 to 499, RFC 5321, 4.2.1)."""

    def __init__(self, text: str, *, for_now: bool) -> None:
        super().__init__(text)
        self.for_now = for_now


class LineBroke(MailError):
    """The connection broke while sending: the mail may or may not have been taken."""


@contextmanager
def line() -> Iterator[BaseEmailBackend]:
    """An open connection to the mail server; raises `Unreachable`. That it does not close well is only logged."""
    connection = get_connection()
    try:
        connection.open()
    except FAILURES as error:
        raise Unreachable(_words(error)) from error
    try:
        yield connection
    finally:
        try:
            connection.close()
        except FAILURES as error:
            log.warning("mail connection did not close", error=_words(error))


def hand_over(message: EmailMessage, connection: BaseEmailBackend) -> None:
    """Give the message to the open line; raises `Refused` or `LineBroke`."""
    try:
        accepted = connection.send_messages([message])
    except REFUSALS as error:
        raise Refused(_words(error), for_now=400 <= _code(error) < 500) from error
    except FAILURES as error:
        raise LineBroke(_words(error)) from error
    if accepted != 1:
        raise Refused("it took no message", for_now=False)


def send(message: EmailMessage) -> None:
    """Send one message; raises a `MailError`."""
    with line() as connection:
        hand_over(message, connection)


def _code(error: smtplib.SMTPException) -> int:
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return max((code for code, _ in error.recipients.values()), default=0)
    return int(getattr(error, "smtp_code", 0))


def _words(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__

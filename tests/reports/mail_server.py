"""An SMTP server for tests (aiosmtpd): keeps what it accepted and misbehaves on request."""

import email.policy
import socket
from email.message import EmailMessage
from email.parser import BytesParser

from aiosmtpd.controller import Controller

DROP = "drop the connection after the message, before the answer"


class MailServer:
    """`answers` are given to the next messages, one each; after that everything is accepted."""

    def __init__(self) -> None:
        self.accepted: list[EmailMessage] = []
        self.answers: list[str] = []
        self.port = _free_port()
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)

    def start(self) -> None:
        self._controller.start()

    def stop(self) -> None:
        """May be called twice: a test stops it early to play a server that is down."""
        if self._controller.server is not None:
            self._controller.stop()
            self._controller.server = None

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802 - the library's name
        answer = self.answers.pop(0) if self.answers else ""
        if answer == DROP:
            server.transport.close()
            return "451 gone"
        if answer:
            return answer
        self.accepted.append(BytesParser(policy=email.policy.default).parsebytes(envelope.content))
        return "250 taken"


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]

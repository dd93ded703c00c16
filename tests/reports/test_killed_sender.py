"""Senders killed in the middle of a batch: every client has exactly one accepted message or one visible unknown."""

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest

from tests.reports.mail_server import MailServer

ROOT = Path(__file__).resolve().parents[2]
KILLS = int(os.environ.get("RILLBOOK_KILLS", "4"))  # `make deep`: 40
MAILS = 3 * KILLS
ANSWER_S = 0.05

pytestmark = pytest.mark.slow


class SlowServer(MailServer):
    """Takes its time over each message, so that a kill often falls between the message and the answer."""

    async def handle_DATA(self, server, session, envelope) -> str:  # noqa: N802 - the library's name
        import asyncio

        await asyncio.sleep(ANSWER_S)
        answer = await super().handle_DATA(server, session, envelope)
        await asyncio.sleep(ANSWER_S)
        return answer


@pytest.fixture
def slow_server():
    server = SlowServer()
    server.start()
    yield server
    server.stop()


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.services)])
def command(request, slow_server, tmp_path):
    """Runs kill_sender.py on a database of its own; `wait=False` gives the running process."""
    environment = {
        **{name: value for name, value in os.environ.items() if name not in ("DATABASE_URL", "REDIS_URL")},
        "RILLBOOK_DATA_DIR": str(tmp_path),
        "EMAIL_URL": f"smtp://127.0.0.1:{slow_server.port}",
        "PYTHONPATH": str(ROOT),
        "RILLBOOK_LOG_LEVEL": "ERROR",
    }
    database = ""
    if request.param == "postgres":
        if not os.environ.get("REDIS_URL") or "postgres" not in os.environ.get("DATABASE_URL", ""):
            pytest.skip("needs REDIS_URL and a PostgreSQL DATABASE_URL; see .ci/services")
        database = f"killed_{os.getpid()}"
        subprocess.run(["createdb", "-h", "127.0.0.1", "-U", "postgres", database], check=True)
        environment["DATABASE_URL"] = f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{database}"
        environment["REDIS_URL"] = os.environ["REDIS_URL"]

    def run(*args: str, wait: bool = True):
        process = subprocess.Popen(
            [sys.executable, "tests/reports/kill_sender.py", *args],
            cwd=ROOT,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        if not wait:
            return process
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, err[-2000:]
        return out

    yield run
    if database:
        subprocess.run(["dropdb", "-h", "127.0.0.1", "-U", "postgres", "--force", database], check=True)


def test_killed_senders_lose_nothing_and_send_nothing_twice(command, slow_server):
    dice = random.Random(20261125)
    command("fill", str(MAILS))
    for kill in range(KILLS):
        before = len(slow_server.accepted)
        sender = command("send", "0", wait=False)
        assert sender.stdout.readline() == "started\n"
        deadline = time.monotonic() + 30
        while len(slow_server.accepted) == before and sender.poll() is None and time.monotonic() < deadline:
            time.sleep(0.005)
        # The first falls between the message and its answer, where nobody can know; the others anywhere.
        time.sleep(dice.uniform(0, 4 * ANSWER_S) if kill else 0)
        sender.send_signal(signal.SIGKILL)
        sender.communicate(timeout=20)
    time.sleep(4 * ANSWER_S)  # what the server still had in hand

    command("send", "20")  # after the time that tells a dead sender from a slow one

    states = {line.split()[0]: line.split()[1] for line in command("show").splitlines()}
    accepted = Counter(str(mail["Message-ID"]) for mail in slow_server.accepted)
    assert len(states) == MAILS
    assert set(states.values()) <= {"sent", "unknown"}
    assert [message for message, count in accepted.items() if count > 1] == []
    assert [message for message, state in states.items() if state == "sent" and accepted[message] != 1] == []
    # At least one: a run in which no kill fell into the gap would prove nothing.
    assert 1 <= sum(state == "unknown" for state in states.values()) <= KILLS

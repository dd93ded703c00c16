"""A simulated phone on a line that breaks, against a real server process that dies: nothing lost, nothing doubled.

Raw sockets, so that a request or an answer can be cut at any byte. Every run has its seed, printed when it fails.
RILLBOOK_BAD_LINE_RUNS sets how many (20 in the suite, 1,000 in `make deep`).
"""

import datetime as dt
import json
import os
import random
import socket
import sqlite3
import sys
import threading
import uuid
from dataclasses import dataclass, field

import psycopg
import pytest

from config.served import Served
from tests.jobs.field_phone import jpeg

RUNS = int(os.environ.get("RILLBOOK_BAD_LINE_RUNS", "20"))
KILL_EVERY = 10 if RUNS <= 50 else 25
PIECE_BYTES = 700
TOKEN = "a" * 32
SKEWS_S = [0, 0, 7, -45, 3600, -3600, 2 * 86400, -5 * 86400, 400 * 86400]


@dataclass
class Message:
    """A record or a picture to send until the server said that it has it."""

    path: str
    id: str
    body: bytes
    headers: dict
    photo: bool = False
    have: int | None = None
    done: bool = False


@dataclass
class Entered:
    records: set = field(default_factory=set)
    measured: set = field(default_factory=set)
    faults: set = field(default_factory=set)
    photos: dict = field(default_factory=dict)


class BadLinePhone:
    def __init__(self, served: Served, person: dict, visit: dict, items: list, seed: int):
        self.served, self.visit, self.items = served, visit, items
        self.random = random.Random(seed)
        self.skew = dt.timedelta(seconds=self.random.choice(SKEWS_S))
        self.cookie = f"sessionid={person['session']}; csrftoken={TOKEN}"
        self.device, self.sequence = str(uuid.UUID(int=self.random.getrandbits(128))), 0
        self.messages: list[Message] = []
        self.entered = Entered()

    def now(self) -> str:
        return (dt.datetime.now(dt.UTC) + self.skew).isoformat()

    def new_id(self) -> str:
        return str(uuid.UUID(int=self.random.getrandbits(128)))

    def enter(self, kind: str, data: dict) -> str:
        self.sequence += 1
        key = self.new_id()
        body = {
            "schema": 1, "device": self.device, "sequence": self.sequence, "kind": kind, "visit": self.visit["uuid"],
            "recorded_at": self.now(), "data": data,
        }  # fmt: skip
        self.messages.append(Message(f"/field/records/{key}", key, json.dumps(body).encode(), {}))
        self.entered.records.add(key)
        return key

    def work(self) -> None:
        """Enter a visit: a few steps and measurements, a fault or two with photos, sometimes the end."""
        self.enter("visit_started", {})
        for item in self.items[:2]:
            self.enter("checklist_answer", {"item": item["pk"], "done": True, "seen": None})
        seen: dict[int, list] = {pk: [] for pk in self.visit["valves"]}
        for _ in range(self.random.randint(1, 4)):
            valve = self.random.choice(self.visit["valves"])
            ohm = round(self.random.uniform(5, 300), 1)
            key = self.enter("measurement", {"valve": valve, "coil_resistance_ohm": ohm, "seen": list(seen[valve])})
            seen[valve].append(key)
            self.entered.measured.add(key)
        for _ in range(self.random.randint(0, 2)):
            self.fault()
        if self.random.random() < 0.5:
            self.enter("visit_finished", {"accept_reason": "dusk", "signed_by": "H. Court"})

    def fault(self) -> None:
        picture, photo = jpeg((48, 32)), self.new_id()
        key = self.enter("fault", {"kind": "pipe_leak", "severity": "water_loss", "photos": [photo]})
        self.entered.faults.add(key)
        if self.random.random() < 0.7:
            self.messages.append(Message(f"/field/photos/{photo}", photo, picture, {"X-Record": key}, photo=True))
            self.entered.photos[photo] = key

    def request(self, message: Message) -> bytes:
        body, headers = message.body, dict(message.headers)
        if message.photo:
            if message.have is None:
                body, span = b"", "*"
            else:
                body = message.body[message.have : message.have + PIECE_BYTES]
                span = f"{message.have}-{message.have + len(body) - 1}"
            headers["Content-Range"] = f"bytes {span}/{len(message.body)}"
        headers |= {
            "Host": f"localhost:{self.served.port}", "Cookie": self.cookie, "X-CSRFToken": TOKEN,
            "X-Phone-Time": self.now(), "Content-Type": "application/json", "Content-Length": len(body),
            "Connection": "close",
        }  # fmt: skip
        lines = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
        return f"PUT {message.path} HTTP/1.1\r\n{lines}\r\n".encode() + body

    def send_all(self, *, kill_at: int | None = None) -> int:
        """Send until everything is acknowledged; the attempts it took."""
        attempts = 0
        while pending := [message for message in self.messages if not message.done]:
            attempts += 1
            assert attempts < 1000, "the phone never got rid of its records"
            message = pending[0] if self.random.random() < 0.6 else self.random.choice(pending)
            if self.random.random() < 0.1:
                message = self.random.choice(self.messages)  # an old one again, perhaps long acknowledged
            if attempts == kill_at:
                self.kill_while_sending(message)
            else:
                self.attempt(message)
        return attempts

    def attempt(self, message: Message) -> None:
        how = self.random.random()
        request = self.request(message)
        if how < 0.2:
            self.exchange(request, send=self.random.randrange(len(request)))
        elif how < 0.4:
            self.acknowledge(message, self.exchange(request, read=self.random.randrange(400)))
        elif how < 0.55:
            both = [threading.Thread(target=self.exchange, args=(request,)) for _ in range(2)]
            for thread in both:
                thread.start()
            for thread in both:
                thread.join()
        else:
            self.acknowledge(message, self.exchange(request))

    def exchange(self, request: bytes, *, send: int | None = None, read: int | None = None) -> bytes:
        """Send (a part of) the request, read (a part of) the answer, hang up."""
        answer = b""
        try:
            with socket.create_connection(("127.0.0.1", self.served.port), timeout=20) as line:
                line.sendall(request[:send])
                if send is not None:
                    return b""
                while read is None or len(answer) < read:
                    got = line.recv(65536 if read is None else read - len(answer))
                    if not got:
                        break
                    answer += got
        except OSError:
            return answer
        return answer

    def acknowledge(self, message: Message, answer: bytes) -> None:
        """Only a whole answer that names the record counts."""
        head, _, body = answer.partition(b"\r\n\r\n")
        try:
            status, told = int(head.split(b" ", 2)[1]), json.loads(body)
        except (IndexError, ValueError):
            return
        assert status in (200, 201, 202), (status, told)
        assert told["uuid"] == message.id
        if status == 202:
            message.have = told["next"]
        else:
            message.done = True

    def kill_while_sending(self, message: Message) -> None:
        request = self.request(message)
        thread = threading.Thread(target=self.exchange, args=(request,))
        thread.start()
        threading.Event().wait(self.random.uniform(0, 0.02))
        self.served.kill()
        thread.join()
        self.served.start()


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgres", marks=pytest.mark.services)])
def world(request, tmp_path_factory):
    url = ""
    if request.param == "postgres":
        if "postgres" not in os.environ.get("DATABASE_URL", ""):
            pytest.skip("needs a PostgreSQL DATABASE_URL; see .ci/services")
        url = f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/bad_line_{os.getpid()}"
        with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE bad_line_{os.getpid()}")
    served = Served(tmp_path_factory.mktemp("served"), workers=1, threads=4, database_url=url)
    try:
        day = served.prepare(visits=RUNS, valves=2)
        served.start()
        yield served, day
    finally:
        served.kill()
        if url:
            with psycopg.connect(os.environ["DATABASE_URL"], autocommit=True) as connection:
                connection.execute(f"DROP DATABASE bad_line_{os.getpid()} WITH (FORCE)")


def rows(served: Served, query: str, *values) -> list[tuple]:
    if served.database_url:
        with psycopg.connect(served.database_url) as connection:
            return connection.execute(query.replace("?", "%s"), values).fetchall()
    with sqlite3.connect(f"file:{served.database}?mode=ro", uri=True, timeout=20) as connection:
        found = connection.execute(query, values).fetchall()
    connection.close()
    return found


def check(served: Served, phone: BadLinePhone, visit: dict, started_at: dt.datetime) -> None:
    kept = rows(
        served,
        "SELECT uuid, twin_of_id, state, reason FROM jobs_inboxrecord r WHERE device_id ="
        " (SELECT id FROM jobs_fielddevice WHERE uuid = ?)",
        uuid.UUID(phone.device).hex,
    )
    assert sorted(str(uuid.UUID(str(row[0]))) for row in kept) == sorted(phone.entered.records)
    assert {(twin, state, reason) for _, twin, state, reason in kept} == {(None, "applied", "")}
    for table, entered, column in (
        ("jobs_valvemeasurement", phone.entered.measured, "visit_id"),
        ("jobs_fault", phone.entered.faults, "found_on_visit_id"),
    ):
        found = rows(served, f"SELECT uuid FROM {table} WHERE {column} = ?", visit["pk"])
        assert sorted(str(uuid.UUID(str(key))) for (key,) in found) == sorted(entered)
    hung = rows(
        served,
        "SELECT u.uuid, f.uuid FROM jobs_fault_photos p JOIN jobs_fault f ON f.id = p.fault_id"
        " LEFT JOIN jobs_photoupload u ON u.photo_id = p.photo_id WHERE f.found_on_visit_id = ?",
        visit["pk"],
    )
    assert sorted((str(uuid.UUID(str(a))), str(uuid.UUID(str(b)))) for a, b in hung) == sorted(
        phone.entered.photos.items()
    )
    [(kept_at,)] = rows(served, "SELECT started_at FROM jobs_visit WHERE id = ?", visit["pk"])
    begun = dt.datetime.fromisoformat(str(kept_at))  # SQLite keeps UTC without saying so
    begun = begun if begun.tzinfo else begun.replace(tzinfo=dt.UTC)
    # Put right by the phone's clock at sending; below two minutes a clock counts as right.
    assert abs((begun - started_at).total_seconds()) < 120 + 60


@pytest.mark.slow
def test_whatever_the_line_does_the_server_ends_with_just_what_was_entered(world):
    served, day = world
    person = day["people"][0]
    records = attempts = 0
    for run, visit in enumerate(person["visits"]):
        phone = BadLinePhone(served, person, visit, day["items"], seed=run)
        started_at = dt.datetime.now(dt.UTC)
        phone.work()
        kill_at = phone.random.randint(1, 8) if run % KILL_EVERY == KILL_EVERY - 1 else None
        try:
            attempts += phone.send_all(kill_at=kill_at)
            check(served, phone, visit, started_at)
        except AssertionError as error:
            raise AssertionError(f"run with seed {run}: {error}") from error
        records += len(phone.messages)
    assert len(rows(served, "SELECT 1 FROM jobs_photopiece")) == 0
    sys.stdout.write(f"\n{RUNS} runs, {records} records and photos in {attempts} attempts, 0 lost, 0 doubled\n")

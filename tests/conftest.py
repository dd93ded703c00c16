"""Fixtures for every test. The cast is small and always the same: see `tests/factories.py`."""

import os
import socket
from pathlib import Path

import pytest
from django.conf import settings
from django.core.cache import cache
from django.db import connections
from pytest_django.plugin import blocking_manager_key

from config.celery import app as celery_app
from jobs.actions.checklists import ensure_default_checklists
from tests import factories

LOOPBACK = {"127.0.0.1", "::1", "localhost"}


def pytest_configure():
    # The static file server warns about a missing folder; `make run` fills it, tests need it only to be there.
    Path(settings.STATIC_ROOT).mkdir(exist_ok=True)
    # A process of its own would not find the database of the tests; one test starts it on a database on disk.
    settings.COMMANDS_IN_OWN_PROCESS = False
    # Each process of the suite empties its cache after a test: never another process's, nor the broker's queues.
    if settings.REDIS_URL:
        process = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
        settings.CACHES["default"]["LOCATION"] = f"{settings.REDIS_URL.rpartition('/')[0]}/{10 + process}"


def pytest_collection_modifyitems(config, items):
    """The second run, on PostgreSQL and Redis, leaves out what no database can change."""
    if os.environ.get("RILLBOOK_EXPECT_SERVICES"):
        alike = [item for item in items if not (differs_by_database(item) or item.get_closest_marker("services"))]
        config.hook.pytest_deselected(items=alike)
        items[:] = [item for item in items if item not in set(alike)]


def differs_by_database(item) -> bool:
    if item.get_closest_marker("one_database"):
        return False
    fixtures = {"db", "transactional_db", "live_server", "django_db_setup"}
    return bool(item.get_closest_marker("django_db") or fixtures & set(getattr(item, "fixturenames", ())))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """`.ci/run` sets RILLBOOK_NO_SKIPS: what is skipped elsewhere for want of a client must run there.

    Tests of services stay skipped in the run that has none, tests of SQLite files in the one that has PostgreSQL.
    """
    report = yield
    strict = os.environ.get("RILLBOOK_NO_SKIPS") and not hasattr(report, "wasxfail")
    # Each of the two runs leaves to the other what only the other has.
    excused = item.get_closest_marker("sqlite_only" if os.environ.get("RILLBOOK_EXPECT_SERVICES") else "services")
    if report.skipped and strict and not excused:
        report.outcome = "failed"
        report.longrepr = f"skipped where nothing may be skipped: {report.longrepr}"
    return report


@pytest.fixture(autouse=True)
def tasks_in_process():
    """Tasks run where they are called, also when a broker is configured; a live worker has its own tests."""
    before = celery_app.conf.task_always_eager
    celery_app.conf.task_always_eager = True
    yield
    celery_app.conf.task_always_eager = before


@pytest.hookimpl(wrapper=True)
def pytest_runtest_teardown(item, nextitem):
    """A test with real commits empties every table at its end, also of what migrations put there."""
    result = yield
    marker = item.get_closest_marker("django_db")
    real_commits = {"transactional_db", "live_server"} & set(getattr(item, "fixturenames", ()))
    if nextitem is not None and (real_commits or (marker and marker.kwargs.get("transaction"))):
        with item.config.stash[blocking_manager_key].unblock():
            ensure_default_checklists()
            connections.close_all()
    return result


@pytest.fixture(autouse=True)
def empty_cache():
    yield
    cache.clear()


@pytest.fixture(autouse=True)
def only_loopback(monkeypatch):
    """No test talks to anything but this machine."""
    connect = socket.socket.connect

    def guarded(self, address):
        if isinstance(address, tuple) and address[0] not in LOOPBACK:
            raise RuntimeError(f"a test tried to reach {address}")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture(autouse=True)
def own_files(settings, tmp_path):
    """Media and mail of a test go to its own folder; passwords are hashed fast; static names are not hashed."""
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
    }


@pytest.fixture
def firm(db):
    return factories.FirmFactory()


@pytest.fixture
def owner(firm):
    return factories.UserFactory(username="olive", role="owner")


@pytest.fixture
def office(firm):
    return factories.UserFactory(username="otto", role="office")


@pytest.fixture
def technician(firm):
    return factories.TechnicianFactory(username="tess")


@pytest.fixture
def other_technician(firm):
    return factories.TechnicianFactory(username="tom")


@pytest.fixture
def site(firm):
    """Hazel's site: one controller, two valves, two zones, mains supply."""
    return factories.make_small_site(client_name="Hazel Court")


@pytest.fixture
def other_site(firm):
    """A stranger's site with the same shape."""
    return factories.make_small_site(client_name="Stranger Street")


@pytest.fixture
def client_user(site):
    return factories.UserFactory(username="hazel", role="client", client=site.client)


@pytest.fixture
def stranger(other_site):
    """A client who owns another site and must never see Hazel's."""
    return factories.UserFactory(username="sven", role="client", client=other_site.client)


@pytest.fixture
def as_office(client, office):
    client.force_login(office)
    return client

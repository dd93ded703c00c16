"""The project about itself."""

import re
import subprocess

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection

from config.celery import app

ROOT = settings.BASE_DIR
TEXT = {".py", ".md", ".txt", ".in", ".toml", ".yaml", ".yml", ".html", ".css", ".js", ".svg", ".sh", ".conf", ""}


def tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    return listed.stdout.splitlines()


def test_no_migration_is_missing(db):
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_every_entry_of_the_timetable_is_a_task():
    app.loader.import_default_modules()

    assert {entry["task"] for entry in app.conf.beat_schedule.values()} <= set(app.tasks)


def test_every_folder_stands_in_the_contributors_guide():
    guide = (ROOT / "DEVELOPERS.md").read_text()
    folders = {path.split("/")[0] for path in tracked() if "/" in path}

    assert {folder for folder in folders if f"`{folder}/`" not in guide} == set()


@pytest.mark.services
@pytest.mark.django_db
def test_containers_and_the_suite_speak_of_one_database_version():
    if connection.vendor != "postgresql":
        pytest.skip("no PostgreSQL here")
    compose = (ROOT / "docker/compose.yaml").read_text()

    assert int(re.search(r"image: postgres:(\d+)", compose).group(1)) == connection.pg_version // 10_000


def test_no_tracked_file_names_a_path_of_this_machine_or_a_package_registry():
    # Spelled in pieces, so that this file does not find itself.
    forbidden = re.compile("|".join(["/" + "work/main", "/" + "root/", "pypi" + r"\.org", "--index" + "-url http"]))
    found = {
        path
        for path in tracked()
        if (ROOT / path).suffix in TEXT
        and (ROOT / path).exists()
        and forbidden.search((ROOT / path).read_text(errors="ignore"))
    }

    assert found == set()


def test_every_requirement_is_pinned_with_its_hash():
    for name in ("requirements.txt", "requirements-dev.txt"):
        lines = (ROOT / name).read_text().splitlines()
        pinned = [line for line in lines if line and not line.startswith((" ", "#"))]
        assert pinned
        assert [line for line in pinned if "==" not in line or not line.endswith("\\")] == []

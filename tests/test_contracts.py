"""The layers are held by two tools (`make contracts`). One violation of each kind is planted and must be named."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from django.conf import settings

pytestmark = pytest.mark.slow

# A file that is planted: what stands in it, and the tool that has to name it.
OURS, LINTER = "contracts.py", "import-linter"
PLANTED = {
    # A core computes: no framework, clock, network, randomness or files, also not inside a function.
    "jobs/core/planted_django.py": ("from django.utils.text import slugify", OURS),
    "sites/core/planted_clock.py": ("import time\nnow = time.time", OURS),
    "scheduling/core/planted_today.py": ("import datetime as dt\n\ndef day():\n    return dt.date.today()", OURS),
    "reports/core/planted_now.py": ("import datetime as dt\n\ndef at(zone):\n    return dt.datetime.now(zone)", OURS),
    "scheduling/core/planted_urllib.py": ("import urllib.request", OURS),
    "jobs/core/planted_socket.py": ("def ask():\n    from socket import create_connection", OURS),
    "sites/core/planted_secrets.py": ("import secrets", OURS),
    "jobs/core/planted_dice.py": ("import random\nthrow = random.random()", OURS),
    "jobs/core/planted_seedless.py": ("import random\nrng = random.Random()", OURS),
    "jobs/core/planted_choice.py": ("from random import choice", OURS),
    "scheduling/core/planted_numpy.py": ("import numpy as np\nrng = np.random.default_rng()", OURS),
    "sites/core/planted_uuid.py": ("import uuid\nname = uuid.uuid4()", OURS),
    "sites/core/planted_file.py": ("text = open('a.txt').read()", OURS),
    "reports/documents/planted_path.py": ("from pathlib import Path", OURS),
    "reports/documents/planted_loader.py": ("name = __import__('os')", OURS),
    "reports/core/planted_models.py": ("from reports import models", LINTER),
    "reports/core/planted_framework.py": ("from django.db import models", OURS),
    # Requests and answers stay at the edge.
    "jobs/actions/planted_http.py": ("from django.http import HttpResponse", OURS),
    "jobs/queries/planted_shortcuts.py": ("from django.shortcuts import render", OURS),
    "scheduling/queries/planted_rest.py": ("from rest_framework import serializers", OURS),
    "sites/actions/planted_rest.py": ("import rest_framework.response", OURS),
    "sites/models/planted_http.py": ("from django.http import Http404", OURS),
    "sites/forms/planted_rest.py": ("from rest_framework import serializers", OURS),
    # Only the layer `outside` talks to other machines.
    "reports/queries/planted_mail.py": ("import smtplib", OURS),
    "reports/actions/planted_mail.py": ("import smtplib", OURS),
    "jobs/queries/planted_client.py": ("import http.client", OURS),
    # Queries read.
    "jobs/queries/planted_save.py": ("def f(row):\n    row.save()", OURS),
    "jobs/queries/planted_create.py": ("def f(rows):\n    rows.bulk_create([])", OURS),
    "jobs/queries/planted_update.py": ("def f(rows):\n    rows.filter(pk=1).update(state='open')", OURS),
    "jobs/queries/planted_delete.py": ("def f(rows):\n    rows.all().delete()", OURS),
    "jobs/queries/planted_lock.py": ("def f(rows):\n    return rows.select_for_update()", OURS),
    # Layers point one way, within an app and across apps; apps point one way; every layer and app has its place.
    "jobs/queries/planted_action.py": ("from jobs.actions import visits", LINTER),
    "reports/queries/planted_action.py": ("from scheduling.actions import schedules", OURS),
    "jobs/views/planted_view.py": ("from scheduling.views import watering", OURS),
    "jobs/forms/planted_view.py": ("from jobs.views import days", LINTER),
    "jobs/models/planted_api.py": ("from sites.api import base", OURS),
    "sites/queries/planted_app.py": ("from jobs.models import Visit", LINTER),
    "sites/helpers.py": ("from sites.views import clients", LINTER),
    "scheduling/services/__init__.py": ("", LINTER),
    "stock/__init__.py": ("", OURS),
    # PDFs are drawn by documents alone.
    "reports/views/planted_pdf.py": ("from reportlab.pdfgen import canvas", OURS),
    "reports/forms_planted/__init__.py": ("", LINTER),
    "reports/core/planted_pdf.py": ("import reportlab", OURS),
    "config/planted_pdf.py": ("import reportlab", OURS),
    # An app names no route of an app above, and asks for no link that nobody offers.
    "jobs/views/planted_route.py": ("from django.shortcuts import redirect\ngo = redirect('reports:work')", OURS),
    "jobs/templates/jobs/planted_route.html": ("{% url 'reports:work' %}", OURS),
    "sites/templates/sites/planted_link.html": ('{% load links %}{% link_to "nothing" %}', OURS),
}


@pytest.fixture(scope="module")
def told(tmp_path_factory) -> dict[str, str]:
    """What each tool says about a copy of the code with everything planted."""
    copy = tmp_path_factory.mktemp("planted")
    for app in ("sites", "scheduling", "jobs", "reports", "config"):
        shutil.copytree(settings.BASE_DIR / app, copy / app, ignore=shutil.ignore_patterns("static", "__pycache__"))
    shutil.copy(settings.BASE_DIR / "pyproject.toml", copy)
    for name, (text, _) in PLANTED.items():
        (copy / name).parent.mkdir(parents=True, exist_ok=True)
        (copy / name).write_text(f"{text}\n")
    commands = {
        OURS: [sys.executable, settings.BASE_DIR / ".ci" / "contracts.py", copy],
        LINTER: [Path(sys.executable).parent / "lint-imports", "--no-cache"],
    }
    environment = {**os.environ, "PYTHONPATH": str(copy)}
    return {
        tool: subprocess.run(
            command, cwd=copy, env=environment, capture_output=True, text=True, timeout=120, check=False
        ).stdout
        for tool, command in commands.items()
    }


@pytest.mark.parametrize("name", PLANTED)
def test_what_is_planted_is_named(told, name):
    tool = PLANTED[name][1]
    module = name.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
    sought = module if tool == LINTER else name.removesuffix("__init__.py")
    # A layer without a place is named alone, beside its app.
    assert sought in told[tool] or (tool == LINTER and f"- {module.split('.')[1]}\n" in told[tool])


def test_nothing_else_is_named(told):
    named = {line.split(":")[0].removesuffix("__init__.py") for line in told[OURS].splitlines()}
    assert named <= {name.removesuffix("__init__.py") for name in PLANTED}

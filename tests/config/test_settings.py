import os
import stat
import subprocess
import sys

from django.conf import settings

PRODUCTION = {
    "RILLBOOK_HTTPS": "1",
    "SECRET_KEY": "a-key-for-this-test-only-0123456789-abcdefghijklmnopqrstuvwxyz-XYZ",
    "ALLOWED_HOSTS": "rillbook.example",
}


def manage(*args: str, tmp_path, **environment: str) -> subprocess.CompletedProcess:
    clean = {name: value for name, value in os.environ.items() if name in ("PATH", "HOME", "LANG")}
    return subprocess.run(
        [sys.executable, "manage.py", *args],
        cwd=settings.BASE_DIR,
        env={**clean, "RILLBOOK_DATA_DIR": str(tmp_path), **environment},
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_the_deploy_check_is_clean_in_production_settings(tmp_path):
    checked = manage("check", "--deploy", "--fail-level", "WARNING", tmp_path=tmp_path, **PRODUCTION)

    assert checked.returncode == 0, checked.stderr


def test_the_embedded_default_makes_its_own_secret_key_that_only_its_owner_reads(tmp_path):
    first = manage("shell", "-c", "from django.conf import settings; print(settings.SECRET_KEY)", tmp_path=tmp_path)
    second = manage("shell", "-c", "from django.conf import settings; print(settings.SECRET_KEY)", tmp_path=tmp_path)

    key_file = tmp_path / "secret_key"
    assert first.stdout.splitlines()[-1] == second.stdout.splitlines()[-1] == key_file.read_text()
    assert len(key_file.read_text()) >= 60
    assert stat.S_IMODE(key_file.stat().st_mode) == 0o600


def test_debug_is_off_unless_asked(tmp_path):
    script = "from django.conf import settings; print(settings.DEBUG)"

    assert manage("shell", "-c", script, tmp_path=tmp_path).stdout.splitlines()[-1] == "False"
    assert manage("shell", "-c", script, tmp_path=tmp_path, RILLBOOK_DEBUG="1").stdout.splitlines()[-1] == "True"

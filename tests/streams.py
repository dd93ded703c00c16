"""Streamed answers in tests: their files must be closed, the test's database connection must not."""

from django.core.signals import request_finished
from django.db import close_old_connections


def close(response) -> None:
    """Close what the answer holds open. The test client keeps this signal back only for answers it reads whole."""
    request_finished.disconnect(close_old_connections)
    try:
        response.close()
    finally:
        request_finished.connect(close_old_connections)

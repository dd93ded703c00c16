import pytest

from tests.reports.mail_server import MailServer
from tests.scheduling.conftest import seattle, seattle_text  # noqa: F401 - the measured years


@pytest.fixture
def mail_server(settings):
    """A real SMTP server on loopback that the application sends to; it can be told to misbehave."""
    server = MailServer()
    server.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
    settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
    settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
    settings.EMAIL_TIMEOUT = 5
    yield server
    server.stop()

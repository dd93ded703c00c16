"""The way out of reminders: a signed address in each reminder. Reports and appointments are no reminders."""

from django.conf import settings
from django.core import signing
from django.urls import reverse

from sites.models import Client

SALT = "reports.unsubscribe"


def unsubscribe_url(client: Client) -> str:
    token = signing.dumps(client.pk, salt=SALT)
    return f"{settings.PUBLIC_URL}{reverse('reports:unsubscribe', args=[token])}"


def client_of_token(token: str) -> Client | None:
    try:
        return Client.objects.filter(pk=signing.loads(token, salt=SALT)).first()
    except signing.BadSignature:
        return None


def unsubscribe_headers(client: Client) -> dict[str, str]:
    """RFC 2369 header, and RFC 8058 one-click where the address is one that mail programs may post to (https)."""
    url = unsubscribe_url(client)
    headers = {"List-Unsubscribe": f"<{url}>"}
    if url.startswith("https://"):
        headers["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    return headers

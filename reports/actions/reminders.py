"""Who is reminded."""

from django.db import transaction

from sites.actions.audit import record
from sites.models import Client


def stop_reminders(*, client: Client) -> None:
    """The client asks for no more reminders, through the link in one; asking again changes nothing."""
    with transaction.atomic():
        if Client.objects.filter(pk=client.pk, wants_reminders=True).update(wants_reminders=False):
            record(by=None, verb="stopped reminders", subject=client)

from django.conf import settings
from django.http import HttpRequest

from sites.models import Firm


def firm(request: HttpRequest) -> dict:
    """The firm's name and units for every page; the menu depends on the signed-in role."""
    return {"firm": Firm.current(), "mail_goes_to_files": settings.EMAIL_BACKEND.endswith("filebased.EmailBackend")}

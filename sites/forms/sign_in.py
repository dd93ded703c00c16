from typing import Any

from django.conf import settings
from django.contrib.auth.forms import AuthenticationForm
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.http import HttpRequest

WAIT_S = 15 * 60
TRIES_PER_ACCOUNT = 10  # from one address, so that a stranger elsewhere cannot lock a person out
TRIES_PER_ADDRESS = 60


class SignInForm(AuthenticationForm):
    """Sign-in that stops guessing: failures are counted and refused before the costly password hash is computed."""

    def clean(self) -> dict[str, Any]:
        counters = self._counters()
        if any((cache.get(key) or 0) >= most for key, most in counters.items()):
            raise ValidationError("Too many tries. Wait a quarter of an hour, or ask the office for a new password.")
        try:
            return super().clean()
        except ValidationError:
            for key in counters:
                cache.add(key, 0, WAIT_S)
                cache.incr(key)
            raise

    def _counters(self) -> dict[str, int]:
        address = _address(self.request) if self.request else ""
        name = self.cleaned_data.get("username", "").lower()
        return {
            f"sign-in:{address}:{hash_name(name)}": TRIES_PER_ACCOUNT,
            f"sign-in:{address}": TRIES_PER_ADDRESS,
        }


def _address(request: HttpRequest) -> str:
    """The caller's address: the proxy's word for it where we stand behind our proxy, which overwrites the header."""
    if settings.HTTPS:
        return request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")[-1].strip()
    return request.META.get("REMOTE_ADDR", "")


def hash_name(name: str) -> str:
    """A cache key may hold neither spaces nor any length a person types."""
    return name.encode().hex()[:100]

import pytest

from config.middleware import CONTENT_SECURITY_POLICY


@pytest.mark.parametrize("address", ["/sign-in/", "/sites/", "/sites/999999/", "/no-such-page/", "/api/sites/", "/"])
def test_every_answer_carries_the_security_headers(address, client, office):
    client.force_login(office)

    headers = client.get(address).headers

    assert headers["Content-Security-Policy"] == CONTENT_SECURITY_POLICY
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"
    assert headers["Referrer-Policy"] == "same-origin"
    assert headers["Cross-Origin-Opener-Policy"] == "same-origin"


def test_the_policy_lets_no_inline_script_or_style_through():
    assert "unsafe" not in CONTENT_SECURITY_POLICY


def test_a_post_without_its_token_is_refused(office):
    from django.test import Client

    strict = Client(enforce_csrf_checks=True)
    strict.force_login(office)

    assert strict.post("/sites/new/", {"name": "x"}).status_code == 403

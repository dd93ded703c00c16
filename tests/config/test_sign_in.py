from sites.forms import sign_in
from tests import factories


def try_password(client, password: str, username: str = "otto"):
    return client.post("/sign-in/", {"username": username, "password": password})


def test_the_right_password_opens_the_start_page(client, office):
    answer = try_password(client, factories.PASSWORD)

    assert (answer.status_code, answer.url) == (302, "/")


def test_a_wrong_password_is_told_beside_the_form_and_the_name_stays(client, office):
    page = try_password(client, "wrong").content.decode()

    assert "Please enter a correct username and password" in page
    assert 'value="otto"' in page


def test_unknown_and_known_names_get_the_same_answer(client, office):
    known = try_password(client, "wrong").content.decode()
    unknown = try_password(client, "wrong", username="nobody").content.decode()

    assert "Please enter a correct username and password" in unknown
    assert known.count("error") == unknown.count("error")


def test_guessing_is_stopped_before_the_password_is_looked_at(client, office):
    for _ in range(sign_in.TRIES_PER_ACCOUNT):
        try_password(client, "wrong")

    page = try_password(client, factories.PASSWORD)

    assert page.status_code == 200
    assert "Too many tries" in page.content.decode()


def test_a_stranger_elsewhere_cannot_lock_a_person_out(client, office):
    for _ in range(sign_in.TRIES_PER_ACCOUNT):
        client.post("/sign-in/", {"username": "otto", "password": "wrong"}, REMOTE_ADDR="203.0.113.9")

    assert try_password(client, factories.PASSWORD).status_code == 302


def test_behind_the_proxy_its_word_for_the_address_counts(client, office, settings):
    settings.HTTPS = True
    for number in range(sign_in.TRIES_PER_ACCOUNT):
        client.post(
            "/sign-in/",
            {"username": "otto", "password": "wrong"},
            HTTP_X_FORWARDED_FOR=f"198.51.100.{number}, 203.0.113.9",
        )

    stopped = client.post(
        "/sign-in/", {"username": "otto", "password": factories.PASSWORD}, HTTP_X_FORWARDED_FOR="203.0.113.9"
    )
    elsewhere = client.post(
        "/sign-in/", {"username": "otto", "password": factories.PASSWORD}, HTTP_X_FORWARDED_FOR="203.0.113.10"
    )

    assert (stopped.status_code, elsewhere.status_code) == (200, 302)


def test_signing_in_takes_a_person_only_to_our_own_pages(client, office):
    answer = client.post(
        "/sign-in/?next=https://elsewhere.example/",
        {"username": "otto", "password": factories.PASSWORD, "next": "https://elsewhere.example/"},
    )

    assert answer.url == "/"

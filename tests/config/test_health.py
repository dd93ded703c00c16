def test_healthz_says_only_that_the_process_answers(client, db):
    answer = client.get("/healthz")

    assert (answer.status_code, answer.json()) == (200, {"status": "ok"})


def test_readyz_asks_the_database(client, db, settings):
    settings.REDIS_URL = ""

    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (200, {"ready": True, "database": True})


def test_readyz_is_503_and_names_the_broker_that_does_not_answer(client, db, settings):
    settings.REDIS_URL = "redis://127.0.0.1:1/0"

    answer = client.get("/readyz")

    assert (answer.status_code, answer.json()) == (503, {"ready": False, "database": True, "broker": False})

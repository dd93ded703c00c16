"""Run by test_proposals.py in processes of its own: several browsers post the same answer at one moment.

Arguments: the link's path, the moment to post (seconds since the epoch), how many browsers. Prints a status each.
"""

import os
import sys
import threading
import time

import django

os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
django.setup()

from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402

path, moment, browsers = sys.argv[1], float(sys.argv[2]), int(sys.argv[3])
statuses = []


def press() -> None:
    browser = Client(HTTP_HOST="localhost")
    page = browser.get(path).url
    answer = {"choice": "accept", "name": "Hazel", "confirm": "on", "note": ""}
    connection.close()
    time.sleep(max(0.0, moment - time.time()))
    statuses.append(browser.post(f"{page}answer/", answer).status_code)
    connection.close()


presses = [threading.Thread(target=press) for _ in range(browsers)]
for thread in presses:
    thread.start()
for thread in presses:
    thread.join()
sys.stdout.write(" ".join(map(str, statuses)))

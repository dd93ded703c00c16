"""Without a broker a season plan is computed in a process of its own, on the database on disk."""

import os

import pytest

from config.bench import output_of, start_in_own_database

ORDER_AND_WAIT = """
import datetime as dt, time
from django.core.management import call_command
call_command("migrate", verbosity=0)
from jobs.actions.planning import ask_for_plan
from jobs.models import PlanRun
from jobs.tasks import start_plan
from tests import factories
from tests.jobs.planning_rows import make_visits, monday_ahead
factories.FirmFactory()
factories.TechnicianFactory()
make_visits(6)
monday = monday_ahead()
friday = monday + dt.timedelta(days=4)
run = ask_for_plan(
    run=PlanRun(season_year=monday.year, kinds=["startup"], first_day=monday, last_day=friday)
)
start_plan(run.pk)
print("returned", PlanRun.objects.get().state)
ends = time.monotonic() + 60
while PlanRun.objects.live().exists() and time.monotonic() < ends:
    time.sleep(0.2)
run.refresh_from_db()
print(run.state, run.summary["newly_planned"])
"""


@pytest.mark.slow
@pytest.mark.sqlite_only
@pytest.mark.skipif("postgres" in os.environ.get("DATABASE_URL", ""), reason="makes an SQLite database of its own")
def test_a_plan_is_computed_beside_the_page_that_ordered_it(tmp_path):
    process = start_in_own_database(str(tmp_path), ORDER_AND_WAIT)
    assert output_of(process) == "proposed 6"

"""The season schedules of last season and of this one, computed and published by the actions a person uses."""

import datetime as dt
from functools import partial

from django.db.models import Sum
from django.utils import timezone

from config.demo import stations
from config.demo.dice import dice
from config.demo.field_tests import leak_test_pauses
from config.demo.register import Progress
from config.demo.sketches import PLANTED, Mistake
from scheduling.actions.schedules import compute_many, publish
from scheduling.models import AppliedSchedule, Program, ProgramStep, SeasonSchedule, WateringPause
from scheduling.queries.sequence import week_timeline
from sites.models import Controller, Site, User, WeatherStation

# Month and day of each revision of a season.
LAST_SEASON = ((4, 4), (7, 2))
THIS_SEASON = ((4, 3), (7, 3), (9, 8))


MANY_SITES = 300  # from here on one revision a season must do


def revision_days(today: dt.date, sites: int) -> list[dt.date]:
    """The days on which schedules were published, up to yesterday."""
    days = [dt.date(today.year - 1, *day) for day in LAST_SEASON]
    days += [dt.date(today.year, *day) for day in THIS_SEASON if dt.date(today.year, *day) < today]
    if sites < MANY_SITES:
        return days
    return sorted({max(day for day in days if day.year == year) for year in {day.year for day in days}})


def make_schedules(*, seed: int, today: dt.date, station: WeatherStation, by: User, progress: Progress) -> None:
    """Publish each revision of every site with the date it would have had."""
    sites = list(Site.objects.order_by("pk"))
    days = revision_days(today, len(sites))
    for day in days:
        part = f"schedules of {day:%B %Y}"
        drafts = compute_many(sites=sites, today=day, by=by, month=day.month, progress=partial(progress, part))
        for draft in drafts:
            plant_into(draft)
            publish(schedule=draft, by=by, on=day, all_the_same=True)
    # `computed_at` is stamped by the clock; here it is set to the morning of the day it stands for.
    for day in days:
        morning = timezone.make_aware(dt.datetime.combine(day, dt.time(16)), dt.UTC)
        SeasonSchedule.objects.filter(week_starts_on=day).update(computed_at=morning)
    _note_applied(seed, today)
    _make_pauses(sites, today)
    stations.enter_forecast(seed=seed, today=today, station=station, by=by)


def make_drafts(*, today: dt.date, progress: Progress) -> None:
    """What the nightly task would have left: this week's need, for the office to compare and publish.

    Comes after the visits: a site that one of them shut off needs nothing.
    """
    sites = Site.objects.order_by("pk")
    if len(sites) < MANY_SITES:
        compute_many(
            sites=sites, today=today, by=None, progress=lambda done, total: progress("this week's need", done, total)
        )


def plant_into(draft: SeasonSchedule) -> None:
    """The mistake of a site whose mistake is in what was published."""
    if draft.site.name == PLANTED[Mistake.COLLIDING_PROGRAMS]:
        _let_programs_collide(draft)
    elif draft.site.name == PLANTED[Mistake.SHARED_PUMP]:
        _give_the_pump_no_rest(draft)


def _give_the_pump_no_rest(draft: SeasonSchedule) -> None:
    """The second controller's program begins three minutes after the first one's last valve has shut, on its days."""
    week = week_timeline(draft, week_starts_on=draft.week_starts_on)
    running = [one for one in week.controllers if one.runs]
    if len(running) < 2:
        return
    first, second = running
    leads = draft.programs.get(controller=first.controller, name=first.runs[0].program)
    night = [run for run in first.runs if run.opens_at < first.runs[0].opens_at + dt.timedelta(hours=12)]
    follows = draft.programs.filter(controller=second.controller).first()
    assert follows is not None
    follows.starts_at = (max(run.closes_at for run in night) + dt.timedelta(minutes=3)).time().replace(second=0)
    for name in ("day_rule", "weekdays", "every_n_days", "counted_from"):
        setattr(follows, name, getattr(leads, name))
    if follows.starts_at < leads.starts_at:  # past midnight
        follows.weekdays = sorted((day + 1) % 7 for day in follows.weekdays)
        follows.counted_from = follows.counted_from and follows.counted_from + dt.timedelta(days=1)
    follows.save()


def _let_programs_collide(draft: SeasonSchedule) -> None:
    """Plant two programs of one controller on the same mornings, the second before the first can be done."""
    first = draft.programs.annotate(minutes=Sum("steps__run_time_min")).order_by("-minutes", "pk").first()
    if first is None:
        return
    midway = dt.timedelta(minutes=min(15, first.minutes // 2))
    start = dt.datetime.combine(draft.week_starts_on, first.starts_at) + midway
    extra = Program.objects.create(
        schedule=draft,
        controller=first.controller,
        name="Program X",
        priority=9,
        starts_at=start.time(),
        weekdays=first.weekdays,
    )
    thirsty = first.steps.order_by("-run_time_min")[:3]
    ProgramStep.objects.bulk_create(
        ProgramStep(
            program=extra, zone=step.zone, position=position, run_time_min=max(4, round(step.run_time_min / 3))
        )
        for position, step in enumerate(thirsty, start=1)
    )


def _make_pauses(sites: list[Site], today: dt.date) -> None:
    """Watering stopped on purpose: once last summer, once around today, and for two tests of a night."""
    last_summer = dt.date(today.year - 1, 8, 4)
    pauses = [
        WateringPause(site=site, starts_on=starts, ends_on=starts + dt.timedelta(days=days - 1), reason=reason)
        for site, starts, days, reason in (
            (sites[0], last_summer, 5, "Tournament on the main pitch"),
            (sites[3], today - dt.timedelta(days=1), 6, "Paving works in the courtyard"),
        )
    ]
    WateringPause.objects.bulk_create([*pauses, *leak_test_pauses(sites, today)])


def _note_applied(seed: int, today: dt.date) -> None:
    """Most revisions were set at their controllers within days; some never were, which the office should see."""
    schedules = (
        SeasonSchedule.objects.exclude(state=SeasonSchedule.State.DRAFT).order_by("pk").only("site", "week_starts_on")
    )
    controllers: dict[int, list[Controller]] = {}
    for controller in Controller.objects.order_by("pk"):
        controllers.setdefault(controller.site_id, []).append(controller)
    rng = dice(seed, "applied")
    rows = []
    for schedule in schedules.only("site", "week_starts_on").iterator():
        for controller in controllers[schedule.site_id]:
            day = schedule.week_starts_on + dt.timedelta(days=rng.randint(0, 12))
            if rng.random() < 0.88 and day < today:
                rows.append(AppliedSchedule(schedule=schedule, controller=controller, applied_on=day))
    AppliedSchedule.objects.bulk_create(rows, batch_size=500)

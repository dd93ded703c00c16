"""What becomes of a season schedule: computed as a draft, published, set at the controller."""

import datetime as dt
import zoneinfo

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from scheduling.actions.drafts import compute_draft, compute_many
from scheduling.actions.errors import AskFirst, ScheduleError
from scheduling.models import AppliedSchedule, SeasonSchedule
from scheduling.queries.nights import past_the_window
from sites.actions.audit import record
from sites.core import writing
from sites.models import Controller, Site, User
from sites.queries.site_state import standing_of

__all__ = [
    "ScheduleError",
    "compute_draft",
    "compute_many",
    "publish",
    "put_on_next_visit",
    "record_applied",
    "take_off_next_visit",
]

State = SeasonSchedule.State


def publish(
    *, schedule: SeasonSchedule, by: User | None, on: dt.date | None = None, all_the_same: bool = False
) -> SeasonSchedule:
    """Make the draft the site's published revision and supersede the one before it.

    `on` dates the publication (noon at the site), for records entered later; left out, it is now. Publishing the
    same draft again does nothing. Raises `ScheduleError` in words for the person who clicked; `AskFirst` where the
    site is off on that day or a program runs past its night, and nobody said to publish it `all_the_same`.
    """
    with transaction.atomic():
        # The site's row is the lock: two publishers of one site wait here for each other.
        site = Site.objects.select_for_update().get(pk=schedule.site_id)
        draft = SeasonSchedule.objects.select_for_update(of=("self",)).filter(pk=schedule.pk).first()
        if draft is None:
            raise ScheduleError(
                "This draft was computed again since you opened it. Nothing was published; look at the new one."
            )
        if draft.state != State.DRAFT:
            return _published_before(draft, by)
        moment = _moment(on, site)
        against = [] if all_the_same else _against(draft, site, moment)
        if against:
            raise AskFirst(" ".join(against))
        before = SeasonSchedule.objects.published().filter(site=site).first()
        if before is not None:
            assert before.published_at is not None  # the database keeps no published one without it
            if before.published_at > moment:
                raise ScheduleError(f"Revision {before.revision} was published later than the date given.")
            SeasonSchedule.objects.filter(pk=before.pk).update(state=State.SUPERSEDED, superseded_at=moment)
        others = SeasonSchedule.objects.filter(site=site, season_year=draft.season_year).exclude(pk=draft.pk)
        draft.revision = (others.aggregate(last=Max("revision"))["last"] or 0) + 1
        draft.state, draft.published_at, draft.published_by = State.PUBLISHED, moment, by
        draft.save(update_fields=["revision", "state", "published_at", "published_by"])
        record(by=by, verb="published schedule", subject=draft, site=site.pk, revision=draft.revision)
    return draft


def _against(draft: SeasonSchedule, site: Site, moment: dt.datetime) -> list[str]:
    """What a person is asked about before this draft is published."""
    standing = standing_of(site, timezone.localdate(moment, zoneinfo.ZoneInfo(site.time_zone)))
    words = list(past_the_window(draft))
    if not standing.is_on:
        words.insert(
            0,
            f"{site} is {standing.words}. Published now, the schedule waits: nothing runs and no water is counted "
            "until the site is recorded as on.",
        )
    return words


def _published_before(schedule: SeasonSchedule, by: User | None) -> SeasonSchedule:
    """The answer to a second click: fine for the same person, an error for somebody else or an old revision."""
    if schedule.state == State.PUBLISHED and schedule.published_by_id == (by.pk if by else None):
        return schedule
    when = writing.day_time(timezone.localtime(schedule.published_at))
    who = schedule.published_by or "the scheduled run"
    raise ScheduleError(f"Revision {schedule.revision} was already published by {who} on {when}.")


def _moment(on: dt.date | None, site: Site) -> dt.datetime:
    if on is None:
        return timezone.now()
    return dt.datetime.combine(on, dt.time(12), tzinfo=zoneinfo.ZoneInfo(site.time_zone))


def put_on_next_visit(*, schedule: SeasonSchedule, by: User | None) -> SeasonSchedule:
    """Put the draft on the sheet of the site's next visit; it is published when somebody notes that it was set.

    Until then the nightly run leaves it as it is, so that sheet and draft say the same. Twice does nothing.
    """
    with transaction.atomic():
        draft = SeasonSchedule.objects.select_for_update(of=("self",)).filter(pk=schedule.pk).first()
        if draft is None or draft.state != State.DRAFT:
            raise ScheduleError(
                "This draft was computed again or published since you opened it. Nothing was changed; "
                "look at the new one."
            )
        if not Controller.objects.filter(site=draft.site_id, set_by_hand=True, programs__schedule=draft).exists():
            raise ScheduleError("No controller of this draft is set by hand: publish it instead.")
        if draft.for_next_visit_at is None:
            draft.for_next_visit_at = timezone.now()
            draft.save(update_fields=["for_next_visit_at"])
            record(by=by, verb="put schedule on next visit's sheet", subject=draft, site=draft.site_id)
    return draft


def take_off_next_visit(*, schedule: SeasonSchedule, by: User | None) -> None:
    """The draft is an ordinary draft again: computed again every night."""
    with transaction.atomic():
        if (
            SeasonSchedule.objects.filter(pk=schedule.pk)
            .exclude(for_next_visit_at=None)
            .update(for_next_visit_at=None)
        ):
            record(by=by, verb="took schedule off next visit's sheet", subject=schedule, site=schedule.site_id)


def record_applied(
    *, schedule: SeasonSchedule, controller: Controller, applied_on: dt.date, by: User | None
) -> AppliedSchedule:
    """Note that the revision was set at the controller. Once a controller: a second note corrects the first.

    A draft that stood on the visit's sheet is published by it: now it is what the site is watered by.
    """
    if controller.site_id != schedule.site_id:
        raise ScheduleError(f"{controller} is not at the site of this schedule.")
    with transaction.atomic():
        if schedule.state == State.DRAFT and schedule.for_next_visit_at is not None:
            schedule = publish(schedule=schedule, by=by, all_the_same=True)  # it stands at the controller already
        if schedule.state == State.DRAFT:
            raise ScheduleError("A draft cannot be set at a controller. Publish it first.")
        applied, _ = AppliedSchedule.objects.update_or_create(
            schedule=schedule, controller=controller, defaults={"applied_on": applied_on, "applied_by": by}
        )
        record(
            by=by,
            verb="set schedule at controller",
            subject=schedule,
            controller=controller.pk,
            applied_on=applied_on.isoformat(),
        )
    return applied

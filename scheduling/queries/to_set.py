"""Which schedule a person should find on the sheet of a site's next visit."""

from scheduling.models import SeasonSchedule
from sites.models import Site


def schedule_to_set_at(site: Site | int) -> SeasonSchedule | None:
    """The draft that the office put on the next visit's sheet, else what is published; None without either."""
    rows = SeasonSchedule.objects.filter(site=site).select_related("site")
    marked = rows.filter(state=SeasonSchedule.State.DRAFT).exclude(for_next_visit_at=None).first()
    return marked or rows.published().first()

"""Which sites have their season report, and what a client may read."""

from django.db.models import Count, OuterRef, Prefetch, Q, QuerySet, Subquery

from jobs.models import Visit
from reports.models import Delivery, Document
from sites.models import Site, User


def report_rows(season_year: int) -> QuerySet[Site]:
    """Current sites with their newest report of the season and how far its deliveries are."""
    newest = Document.objects.filter(
        site=OuterRef("pk"), kind=Document.Kind.SEASON_REPORT, season_year=season_year
    ).order_by("-version")
    of_newest = Q(documents__kind=Document.Kind.SEASON_REPORT, documents__season_year=season_year)
    sent = of_newest & Q(documents__deliveries__state=Delivery.State.SENT)
    return (
        Site.objects.current()
        .select_related("client")
        .annotate(
            report_id=Subquery(newest.values("pk")[:1]),
            report_version=Subquery(newest.values("version")[:1]),
            report_made_at=Subquery(newest.values("made_at")[:1]),
            sent_count=Count("documents__deliveries", filter=sent, distinct=True),
            visits_done=Subquery(
                Visit.objects.filter(site=OuterRef("pk"), season_year=season_year, state=Visit.State.FINISHED)
                .order_by()
                .values("site")
                .annotate(n=Count("pk"))
                .values("n")
            ),
        )
        .order_by("name", "pk")
    )


def site_documents(site: Site) -> QuerySet[Document]:
    return site.documents.prefetch_related("deliveries").order_by("-season_year", "kind", "-version")


def client_reports(user: User) -> QuerySet[Site]:
    """The client's sites with the newest published version of each season's report."""
    published = Document.objects.visible_to(user).order_by("-season_year", "-version")
    return (
        Site.objects.visible_to(user)
        .order_by("name")
        .prefetch_related(Prefetch("documents", published, to_attr="published_reports"))
    )

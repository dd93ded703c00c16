"""The lists of the register, narrowed by what a person types. A row per line, no query per row."""

from django.db.models import Count, Min, OuterRef, Q, QuerySet, Subquery

from sites.models import BackflowAssembly, Client, Site, User, Zone


def _every_word(text: str, *fields: str) -> Q:
    """Each word typed must stand in one of the fields."""
    condition = Q()
    for word in text.split():
        condition &= Q(*[(f"{field}__icontains", word) for field in fields], _connector=Q.OR)
    return condition


def site_rows(*, user: User, text: str = "", archived: bool = False) -> QuerySet[Site]:
    """Sites this person may see with `zone_count` (zones in use) and `backflow_test_due_on` (the earliest)."""
    # Subqueries, not joins: two joins would multiply each other's rows.
    zones = Zone.objects.filter(site=OuterRef("pk"), in_use=True).order_by().values("site")
    tests = BackflowAssembly.objects.filter(site=OuterRef("pk")).order_by().values("site")
    return (
        Site.objects.visible_to(user)
        .filter(_every_word(text, "name", "address", "town", "postcode", "client__name"))
        .filter(archived_at__isnull=not archived)
        .select_related("client")
        .annotate(
            zone_count=Subquery(zones.annotate(count=Count("pk")).values("count")),
            backflow_test_due_on=Subquery(tests.annotate(due=Min("test_due_on")).values("due")),
        )
    )


def client_rows(*, user: User, text: str = "", archived: bool = False) -> QuerySet[Client]:
    """Clients with `site_count` (current sites)."""
    return (
        Client.objects.visible_to(user)
        .filter(_every_word(text, "name", "contact_name", "email", "phone"))
        .filter(archived_at__isnull=not archived)
        .annotate(site_count=Count("sites", filter=Q(sites__archived_at=None)))
        .order_by("name", "pk")
    )


def people_rows(*, user: User, text: str = "", clients: bool = False) -> QuerySet[User]:
    """Accounts of the firm, or those of clients; who may not sign in stands last."""
    rows = User.objects.visible_to(user).filter(
        _every_word(text, "username", "first_name", "last_name", "email", "client__name")
    )
    rows = rows.filter(role="client") if clients else rows.exclude(role="client")
    return rows.select_related("client").order_by("-is_active", "last_name", "first_name", "username")

import datetime as dt
import uuid
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q

from jobs.models import Proposal, Visit
from sites.models import Role, Site, User
from sites.models.places import site_scope
from sites.models.rows import ScopedRows


class DocumentQuerySet(ScopedRows["Document"]):
    def visible_to(self, user: User) -> Self:
        rows = self.filter(site_scope(user))
        if user.role == Role.CLIENT:
            return rows.filter(kind=Document.Kind.SEASON_REPORT, published_at__isnull=False)
        if user.role == Role.TECHNICIAN:
            return rows.filter(kind=Document.Kind.SERVICE_SHEET, visit__technician=user)
        return rows


class Document(models.Model):
    """A PDF as it was made, kept with its hash. Correcting data later makes a new version, never rewrites this."""

    class Kind(models.TextChoices):
        SEASON_REPORT = "season_report", "season report"
        SERVICE_SHEET = "service_sheet", "service sheet"
        PROPOSAL = "proposal", "repair proposal"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=15, choices=Kind)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="documents")
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.PROTECT, related_name="documents")
    proposal = models.OneToOneField(
        Proposal, null=True, blank=True, on_delete=models.PROTECT, related_name="document"
    )
    season_year = models.PositiveIntegerField()
    version = models.PositiveIntegerField()
    title = models.CharField(max_length=200)
    pdf = models.FileField(upload_to="documents/%Y/%m/")
    sha256 = models.CharField(max_length=64)
    made_at = models.DateTimeField(auto_now_add=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    published_at = models.DateTimeField(null=True, blank=True, help_text="From then on the client may read it.")
    content = models.JSONField(
        null=True, blank=True, editable=False, help_text="What the PDF was drawn from, for the page behind a link."
    )

    objects = DocumentQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "season_year", "version"],
                condition=Q(kind="season_report"),
                name="season_report_version_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.title}, version {self.version}"


class MailRow(models.Model):
    """One mail to one address. The row is the queue: it is made with its intent and sent by a task."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting to be sent"
        SENDING = "sending", "being sent"
        SENT = "sent", "sent"
        UNKNOWN = "unknown", "unknown: the connection broke while sending"
        FAILED = "failed", "refused"
        BOUNCED = "bounced", "came back: not delivered"

    recipient = models.EmailField()
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    message_id = models.CharField(max_length=120, unique=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    last_error = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    claimed_at = models.DateTimeField(null=True, blank=True)
    try_after = models.DateTimeField(null=True, blank=True, help_text="Not before; set after a failed try.")
    sent_at = models.DateTimeField(null=True, blank=True)
    bounced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        abstract = True


class DeliveryQuerySet(ScopedRows["Delivery"]):
    def visible_to(self, user: User) -> Self:
        return self if user.role in (Role.OWNER, Role.OFFICE) else self.none()


class Delivery(MailRow):
    """One document to one address."""

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="deliveries")

    objects = DeliveryQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        verbose_name_plural = "deliveries"
        constraints = [models.UniqueConstraint(fields=["document", "recipient"], name="document_once_per_recipient")]

    def __str__(self) -> str:
        return f"{self.document} to {self.recipient}: {self.get_state_display()}"


class AppointmentMailQuerySet(ScopedRows["AppointmentMail"]):
    def visible_to(self, user: User) -> Self:
        return self if user.role in (Role.OWNER, Role.OFFICE) else self.none()

    def news(self) -> Self:
        """Everything but reminders: each of these changes what the client knows."""
        return self.exclude(kind=AppointmentMail.Kind.REMINDER)


class AppointmentMail(MailRow):
    """What a client was told about one visit: where it stands, that it moved, that it is off, or a reminder.

    `on_date`, `from_time` and `until_time` are what the mail says; `sequence` is that of its calendar entry
    (RFC 5545), which rises with every change.
    """

    class Kind(models.TextChoices):
        APPOINTMENT = "appointment", "appointment"
        CHANGE = "change", "changed appointment"
        CANCELLATION = "cancellation", "cancellation"
        REMINDER = "reminder", "reminder"

    visit = models.ForeignKey(Visit, on_delete=models.PROTECT, related_name="appointment_mails")
    kind = models.CharField(max_length=12, choices=Kind)
    sequence = models.PositiveIntegerField(default=0)
    on_date = models.DateField()
    from_time = models.TimeField(null=True, blank=True, help_text="Empty: the day only.")
    until_time = models.TimeField(null=True, blank=True)

    objects = AppointmentMailQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]
        constraints = [
            # Two planners at once tell a client of a change only once, and a day is reminded of only once.
            models.UniqueConstraint(
                fields=["visit", "sequence"], condition=~Q(kind="reminder"), name="appointment_told_once"
            ),
            models.UniqueConstraint(
                fields=["visit", "on_date"], condition=Q(kind="reminder"), name="appointment_reminded_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} to {self.recipient}: {self.get_state_display()}"


class ShareLinkQuerySet(ScopedRows["ShareLink"]):
    def visible_to(self, user: User) -> Self:
        return self if user.role in (Role.OWNER, Role.OFFICE) else self.none()

    def open_at(self, moment: dt.datetime) -> Self:
        return self.filter(revoked_at=None, expires_at__gt=moment)


class ShareLink(models.Model):
    """A link that opens one document without signing in. Only the hash of its token is kept."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    document = models.ForeignKey(Document, on_delete=models.CASCADE, related_name="links")
    delivery = models.ForeignKey(Delivery, null=True, blank=True, on_delete=models.CASCADE, related_name="links")
    token_sha256 = models.CharField(max_length=64, unique=True)
    label = models.CharField("for whom", max_length=254, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL)
    expires_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    views = models.PositiveIntegerField(default=0)
    last_viewed_at = models.DateTimeField(null=True, blank=True)

    objects = ShareLinkQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return f"link to {self.document}"


class BulkJobQuerySet(ScopedRows["BulkJob"]):
    def visible_to(self, user: User) -> Self:
        return self if user.role in (Role.OWNER, Role.OFFICE) else self.none()

    def under_way(self) -> Self:
        return self.filter(state__in=[BulkJob.State.WAITING, BulkJob.State.RUNNING])


class BulkJob(models.Model):
    """Many sheets or reports in one file, made in the background. The rows are the queue: the parts wait, are
    claimed, are done; when all are done the file is put together."""

    class Kind(models.TextChoices):
        SHEETS = "sheets", "blank service sheets"
        COMPLETED = "completed", "completed service sheets"
        REPORTS = "reports", "season reports"
        SEND = "send", "season reports by mail"

    class Shape(models.TextChoices):
        PDF = "pdf", "one PDF to print"
        ZIP = "zip", "a ZIP with one PDF each"
        NONE = "none", "no file"

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        RUNNING = "running", "being made"
        DONE = "done", "ready"
        CANCELLED = "cancelled", "cancelled"
        FAILED = "failed", "stopped by an error"

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=10, choices=Kind)
    shape = models.CharField(max_length=4, choices=Shape)
    title = models.CharField(max_length=200)
    season_year = models.PositiveIntegerField()
    prepared_on = models.DateField()
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    total = models.PositiveIntegerField()
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)
    created_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    joining_since = models.DateTimeField(null=True, blank=True, help_text="One worker puts the file together.")
    file = models.FileField(upload_to="bulk/%Y/%m/", blank=True)
    last_error = models.CharField(max_length=300, blank=True)
    notes = models.JSONField(default=list, help_text="What could not be done, a sentence each.")

    objects = BulkJobQuerySet.as_manager()

    class Meta:
        ordering = ["-created_at", "-pk"]

    def __str__(self) -> str:
        return self.title


class BulkPart(models.Model):
    """A chunk of a bulk job: the rows it prints, and the file with them once it is done."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting"
        CLAIMED = "claimed", "being made"
        DONE = "done", "done"

    job = models.ForeignKey(BulkJob, on_delete=models.CASCADE, related_name="parts")
    number = models.PositiveIntegerField()
    row_ids = models.JSONField(help_text="Visits or sites, in the order they are printed.")
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    claimed_at = models.DateTimeField(null=True, blank=True)
    file = models.FileField(upload_to="bulk/parts/", blank=True)
    notes = models.JSONField(default=list)

    class Meta:
        ordering = ["job", "number"]
        constraints = [models.UniqueConstraint(fields=["job", "number"], name="bulk_part_number_once")]

    def __str__(self) -> str:
        return f"{self.job}, part {self.number}"

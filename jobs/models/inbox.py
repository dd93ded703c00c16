"""What phones sent: kept as it came, applied in the order of each device, decided by a person where it must be."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from jobs.models.visits import OfficeRows, Visit
from sites.models import Photo


class FieldDevice(models.Model):
    """One person's page on one phone. Its records carry a running number from 1 and are applied in that order."""

    uuid = models.UUIDField()
    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="field_devices")
    next_sequence = models.PositiveIntegerField(default=1, help_text="Number of the record to apply next.")
    clock_offset_s = models.IntegerField(default=0, help_text="Server time minus phone time when last heard of.")
    last_seen_at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["uuid", "user"], name="field_device_once_per_person")]

    def __str__(self) -> str:
        return f"phone of {self.user}"


class InboxRecord(models.Model):
    """A record as sent. `body` and what was read from it never change; `state` says what became of it."""

    class State(models.TextChoices):
        WAITING = "waiting", "waiting for an earlier record"
        APPLIED = "applied", "applied"
        FOR_PERSON = "for_person", "for a person to decide"
        HELD = "held", "held: access was withdrawn"
        REFUSED = "refused", "refused: not readable"
        NOT_APPLIED = "not_applied", "not applied"

    TO_DECIDE = (State.WAITING, State.FOR_PERSON, State.HELD, State.REFUSED)

    uuid = models.UUIDField()
    digest = models.CharField(max_length=64, help_text="SHA-256 of sender and content.")
    twin_of = models.ForeignKey(
        "self", null=True, on_delete=models.PROTECT, related_name="twins", help_text="Same id, other content."
    )
    device = models.ForeignKey(FieldDevice, null=True, on_delete=models.PROTECT, related_name="records")
    sequence = models.PositiveIntegerField(null=True)
    schema = models.PositiveIntegerField(null=True)
    kind = models.CharField(max_length=30, blank=True)
    visit = models.ForeignKey(Visit, null=True, on_delete=models.SET_NULL, related_name="inbox_records")
    body = models.TextField()
    phone_time = models.DateTimeField(null=True, help_text="When it was entered, by the phone's clock.")
    clock_offset_s = models.IntegerField(default=0, help_text="Server time minus phone time when it arrived.")
    happened_at = models.DateTimeField(null=True, help_text="phone_time put right by the offset.")
    received_at = models.DateTimeField()
    sender = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="inbox_records")
    imported_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    state = models.CharField(max_length=12, choices=State, default=State.WAITING)
    reason = models.TextField(blank=True)
    errors = models.JSONField(default=dict)
    decided_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True)

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["uuid", "digest"], name="inbox_same_content_once"),
            models.UniqueConstraint(fields=["uuid"], condition=Q(twin_of=None), name="inbox_one_first_per_uuid"),
        ]
        indexes = [
            models.Index(fields=["device", "sequence"]),
            models.Index(fields=["state"]),
        ]

    def __str__(self) -> str:
        return f"{self.kind or 'unreadable record'} {self.uuid}"


class PhotoUpload(models.Model):
    """A picture on its way in, piece by piece. It hangs on the fault whose record named it."""

    class State(models.TextChoices):
        RECEIVING = "receiving", "receiving"
        WAITING = "waiting", "complete, its fault is not applied yet"
        STORED = "stored", "stored"
        REFUSED = "refused", "refused"

    uuid = models.UUIDField(unique=True)
    record_uuid = models.UUIDField(help_text="The fault's record.")
    sender = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    total_bytes = models.PositiveIntegerField()
    caption = models.CharField(max_length=200, blank=True)
    taken_at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State, default=State.RECEIVING)
    reason = models.TextField(blank=True)
    photo = models.OneToOneField(Photo, null=True, on_delete=models.SET_NULL, related_name="upload")

    class Meta:
        indexes = [models.Index(fields=["record_uuid"])]

    def __str__(self) -> str:
        return f"upload {self.uuid}"


class PhotoPiece(models.Model):
    """Bytes of an upload from `start` on; gone once the picture is stored."""

    upload = models.ForeignKey(PhotoUpload, on_delete=models.CASCADE, related_name="pieces")
    start = models.PositiveIntegerField()
    data = models.BinaryField()

    class Meta:
        ordering = ["start"]
        constraints = [models.UniqueConstraint(fields=["upload", "start"], name="photo_piece_once")]

    def __str__(self) -> str:
        return f"{self.upload} from {self.start}"

from django.conf import settings
from django.db import models


class AuditEntry(models.Model):
    """Who did what to which row, written by actions in the same transaction. Never edited or deleted."""

    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT)
    verb = models.CharField(max_length=60)
    subject_type = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=40)
    detail = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["subject_type", "subject_id"])]
        verbose_name_plural = "audit entries"

    def __str__(self) -> str:
        return f"{self.verb} {self.subject_type} {self.subject_id}"

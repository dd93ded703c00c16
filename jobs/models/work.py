from decimal import Decimal
from typing import Self

from django.conf import settings
from django.core.validators import MaxValueValidator
from django.db import models

from jobs.core.money import labour_amount, total
from jobs.models.proposals import NO_LESS_THAN_NOTHING, PricedLine, PriceItem
from jobs.models.visits import Visit
from sites.models import Role, User
from sites.models.rows import ScopedRows


class WorkRecordQuerySet(ScopedRows["WorkRecord"]):
    def visible_to(self, user: User) -> Self:
        if user.is_office:
            return self
        return self.filter(visit__technician=user) if user.role == Role.TECHNICIAN else self.none()


class WorkRecord(models.Model):
    """Work time and parts of one repair visit, for billing elsewhere. Billed, it stays as it is."""

    visit = models.OneToOneField(Visit, on_delete=models.PROTECT, related_name="work_record")
    labour_min = models.PositiveSmallIntegerField(
        "work time", default=0, validators=[MaxValueValidator(6000)], help_text="Minutes of all people together."
    )
    labour_item = models.ForeignKey(
        PriceItem, null=True, blank=True, on_delete=models.PROTECT, related_name="+", verbose_name="kind of work"
    )
    labour_price = models.DecimalField(
        "price per hour", max_digits=10, decimal_places=2, null=True, blank=True, validators=NO_LESS_THAN_NOTHING
    )
    note = models.CharField(max_length=300, blank=True)
    currency = models.CharField(max_length=3, editable=False)
    changed_at = models.DateTimeField(auto_now=True)
    billed_at = models.DateTimeField(null=True, blank=True, editable=False)
    billed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, editable=False, on_delete=models.SET_NULL, related_name="+"
    )

    objects = WorkRecordQuerySet.as_manager()

    class Meta:
        ordering = ["-visit__started_at", "-pk"]

    def __str__(self) -> str:
        return f"work record of {self.visit}"

    @property
    def labour_amount(self) -> Decimal | None:
        return labour_amount(self.labour_min, self.labour_price) if self.labour_min else Decimal("0.00")

    @property
    def total(self) -> Decimal:
        return total([self.labour_amount, *[part.amount for part in self.parts.all()]])

    @property
    def lacks_prices(self) -> bool:
        return self.labour_amount is None or any(part.amount is None for part in self.parts.all())


class WorkPart(PricedLine):
    record = models.ForeignKey(WorkRecord, on_delete=models.CASCADE, related_name="parts")

    class Meta:
        ordering = ["record", "position", "pk"]

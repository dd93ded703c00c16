import datetime as dt
import uuid
from decimal import Decimal

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q

from jobs.core.money import line_amount, total
from jobs.core.rulebook import PRICE_ITEM, SaleUnit
from jobs.models.field import Fault
from jobs.models.visits import OfficeRows, Visit
from sites.models import Site
from sites.models.ruled import RuledRow, column

NO_LESS_THAN_NOTHING = [MinValueValidator(Decimal("0"))]
SOMETHING = [MinValueValidator(Decimal("0.01"), "Enter a quantity above 0.")]


class PriceItem(RuledRow):
    """A line of the firm's price list: a part, or an hour of labour."""

    rules = PRICE_ITEM

    name = column(PRICE_ITEM["name"], unique=True)
    unit = column(PRICE_ITEM["unit"])
    price = column(PRICE_ITEM["price"])
    active = column(PRICE_ITEM["active"])

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["name"]
        constraints = [models.CheckConstraint(name="price_not_negative", condition=Q(price__gte=0))]

    def __str__(self) -> str:
        return self.name


class PricedLine(models.Model):
    """A quantity of something at a price copied at the time: a later change of the price list leaves it alone."""

    position = models.PositiveSmallIntegerField(default=0)
    item = models.ForeignKey(PriceItem, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    text = models.CharField("what", max_length=200)
    quantity = models.DecimalField(max_digits=8, decimal_places=2, default=1, validators=SOMETHING)
    unit = models.CharField(max_length=5, choices=SaleUnit.pairs(), default=SaleUnit.PIECE.value)
    unit_price = models.DecimalField(
        "price per unit",
        max_digits=10,
        decimal_places=2,
        null=True,
        blank=True,
        validators=NO_LESS_THAN_NOTHING,
    )

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return self.text

    @property
    def amount(self) -> Decimal | None:
        return line_amount(self.quantity, self.unit_price)


class Proposal(models.Model):
    """What repairing faults of a site would cost. A draft is edited; once sent it stays as it is, a new one
    supersedes it. The client accepts or declines it once."""

    class State(models.TextChoices):
        DRAFT = "draft", "draft"
        SENT = "sent", "waiting for the client"
        ACCEPTED = "accepted", "accepted"
        DECLINED = "declined", "declined"
        SUPERSEDED = "superseded", "superseded"
        WITHDRAWN = "withdrawn", "withdrawn"

    EXPIRED = "expired"  # a standing, not a state: the day alone makes it

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    number = models.PositiveIntegerField(unique=True, editable=False)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="proposals")
    state = models.CharField(max_length=10, choices=State, default=State.DRAFT, editable=False)
    supersedes = models.OneToOneField(
        "self", null=True, blank=True, editable=False, on_delete=models.PROTECT, related_name="successor"
    )
    valid_until = models.DateField(help_text="The last day on which the client can accept it.")
    note = models.TextField(
        "note to the client", blank=True, help_text="Printed. For example whether tax is included, or access needed."
    )
    currency = models.CharField(max_length=3, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, editable=False, on_delete=models.SET_NULL, related_name="+"
    )
    sent_at = models.DateTimeField(null=True, blank=True, editable=False)
    answered_at = models.DateTimeField(null=True, blank=True, editable=False)
    answered_by = models.CharField("name of who answered", max_length=120, blank=True, editable=False)
    answer_note = models.CharField(max_length=500, blank=True, editable=False)
    visit = models.OneToOneField(
        Visit, null=True, blank=True, editable=False, on_delete=models.SET_NULL, related_name="proposal"
    )

    objects = OfficeRows.as_manager()

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.CheckConstraint(
                name="proposal_sent_has_a_time", condition=Q(state="draft") | Q(sent_at__isnull=False)
            ),
            models.CheckConstraint(
                name="proposal_answer_has_name_and_time",
                condition=~Q(state__in=["accepted", "declined"])
                | (Q(answered_at__isnull=False) & ~Q(answered_by="")),
            ),
        ]

    def __str__(self) -> str:
        return f"Proposal {self.number}"

    def standing(self, today: dt.date) -> str:
        """Its state as it counts today: a sent proposal past its last day has expired."""
        if self.state == Proposal.State.SENT and self.valid_until < today:
            return Proposal.EXPIRED
        return str(self.state)

    @property
    def total(self) -> Decimal:
        return total(line.amount for line in self.lines.all())


class ProposalLine(PricedLine):
    proposal = models.ForeignKey(Proposal, on_delete=models.CASCADE, related_name="lines")
    fault = models.ForeignKey(
        Fault, null=True, blank=True, on_delete=models.PROTECT, related_name="proposal_lines", verbose_name="repairs"
    )

    class Meta:
        ordering = ["proposal", "position", "pk"]

from django.conf import settings
from django.db import models

from jobs.models.visits import Visit, VisitKind


class ChecklistTemplate(models.Model):
    """One version of the steps of a kind of visit. A used version is never edited; the office makes the next."""

    kind = models.CharField(max_length=15, choices=VisitKind)
    version = models.PositiveSmallIntegerField()
    current = models.BooleanField(default=True)
    edition = models.PositiveSmallIntegerField(
        default=1, help_text="Edition of the usual safety steps that the office last saw when this was saved."
    )

    class Meta:
        ordering = ["kind", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "version"], name="checklist_version_once"),
            models.UniqueConstraint(
                fields=["kind"], condition=models.Q(current=True), name="checklist_one_current_per_kind"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} checklist version {self.version}"


class ChecklistItem(models.Model):
    class Answer(models.TextChoices):
        TICK = "tick", "done or not"
        NUMBER = "number", "a number"
        TEXT = "text", "words"
        CHOICE = "choice", "one of a list"

    template = models.ForeignKey(ChecklistTemplate, on_delete=models.CASCADE, related_name="items")
    key = models.SlugField(max_length=60, help_text="Stays the same from version to version.")
    position = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=240)
    caution = models.TextField(blank=True, help_text="The caution shown with the step.")
    answer = models.CharField(max_length=8, choices=Answer, default=Answer.TICK)
    unit_kind = models.CharField(max_length=20, blank=True, help_text="Quantity of a number, e.g. pressure.")
    options = models.JSONField(default=list, blank=True, help_text="Of a choice: [[word, what is shown], ...].")
    gate = models.BooleanField(default=False, help_text="The steps after this one wait until it is done.")

    class Meta:
        ordering = ["template", "position"]
        constraints = [models.UniqueConstraint(fields=["template", "key"], name="checklist_key_once_per_version")]

    def __str__(self) -> str:
        return self.text


class ChecklistAnswer(models.Model):
    visit = models.ForeignKey(Visit, on_delete=models.CASCADE, related_name="answers")
    item = models.ForeignKey(ChecklistItem, on_delete=models.PROTECT, related_name="answers")
    done = models.BooleanField(default=False)
    number = models.FloatField(null=True, blank=True, help_text="SI.")
    text = models.TextField(blank=True, help_text="Words, or the word of the chosen option.")
    answered_at = models.DateTimeField()
    answered_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL)

    class Meta:
        ordering = ["visit", "item__position"]
        constraints = [models.UniqueConstraint(fields=["visit", "item"], name="checklist_item_answered_once")]

    def __str__(self) -> str:
        return f"{self.item}: {'done' if self.done else 'not done'}"

    @property
    def shown_text(self) -> str:
        """The words a person reads: the label of a chosen option, else what was typed."""
        return dict(self.item.options).get(self.text, self.text)

"""What every endpoint shares: rows by `visible_to`, model rules on write, fields hidden by role."""

from typing import Any, ClassVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.core.validators import MaxLengthValidator, MaxValueValidator, MinValueValidator
from django.db.models import Model, ProtectedError, QuerySet
from rest_framework import serializers, status, viewsets
from rest_framework.exceptions import APIException

from sites.access import EVERYONE, OFFICE
from sites.actions import register
from sites.core.rulebook import Field, Kind, Table
from sites.core.rulebook.fields import (
    MISSING,
    NO_RULES,
    NOT_A_CHOICE,
    NOT_A_DATE,
    NOT_A_NUMBER,
    NOT_A_TIME,
    NOT_AMONG,
    NOT_AN_ADDRESS,
    NOT_WHOLE,
    NOT_YES_OR_NO,
    NUMERIC,
)
from sites.models import Role


def row_number(text: str, name: str) -> int:
    """A row's number out of a query string, else 400 beside `name`. Digits alone are not enough: "²" is one too."""
    if not (text.isascii() and text.isdigit() and len(text) < 12):
        raise serializers.ValidationError({name: f"The {name} is a whole number."})
    return int(text)


class InUse(APIException):
    status_code = status.HTTP_409_CONFLICT
    default_detail = "Other records point to this one, so it stays."
    default_code = "in_use"


class Judged:
    """Says what the rulebook says of one field, of a value that differs from the stored one."""

    requires_context = True

    def __init__(self, rule: Field) -> None:
        self.rule = rule

    def __call__(self, value: Any, field: serializers.Field | None = None) -> None:
        row = getattr(getattr(field, "parent", None), "instance", None)
        if row is not None and getattr(row, self.rule.name) == value:
            return
        if refused := self.rule.refusal(value):
            raise serializers.ValidationError(refused)


class Least(Judged, MinValueValidator):
    """As `Judged`; the schema reads the limit."""

    def __init__(self, rule: Field) -> None:
        super().__init__(rule)
        self.limit_value = rule.least


class Most(Judged, MaxValueValidator):
    """For the schema: `Least` beside it judges both limits."""

    def __init__(self, rule: Field) -> None:
        super().__init__(rule)
        self.limit_value = rule.most

    def __call__(self, value: Any, field: serializers.Field | None = None) -> None:
        pass


class Longest(Judged, MaxLengthValidator):
    def __init__(self, rule: Field) -> None:
        super().__init__(rule)
        self.limit_value = rule.longest


# What a serializer's field says of a value it cannot read, in the rulebook's words.
UNREADABLE = {
    Kind.NUMBER: NOT_A_NUMBER,
    Kind.WHOLE: NOT_WHOLE,
    Kind.MONEY: NOT_A_NUMBER,
    Kind.EMAIL: NOT_AN_ADDRESS,
    Kind.YES_NO: NOT_YES_OR_NO,
    Kind.DATE: NOT_A_DATE,
    Kind.TIME: NOT_A_TIME,
}


class WordField(serializers.ChoiceField):
    """One of several words; no word is a missing one, not a wrong one."""

    def to_internal_value(self, data: Any) -> Any:
        if data == "" and not self.allow_blank:
            self.fail("null")
        return super().to_internal_value(data)


class RowSerializer(serializers.ModelSerializer):
    """A row as JSON, SI units, judged by the rulebook. `hidden_from` names the fields that a role never reads."""

    serializer_choice_field = WordField
    hidden_from: ClassVar[dict[str, tuple[str, ...]]] = {}
    stays_on: ClassVar[str] = ""
    """What the row stands on, where no rulebook says it: chosen once. Moved, it would leave what points to it."""
    may_come_again: ClassVar[tuple[str, ...]] = ()
    """Fields by which the view knows a row again, instead of refusing it."""

    @property
    def rules(self) -> Table:
        return getattr(self.Meta.model, "rules", NO_RULES)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown = super().to_representation(instance)
        request = self.context.get("request")
        role = getattr(getattr(request, "user", None), "role", Role.CLIENT)
        for name in (*self.hidden_from.get(role, ()), *self.rules.hidden_from().get(role, ())):
            shown.pop(name, None)
        return shown

    def build_field(self, field_name: str, info: Any, model_class: Any, nested_depth: int) -> tuple[Any, dict]:
        """Limits, words and help of a field that stands in the rulebook come from there."""
        field_class, kwargs = super().build_field(field_name, info, model_class, nested_depth)
        if field_name not in self.rules.names or model_class is not self.Meta.model:
            return field_class, kwargs
        rule = self.rules[field_name]
        for name in ("min_value", "max_value", "max_length", "validators"):
            kwargs.pop(name, None)
        words = {"null": MISSING, "blank": MISSING, "invalid_choice": NOT_A_CHOICE.replace("{value}", "{input}")}
        if rule.kind in UNREADABLE:
            words["invalid"] = UNREADABLE[rule.kind]
        if rule.kind is Kind.ROW:
            words |= dict.fromkeys(("does_not_exist", "incorrect_type"), rule.told or NOT_AMONG)
        else:
            kwargs["validators"] = _judges(rule)
        kwargs["error_messages"] = words
        if about := " ".join(filter(None, (rule.stored_unit and f"{rule.stored_unit}.", rule.help))):
            kwargs["help_text"] = about
        return field_class, kwargs

    def get_validators(self) -> list:
        return []  # uniqueness too is judged by the row, in the form's words

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Run the model's own rules and constraints, so that forms and API refuse the same things."""
        row = self.instance or self.Meta.model()
        parent = self.stays_on or self.rules.parent
        if self.instance and parent in attrs and attrs[parent] != getattr(row, parent):
            raise serializers.ValidationError({parent: "A row cannot move to another parent. Make a new one there."})
        before = {name: getattr(row, name, None) for name in attrs} if self.instance else {}
        for name, value in attrs.items():
            if not isinstance(value, list) or name.endswith("weekdays"):
                setattr(row, name, value)
        try:
            row.full_clean(
                exclude={*self.may_come_again, *(n for n, field in self.fields.items() if field.read_only)}
            )
        except ValidationError as error:
            for name, value in before.items():
                setattr(row, name, value)
            messages = {
                "non_field_errors" if name == NON_FIELD_ERRORS else name: words
                for name, words in error.message_dict.items()
            }
            raise serializers.ValidationError(messages) from error
        return attrs


def _judges(rule: Field) -> list[Judged]:
    if rule.kind is Kind.EMAIL:
        return []  # its field knows an address; the row judges its length
    if rule.kind in NUMERIC:
        return [Least(rule), Most(rule)]
    return [Longest(rule)] if rule.longest and rule.choices is None else [Judged(rule)]


def serializer_of(model: type[Model], **meta: Any) -> type[RowSerializer]:
    """The serializer of a table that needs no more than its fields: all of them, or as `meta` says."""
    about = type("Meta", (), {"model": model, **(meta or {"fields": "__all__"})})
    return type(f"{model.__name__}Serializer", (RowSerializer,), {"Meta": about})


class ReadViewSet(viewsets.ReadOnlyModelViewSet):
    """Rows as `visible_to` shows them. `site_path` lets `?site=` narrow a list."""

    open_to: ClassVar[dict[str, tuple]] = {"GET": EVERYONE}
    site_path: ClassVar[str | None] = "site"

    def get_queryset(self) -> QuerySet:
        rows = super().get_queryset()
        if getattr(self, "swagger_fake_view", False):
            return rows.none()
        rows = rows.visible_to(self.request.user)
        wanted = self.request.query_params.get("site")
        if wanted and self.site_path:
            rows = rows.filter(**{self.site_path: row_number(wanted, "site")})
        return rows


class RowViewSet(ReadViewSet, viewsets.ModelViewSet):
    """Read for those who see the row, write for the office."""

    open_to: ClassVar[dict[str, tuple]] = {
        "GET": EVERYONE,
        "POST": OFFICE,
        "PUT": OFFICE,
        "PATCH": OFFICE,
        "DELETE": OFFICE,
    }

    def perform_create(self, serializer: serializers.BaseSerializer) -> None:
        row = serializer.Meta.model(**serializer.validated_data)
        serializer.instance = register.save(instance=row, by=self.request.user)

    def perform_update(self, serializer: serializers.BaseSerializer) -> None:
        row = serializer.instance
        for name, value in serializer.validated_data.items():
            setattr(row, name, value)
        register.save(instance=row, by=self.request.user)

    def perform_destroy(self, instance: Model) -> None:
        try:
            register.delete(instance=instance, by=self.request.user)
        except ProtectedError as error:
            raise InUse from error


def rows_of(
    model: type[Model],
    *,
    site_path: str | None = "site",
    read_by: tuple = EVERYONE,
    written: bool = True,
    order: tuple[str, ...] = (),
    about: str = "",
    **meta: Any,
) -> type[ReadViewSet]:
    """The endpoint of a table; `written`: by the office. about: for the API's pages; meta: as there."""
    base = RowViewSet if written else ReadViewSet
    view = {
        "__doc__": about,
        "queryset": model._default_manager.order_by(*(order or model._meta.ordering or ["pk"])),
        "serializer_class": serializer_of(model, **meta),
        "open_to": {**base.open_to, "GET": read_by},
        "site_path": site_path,
    }
    return type(f"{model.__name__}ViewSet", (base,), view)

"""What every endpoint shares: rows by `visible_to`, model rules on write, fields hidden by role."""

from typing import Any, ClassVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db.models import ProtectedError
from rest_framework import serializers, status, viewsets
from rest_framework.exceptions import APIException

from sites.access import EVERYONE, OFFICE
from sites.actions import register
from sites.models import Role


def row_number(text: str, name: str) -> int:
    """A row's number out of a query string, else 400 beside `name`. Digits alone are not enough: "²" is one too."""
    if not (text.isascii() and text.isdigit() and len(text) < 12):
        raise serializers.ValidationError({name: f"The {name} is a whole number."})
    return int(text)


ABSURD = 1e9  # no figure of a site is so large, and powers of larger ones leave the range of numbers
ABSURD_WORDS = "No site has such a figure: look at the unit."


def _is_absurd(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and not abs(value) <= ABSURD


class InUse(APIException):
    status_code = status.HTTP_409_CONFLICT
    default_detail = "Other records point to this one, so it stays."
    default_code = "in_use"


class RowSerializer(serializers.ModelSerializer):
    """A row as JSON, SI units. `hidden_from` names the fields that a role never reads."""

    hidden_from: ClassVar[dict[str, tuple[str, ...]]] = {}
    stays_on: ClassVar[str] = ""
    """The row it belongs to, such as its site. It is chosen once and cannot change."""

    def to_representation(self, instance: Any) -> dict[str, Any]:
        shown = super().to_representation(instance)
        request = self.context.get("request")
        role = getattr(getattr(request, "user", None), "role", Role.CLIENT)
        for name in self.hidden_from.get(role, ()):
            shown.pop(name, None)
        return shown

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        read = super().to_internal_value(data)
        absurd = {name: [ABSURD_WORDS] for name, value in read.items() if _is_absurd(value)}
        if absurd:
            raise serializers.ValidationError(absurd)
        return read

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Run the model's own rules and constraints, so that forms and API refuse the same things."""
        row = self.instance or self.Meta.model()
        if self.instance and self.stays_on in attrs and attrs[self.stays_on] != getattr(row, self.stays_on):
            raise serializers.ValidationError(
                {self.stays_on: "A row cannot move to another parent. Make a new one there."}
            )
        before = {name: getattr(row, name, None) for name in attrs} if self.instance else {}
        for name, value in attrs.items():
            if not isinstance(value, list) or name.endswith("weekdays"):
                setattr(row, name, value)
        try:
            row.full_clean(validate_unique=False)
        except ValidationError as error:
            for name, value in before.items():
                setattr(row, name, value)
            messages = {
                "non_field_errors" if name == NON_FIELD_ERRORS else name: words
                for name, words in error.message_dict.items()
            }
            raise serializers.ValidationError(messages) from error
        return attrs


class ReadViewSet(viewsets.ReadOnlyModelViewSet):
    """Rows as `visible_to` shows them. `site_path` lets `?site=` narrow a list."""

    open_to: ClassVar[dict[str, tuple]] = {"GET": EVERYONE}
    site_path: ClassVar[str | None] = "site"

    def get_queryset(self):
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

    def perform_create(self, serializer):
        row = serializer.Meta.model(**serializer.validated_data)
        serializer.instance = register.save(instance=row, by=self.request.user)

    def perform_update(self, serializer):
        row = serializer.instance
        for name, value in serializer.validated_data.items():
            setattr(row, name, value)
        register.save(instance=row, by=self.request.user)

    def perform_destroy(self, instance):
        try:
            register.delete(instance=instance, by=self.request.user)
        except ProtectedError as error:
            raise InUse from error

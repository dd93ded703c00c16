"""The register as endpoints, one a table."""

from typing import Any

from rest_framework import serializers

from sites import models
from sites.access import OFFICE, STAFF
from sites.actions.register import save
from sites.api.base import ReadViewSet, RowSerializer, RowViewSet, rows_of
from sites.models import Role
from sites.queries.falling_counter import falling_counter


class MeterReadingSerializer(RowSerializer):
    passed_its_end = serializers.BooleanField(
        required=False,
        write_only=True,
        help_text="The counter passed its end: without it a reading below the one before is refused.",
    )

    class Meta:
        model = models.MeterReading
        fields = "__all__"
        read_only_fields = ["read_by"]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        passed = attrs.pop("passed_its_end", False)
        attrs = super().validate(attrs)
        row = self.instance or models.MeterReading(**attrs)
        if row.changes("read_on", "counter") and (falling := falling_counter(row)):
            if not passed:
                raise serializers.ValidationError({"passed_its_end": falling.question})
            attrs["note"] = attrs.get("note") or row.note or falling.note
        return attrs


class MeterReadingViewSet(RowViewSet):
    queryset = models.MeterReading.objects.all()
    serializer_class = MeterReadingSerializer
    site_path = "meter__site"

    def perform_create(self, serializer: serializers.BaseSerializer) -> None:
        row = models.MeterReading(**serializer.validated_data, read_by=self.request.user)
        serializer.instance = save(instance=row, by=self.request.user)


class PhotoSerializer(RowSerializer):
    """What is known about a picture; the picture itself comes from the page `sites:photo`."""

    class Meta:
        model = models.Photo
        exclude = ["image"]


class PhotoViewSet(RowViewSet):
    queryset = models.Photo.objects.all()
    serializer_class = PhotoSerializer
    open_to = {"GET": STAFF, "DELETE": OFFICE}
    http_method_names = ["get", "head", "options", "delete"]


class TariffBlockSerializer(serializers.ModelSerializer):
    class Meta:
        model = models.TariffBlock
        fields = ["from_m3", "price_per_m3"]


class TariffSerializer(RowSerializer):
    blocks = TariffBlockSerializer(many=True, read_only=True)

    class Meta:
        model = models.Tariff
        fields = ["id", "name", "fixed_per_month", "blocks"]


class TariffViewSet(RowViewSet):
    queryset = models.Tariff.objects.prefetch_related("blocks")
    serializer_class = TariffSerializer
    open_to = {**RowViewSet.open_to, "GET": OFFICE}
    site_path = "sites"


class UserSerializer(RowSerializer):
    """People are read here and made on the office's page, where a first password is set."""

    class Meta:
        model = models.User
        fields = ["id", "username", "first_name", "last_name", "email", "phone", "role", "client", "is_active"]


class UserViewSet(ReadViewSet):
    queryset = models.User.objects.order_by("pk")
    serializer_class = UserSerializer
    open_to = {"GET": OFFICE}
    site_path = None


class StateChangeSerializer(RowSerializer):
    hidden_from = {Role.CLIENT: ("reason", "recorded_by")}

    class Meta:
        model = models.StateChange
        fields = ["id", "site", "state", "changed_on", "reason", "visit_uuid", "recorded_at", "recorded_by"]


class StateChangeViewSet(ReadViewSet):
    """When sites were turned on and off; the office records it on the site's page, visits record it themselves."""

    queryset = models.StateChange.objects.order_by("-changed_on", "-pk")
    serializer_class = StateChangeSerializer


ENDPOINTS = {
    "state-changes": StateChangeViewSet,
    "clients": rows_of(models.Client, site_path="sites", read_by=(*OFFICE, Role.CLIENT), exclude=["archived_at"]),
    "sites": rows_of(models.Site, site_path=None, exclude=["archived_at"]),
    "supplies": rows_of(models.WaterSupply),
    "pumps": rows_of(models.Pump, site_path="supply__site"),
    "backflow-assemblies": rows_of(models.BackflowAssembly),
    "controllers": rows_of(models.Controller),
    "valves": rows_of(models.Valve, site_path="controller__site"),
    "zones": rows_of(models.Zone),
    "meters": rows_of(models.Meter),
    "meter-readings": MeterReadingViewSet,
    "photos": PhotoViewSet,
    "stations": rows_of(models.WeatherStation, site_path="sites", read_by=STAFF),
    "tariffs": TariffViewSet,
    "users": UserViewSet,
}

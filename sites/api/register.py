"""The register as endpoints, one a table."""

from rest_framework import serializers

from sites import models
from sites.access import OFFICE, STAFF
from sites.actions.register import save
from sites.api.base import ReadViewSet, RowSerializer, RowViewSet
from sites.models import Role
from sites.queries.site_page import local_today


class ClientSerializer(RowSerializer):
    hidden_from = {Role.CLIENT: ("office_notes",)}

    class Meta:
        model = models.Client
        exclude = ["archived_at"]


class ClientViewSet(RowViewSet):
    queryset = models.Client.objects.all()
    serializer_class = ClientSerializer
    open_to = {**RowViewSet.open_to, "GET": (*OFFICE, Role.CLIENT)}
    site_path = "sites"


class SiteSerializer(RowSerializer):
    hidden_from = {Role.TECHNICIAN: ("office_notes",), Role.CLIENT: ("office_notes", "access_notes")}

    class Meta:
        model = models.Site
        exclude = ["archived_at"]


class SiteViewSet(RowViewSet):
    queryset = models.Site.objects.all()
    serializer_class = SiteSerializer
    site_path = None


class WaterSupplySerializer(RowSerializer):
    stays_on = "site"

    class Meta:
        model = models.WaterSupply
        fields = "__all__"


class WaterSupplyViewSet(RowViewSet):
    queryset = models.WaterSupply.objects.all()
    serializer_class = WaterSupplySerializer


class PumpSerializer(RowSerializer):
    stays_on = "supply"

    class Meta:
        model = models.Pump
        fields = "__all__"


class PumpViewSet(RowViewSet):
    queryset = models.Pump.objects.all()
    serializer_class = PumpSerializer
    site_path = "supply__site"


class BackflowAssemblySerializer(RowSerializer):
    stays_on = "site"

    class Meta:
        model = models.BackflowAssembly
        fields = "__all__"


class BackflowAssemblyViewSet(RowViewSet):
    queryset = models.BackflowAssembly.objects.all()
    serializer_class = BackflowAssemblySerializer


class ControllerSerializer(RowSerializer):
    stays_on = "site"

    class Meta:
        model = models.Controller
        fields = "__all__"

    def validate_terminals(self, terminals):
        highest = (
            max((valve.terminal or 0 for valve in self.instance.valves.all()), default=0) if self.instance else 0
        )
        if highest > terminals:
            raise serializers.ValidationError(f"A valve sits on terminal {highest}. Move it first.")
        return terminals


class ControllerViewSet(RowViewSet):
    queryset = models.Controller.objects.all()
    serializer_class = ControllerSerializer


class ValveSerializer(RowSerializer):
    stays_on = "controller"

    class Meta:
        model = models.Valve
        fields = "__all__"

    def validate(self, attrs):
        controller = attrs.get("controller") or self.instance.controller
        if (attrs.get("terminal") or 0) > controller.terminals:
            words = f"{controller} has terminals 1 to {controller.terminals}."
            raise serializers.ValidationError({"terminal": words})
        return super().validate(attrs)


class ValveViewSet(RowViewSet):
    queryset = models.Valve.objects.all()
    serializer_class = ValveSerializer
    site_path = "controller__site"


class ZoneSerializer(RowSerializer):
    stays_on = "site"

    class Meta:
        model = models.Zone
        fields = "__all__"


class ZoneViewSet(RowViewSet):
    queryset = models.Zone.objects.all()
    serializer_class = ZoneSerializer


class MeterSerializer(RowSerializer):
    stays_on = "site"

    class Meta:
        model = models.Meter
        fields = "__all__"


class MeterViewSet(RowViewSet):
    queryset = models.Meter.objects.all()
    serializer_class = MeterSerializer


class MeterReadingSerializer(RowSerializer):
    stays_on = "meter"

    class Meta:
        model = models.MeterReading
        fields = "__all__"
        read_only_fields = ["read_by"]

    def validate(self, attrs):
        meter = attrs.get("meter") or self.instance.meter
        if "read_on" in attrs and attrs["read_on"] > local_today(meter.site):
            raise serializers.ValidationError({"read_on": "This day has not come yet."})
        if attrs.get("counter", 0) >= 10**meter.digits:
            words = f"The counter has {meter.digits} digits before the point."
            raise serializers.ValidationError({"counter": words})
        return super().validate(attrs)


class MeterReadingViewSet(RowViewSet):
    queryset = models.MeterReading.objects.all()
    serializer_class = MeterReadingSerializer
    site_path = "meter__site"

    def perform_create(self, serializer):
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


class WeatherStationSerializer(RowSerializer):
    class Meta:
        model = models.WeatherStation
        fields = "__all__"


class WeatherStationViewSet(RowViewSet):
    queryset = models.WeatherStation.objects.all()
    serializer_class = WeatherStationSerializer
    open_to = {**RowViewSet.open_to, "GET": STAFF}
    site_path = "sites"


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
    "clients": ClientViewSet,
    "sites": SiteViewSet,
    "supplies": WaterSupplyViewSet,
    "pumps": PumpViewSet,
    "backflow-assemblies": BackflowAssemblyViewSet,
    "controllers": ControllerViewSet,
    "valves": ValveViewSet,
    "zones": ZoneViewSet,
    "meters": MeterViewSet,
    "meter-readings": MeterReadingViewSet,
    "photos": PhotoViewSet,
    "stations": WeatherStationViewSet,
    "tariffs": TariffViewSet,
    "users": UserViewSet,
}

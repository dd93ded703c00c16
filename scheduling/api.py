"""Weather and season schedules as endpoints. Schedules are read; they change only by compute and publish."""

from typing import Any, ClassVar

from django.db.models import QuerySet
from django.http import Http404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.exceptions import APIException
from rest_framework.request import Request
from rest_framework.response import Response

from scheduling import models
from scheduling.actions import schedules
from scheduling.actions.errors import ScheduleError
from scheduling.queries.explain import explain
from sites.access import EVERYONE, OFFICE, STAFF, visible_or_404
from sites.api.base import ReadViewSet, RowSerializer, RowViewSet, row_number, rows_of, serializer_of
from sites.models import Role, Site


class Refused(APIException):
    """The schedule stands in the way of what was asked; the detail says how, in words for a person."""

    status_code = status.HTTP_409_CONFLICT
    default_code = "refused"


class DailyWeatherViewSet(ReadViewSet):
    """Days of weather, newest first; `?station=` narrows them."""

    queryset = models.DailyWeather.objects.order_by("-date", "station")
    serializer_class = serializer_of(models.DailyWeather)
    open_to = {"GET": STAFF}
    site_path = None

    def get_queryset(self) -> QuerySet:
        rows = super().get_queryset()
        station = self.request.query_params.get("station") if self.request else None
        return rows.filter(station_id=row_number(station, "station")) if station else rows


class ZoneMonthSerializer(serializers.ModelSerializer):
    class Meta:
        model = models.ZoneMonth
        exclude = ["id", "schedule", "derivation"]


class ProgramStepSerializer(serializers.ModelSerializer):
    class Meta:
        model = models.ProgramStep
        exclude = ["id", "program"]


class ProgramSerializer(serializers.ModelSerializer):
    steps = ProgramStepSerializer(many=True, read_only=True)

    class Meta:
        model = models.Program
        exclude = ["schedule"]


class SeasonScheduleSerializer(RowSerializer):
    # What the office works with: the inputs of every zone, and the doubts about them.
    hidden_from: ClassVar = {
        Role.CLIENT: (
            "basis",
            "warnings",
            "not_computed",
            "edited_at",
            "computed_by",
            "published_by",
            "published_week",
        )
    }
    programs = ProgramSerializer(many=True, read_only=True)
    zone_months = ZoneMonthSerializer(many=True, read_only=True)

    class Meta:
        model = models.SeasonSchedule
        fields = "__all__"


class InputSerializer(serializers.Serializer):
    name = serializers.CharField()
    value = serializers.JSONField(help_text="A number, or words such as a texture.")
    unit = serializers.CharField()
    origin = serializers.CharField(help_text="measured, register, station, forecast, default or computed")
    note = serializers.CharField()


class DerivationSerializer(serializers.Serializer):
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    formula = serializers.CharField()
    inputs = InputSerializer(many=True)
    source = serializers.CharField()


class FigureSerializer(serializers.Serializer):
    key = serializers.CharField()
    title = serializers.CharField()
    derivation = DerivationSerializer()


class ExplainedSerializer(serializers.Serializer):
    """How each figure of a zone's month came about; `week` where the programs follow the last days' weather."""

    month = serializers.IntegerField()
    figures = FigureSerializer(many=True)
    week = FigureSerializer(many=True)
    defaults = serializers.ListField(child=serializers.CharField(), help_text="Inputs nobody measured or entered.")


class ScheduleRequestSerializer(serializers.Serializer):
    site = serializers.IntegerField(help_text="The site to compute a draft for.")
    keep_programs = serializers.BooleanField(
        default=True, help_text="Keep programs that a person shaped, with new minutes; else fit the programs again."
    )


class SeasonScheduleViewSet(ReadViewSet):
    queryset = models.SeasonSchedule.objects.prefetch_related("programs__steps", "zone_months")
    serializer_class = SeasonScheduleSerializer
    open_to = {"GET": EVERYONE, "POST": OFFICE}

    def get_serializer_class(self) -> type[serializers.BaseSerializer]:
        return ScheduleRequestSerializer if self.action == "create" else SeasonScheduleSerializer

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """Compute a new draft for a site from today's weather."""
        wanted = ScheduleRequestSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        site = visible_or_404(Site.objects.current(), request.user, pk=wanted.validated_data["site"])
        try:
            draft = schedules.compute_draft(
                site=site,
                today=timezone.localdate(),
                by=request.user,
                keep_programs=wanted.validated_data["keep_programs"],
            )
        except ScheduleError as error:
            raise Refused(str(error)) from error
        shown = SeasonScheduleSerializer(self.get_queryset().get(pk=draft.pk), context=self.get_serializer_context())
        return Response(shown.data, status=status.HTTP_201_CREATED)

    @action(detail=True, methods=["post"])
    def publish(self, request: Request, pk: str) -> Response:
        """Publish a draft; what was published before is superseded. 409 with the reason where it cannot be."""
        try:
            schedules.publish(schedule=self.get_object(), by=request.user)
        except ScheduleError as error:
            raise Refused(str(error)) from error
        return Response(SeasonScheduleSerializer(self.get_object(), context=self.get_serializer_context()).data)

    @extend_schema(responses=ExplainedSerializer)
    @action(detail=True, url_path=r"zones/(?P<zone>\d+)/months/(?P<month>\d+)")
    def explained(self, request: Request, pk: str, zone: str, month: str) -> Response:
        """Every figure of one zone and month with its inputs, where each came from, formula and source."""
        row = self.get_object()
        found = row.site.zones.filter(pk=zone).first()
        explained = explain(row, found, int(month)) if found and 1 <= int(month) <= 12 else None
        if explained is None:
            raise Http404
        return Response(ExplainedSerializer(explained).data)


class WateringPauseSerializer(RowSerializer):
    stays_on = "site"

    class Meta:
        model = models.WateringPause
        fields = "__all__"


class WateringPauseViewSet(RowViewSet):
    queryset = models.WateringPause.objects.all()
    serializer_class = WateringPauseSerializer


ENDPOINTS = {
    "weather-days": DailyWeatherViewSet,
    "forecast-days": rows_of(
        models.ForecastDay,
        site_path=None,
        read_by=STAFF,
        written=False,
        order=("-date", "station"),
        about="Days as they were entered from a forecast, the last first.",
    ),
    "schedules": SeasonScheduleViewSet,
    "pauses": WateringPauseViewSet,
}

"""Weather and season schedules as endpoints. Schedules are read; they change only by compute and publish."""

from django.utils import timezone
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.response import Response

from scheduling import models
from scheduling.actions import schedules
from sites.access import EVERYONE, OFFICE, STAFF, visible_or_404
from sites.api.base import ReadViewSet, RowSerializer, RowViewSet
from sites.models import Site


class DailyWeatherSerializer(RowSerializer):
    class Meta:
        model = models.DailyWeather
        fields = "__all__"


class DailyWeatherViewSet(ReadViewSet):
    """Days of weather, newest first; `?station=` narrows them."""

    queryset = models.DailyWeather.objects.order_by("-date", "station")
    serializer_class = DailyWeatherSerializer
    open_to = {"GET": STAFF}
    site_path = None

    def get_queryset(self):
        rows = super().get_queryset()
        station = self.request.query_params.get("station") if self.request else None
        if station and not station.isdigit():
            raise serializers.ValidationError({"station": "The station is a whole number."})
        return rows.filter(station_id=int(station)) if station else rows


class ZoneMonthSerializer(serializers.ModelSerializer):
    class Meta:
        model = models.ZoneMonth
        exclude = ["id", "schedule"]


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
    programs = ProgramSerializer(many=True, read_only=True)
    zone_months = ZoneMonthSerializer(many=True, read_only=True)

    class Meta:
        model = models.SeasonSchedule
        fields = "__all__"


class ScheduleRequestSerializer(serializers.Serializer):
    site = serializers.IntegerField(help_text="The site to compute a draft for.")


class SeasonScheduleViewSet(ReadViewSet):
    queryset = models.SeasonSchedule.objects.prefetch_related("programs__steps", "zone_months")
    serializer_class = SeasonScheduleSerializer
    open_to = {"GET": EVERYONE, "POST": OFFICE}

    def get_serializer_class(self):
        return ScheduleRequestSerializer if self.action == "create" else SeasonScheduleSerializer

    def create(self, request, *args, **kwargs):
        """Compute a new draft for a site from today's weather."""
        wanted = ScheduleRequestSerializer(data=request.data)
        wanted.is_valid(raise_exception=True)
        site = visible_or_404(Site.objects.current(), request.user, pk=wanted.validated_data["site"])
        draft = schedules.compute_draft(site=site, today=timezone.localdate(), by=request.user)
        shown = SeasonScheduleSerializer(self.get_queryset().get(pk=draft.pk), context=self.get_serializer_context())
        return Response(shown.data, status=status.HTTP_201_CREATED)

    @action(detail=True, methods=["post"])
    def publish(self, request, pk=None):
        """Publish a draft; what was published before is superseded."""
        schedules.publish(schedule=self.get_object(), by=request.user)
        return Response(SeasonScheduleSerializer(self.get_object(), context=self.get_serializer_context()).data)


class WateringPauseSerializer(RowSerializer):
    class Meta:
        model = models.WateringPause
        fields = "__all__"


class WateringPauseViewSet(RowViewSet):
    queryset = models.WateringPause.objects.all()
    serializer_class = WateringPauseSerializer


ENDPOINTS = {
    "weather-days": DailyWeatherViewSet,
    "schedules": SeasonScheduleViewSet,
    "pauses": WateringPauseViewSet,
}

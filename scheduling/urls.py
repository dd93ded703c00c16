from django.urls import path, register_converter
from django.urls.converters import StringConverter

from scheduling.views import catch_cans, programs, seasons, sequence, stations, watering, week
from sites import converters  # noqa: F401 - registers <iso_date:...>


class ChartSpan(StringConverter):
    regex = "week|day"


class ChartShape(StringConverter):
    regex = "wide|narrow"


register_converter(ChartSpan, "chart_span")
register_converter(ChartShape, "chart_shape")

app_name = "scheduling"
urlpatterns = [
    path("watering/", week.week, name="week"),
    path("sites/<int:pk>/watering/", watering.site_watering, name="site_watering"),
    path("sites/<int:pk>/watering/compute/", watering.schedule_compute, name="schedule_compute"),
    path("sites/<int:pk>/watering/pause/", watering.site_pause, name="site_pause"),
    path("pauses/<int:pk>/end/", watering.pause_end, name="pause_end"),
    path("schedules/<int:pk>/", watering.schedule, name="schedule"),
    path("schedules/<int:pk>/next-visit/", watering.schedule_next_visit, name="schedule_next_visit"),
    path("schedules/<int:pk>/seasonal-percentage/", watering.seasonal_percentage, name="seasonal_percentage"),
    path("schedules/<int:pk>/publish/", watering.schedule_publish, name="schedule_publish"),
    path(
        "schedules/<int:pk>/controllers/<int:controller_pk>/applied/",
        watering.schedule_applied,
        name="schedule_applied",
    ),
    path("schedules/<int:pk>/zones/<int:zone_pk>/months/<int:month>/", watering.figure, name="figure"),
    path("schedules/<int:pk>/sequence/", sequence.sequence, name="sequence"),
    path(
        "schedules/<int:pk>/sequence/<int:controller_pk>/<iso_date:date>/<chart_span:span>-<chart_shape:shape>.svg",
        sequence.sequence_chart,
        name="sequence_chart",
    ),
    path("controllers/<int:pk>/one-off-run/", sequence.one_off_run, name="one_off_run"),
    path(
        "controllers/<int:pk>/one-off-run-<chart_shape:shape>.svg",
        sequence.one_off_run_chart,
        name="one_off_run_chart",
    ),
    path("programs/<int:pk>/edit/", programs.program_edit, name="program_edit"),
    path("programs/<int:pk>/copy/", programs.program_copy, name="program_copy"),
    path("programs/<int:pk>/delete/", programs.program_delete, name="program_delete"),
    path(
        "schedules/<int:pk>/controllers/<int:controller_pk>/programs/new/", programs.program_new, name="program_new"
    ),
    path("sites/<int:pk>/watering/seasons/<int:year>/", seasons.site_season, name="site_season"),
    path("sites/<int:pk>/watering/seasons/<int:year>/what-if/", seasons.site_what_if, name="what_if"),
    path("sites/<int:pk>/watering/backtest/", seasons.backtest, name="backtest"),
    path("zones/<int:pk>/seasons/<int:year>/", seasons.zone_season, name="zone_season"),
    path("zones/<int:pk>/catch-cans/", catch_cans.zone_tests, name="zone_tests"),
    path("zones/<int:pk>/catch-cans/new/", catch_cans.test_new, name="catch_can_test_new"),
    path("catch-cans/<int:pk>/", catch_cans.test, name="catch_can_test"),
    path("catch-cans/<int:pk>/take-over/", catch_cans.test_take_over, name="catch_can_take_over"),
    path("stations/", stations.station_list, name="station_list"),
    path("stations/new/", stations.station_new, name="station_new"),
    path("stations/<int:pk>/", stations.station, name="station"),
    path("stations/<int:pk>/edit/", stations.station_edit, name="station_edit"),
    path("stations/<int:pk>/forecast/", stations.station_forecast, name="station_forecast"),
    path("stations/<int:pk>/import/", stations.station_import, name="station_import"),
    path("weather-imports/<int:pk>/", stations.weather_import, name="weather_import"),
]

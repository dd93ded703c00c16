"""Weather stations: their climate, their last days, and the files their days came from."""

from django.contrib import messages
from django.db.models import Count, Max, Min, OuterRef, Subquery
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from scheduling.actions.forecasts import save_forecast
from scheduling.actions.weather import import_refused_again, import_station_text, save_station
from scheduling.forms.forecasts import forecast_forms
from scheduling.forms.weather import ImportForm, StationForm
from scheduling.models import DailyWeather, WeatherImport
from scheduling.queries.station_page import station_sheet
from sites.access import OFFICE, Request, open_to, visible_or_404
from sites.answers import answer_form, page_of, typed, whole_number
from sites.models import Site, WeatherStation

WHEN_USED = "Tonight’s drafts follow it; compute a site’s draft again to see it now."


def _url(station: WeatherStation) -> str:
    return reverse("scheduling:station", args=[station.pk])


@open_to(*OFFICE)
def station_list(request: Request) -> HttpResponse:
    days = DailyWeather.objects.filter(station=OuterRef("pk")).order_by().values("station")
    sites = Site.objects.current().filter(weather_station=OuterRef("pk")).order_by().values("weather_station")
    rows = WeatherStation.objects.visible_to(request.user).annotate(
        day_count=Subquery(days.annotate(n=Count("pk")).values("n")),
        first_day=Subquery(days.annotate(n=Min("date")).values("n")),
        last_day=Subquery(days.annotate(n=Max("date")).values("n")),
        site_count=Subquery(sites.annotate(n=Count("pk")).values("n")),
    )
    return render(request, "scheduling/station_list.html", {"page": page_of(request, rows)})


@open_to(*OFFICE)
def station(request: Request, pk: int) -> HttpResponse:
    row = visible_or_404(WeatherStation.objects.all(), request.user, pk=pk)
    sheet = station_sheet(row, timezone.localdate())
    return render(request, "scheduling/station.html", {"station": row, "sheet": sheet})


@open_to(*OFFICE)
def station_new(request: Request) -> HttpResponse:
    form = StationForm(**typed(request))
    return answer_form(
        request,
        form,
        title="New weather station",
        back_url=reverse("scheduling:station_list"),
        done_url=_url,
        write=lambda: save_station(station=form.instance, by=request.user),
    )


@open_to(*OFFICE)
def station_edit(request: Request, pk: int) -> HttpResponse:
    row = visible_or_404(WeatherStation.objects.all(), request.user, pk=pk)
    form = StationForm(**typed(request), instance=row)
    return answer_form(
        request,
        form,
        title=f"Edit {row}",
        back_url=_url(row),
        done_url=_url,
        write=lambda: save_station(station=form.instance, by=request.user),
    )


@open_to(*OFFICE)
def station_forecast(request: Request, pk: int) -> HttpResponse:
    """Enter, change or clear the forecast of the coming days."""
    row = visible_or_404(WeatherStation.objects.all(), request.user, pk=pk)
    forms = forecast_forms(row, timezone.localdate(), typed(request)["data"])
    sent = request.method == "POST"
    if sent and all(form.is_valid() for form in forms):
        days = save_forecast(station=row, days=[form.instance for form in forms], by=request.user)
        messages.success(request, f"Forecast for {days} day{'' if days == 1 else 's'} saved. {WHEN_USED}")
        return redirect(_url(row))
    shown = {"station": row, "forms": forms, "first_day": forms[0].instance.date, "wrong": sent}
    return render(request, "scheduling/forecast.html", shown, status=422 if sent else 200)


@open_to(*OFFICE)
def station_import(request: Request, pk: int) -> HttpResponse:
    """Take a station file. A file with problems is kept, so that its good rows can be taken without it."""
    row = visible_or_404(WeatherStation.objects.all(), request.user, pk=pk)
    refused = _refused(request, row)
    form = ImportForm(**typed(request), refused=refused)
    done = refused
    if form.is_bound and form.is_valid():
        done = _import(request, row, form, refused)
        if not done.refused:
            messages.success(request, f"{done.rows_stored} days stored.")
            return redirect("scheduling:weather_import", done.pk)
        form = ImportForm(refused=done, initial=form.cleaned_data)
    shown = {"station": row, "form": form, "report": done, "back_url": _url(row)}
    return render(request, "scheduling/station_import.html", shown, status=422 if request.method == "POST" else 200)


def _refused(request: Request, station: WeatherStation) -> WeatherImport | None:
    kept = request.POST.get("kept", "") or request.GET.get("kept", "")
    pk = whole_number(kept)
    if pk is None:
        return None
    return WeatherImport.objects.filter(pk=pk, station=station).exclude(refused_text="").first()


def _import(
    request: Request, station: WeatherStation, form: ImportForm, refused: WeatherImport | None
) -> WeatherImport:
    words = form.cleaned_data
    if words["file"] is None and refused is not None:
        return import_refused_again(
            refused=refused,
            file_format=words["file_format"],
            keep_good_rows=words["keep_good_rows"],
            by=request.user,
        )
    return import_station_text(
        station=station,
        text=form.text,
        file_name=words["file"].name,
        file_format=words["file_format"],
        keep_good_rows=words["keep_good_rows"],
        by=request.user,
    )


@open_to(*OFFICE)
def weather_import(request: Request, pk: int) -> HttpResponse:
    rows = WeatherImport.objects.defer("refused_text").select_related("station", "by")
    row = visible_or_404(rows, request.user, pk=pk)
    kept = row.refused and WeatherImport.objects.filter(pk=pk).exclude(refused_text="").exists()
    return render(request, "scheduling/weather_import.html", {"station": row.station, "report": row, "kept": kept})

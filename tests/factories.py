"""Boring rows for tests. Spell out only the odd fact; everything else is ordinary."""

import datetime as dt
from decimal import Decimal

import factory
from factory.django import DjangoModelFactory

from jobs import models as jobs
from scheduling import models as scheduling
from sites import models as sites

PASSWORD = "long enough to pass"


class FirmFactory(DjangoModelFactory):
    class Meta:
        model = sites.Firm

    name = "Test Irrigation Service"
    time_zone = "America/Los_Angeles"
    yard_latitude = 47.60
    yard_longitude = -122.33


class ClientFactory(DjangoModelFactory):
    class Meta:
        model = sites.Client

    name = factory.Sequence(lambda n: f"Client {n}")
    email = factory.Sequence(lambda n: f"client{n}@example.com")


class UserFactory(DjangoModelFactory):
    class Meta:
        model = sites.User
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"user{n}")
    role = "office"
    password = factory.django.Password(PASSWORD)


class TechnicianFactory(UserFactory):
    role = "technician"
    profile = factory.RelatedFactory("tests.factories.TechnicianProfileFactory", factory_related_name="user")


class TechnicianProfileFactory(DjangoModelFactory):
    class Meta:
        model = jobs.TechnicianProfile

    user = factory.SubFactory(TechnicianFactory, profile=None)


class WeatherStationFactory(DjangoModelFactory):
    class Meta:
        model = sites.WeatherStation
        django_get_or_create = ("code",)

    code = "TEST1"
    name = "Test station"
    latitude = 47.45
    longitude = -122.31
    elevation_m = 130.0


class SiteFactory(DjangoModelFactory):
    class Meta:
        model = sites.Site

    client = factory.SubFactory(ClientFactory)
    name = factory.Sequence(lambda n: f"Site {n}")
    address = "1 Test Lane"
    town = "Testham"
    latitude = 47.62
    longitude = -122.30
    elevation_m = 50.0
    time_zone = "America/Los_Angeles"
    weather_station = factory.SubFactory(WeatherStationFactory)


class WaterSupplyFactory(DjangoModelFactory):
    class Meta:
        model = sites.WaterSupply

    site = factory.SubFactory(SiteFactory)
    kind = "mains"
    static_pressure_kpa = 420.0
    flow_available_l_min = 60.0


class PumpFactory(DjangoModelFactory):
    class Meta:
        model = sites.Pump

    supply = factory.SubFactory(WaterSupplyFactory, kind="pump")


class ControllerFactory(DjangoModelFactory):
    class Meta:
        model = sites.Controller

    site = factory.SubFactory(SiteFactory)
    supply = factory.SubFactory(WaterSupplyFactory, site=factory.SelfAttribute("..site"))
    terminals = 8
    transformer_va = 40.0


class ValveFactory(DjangoModelFactory):
    class Meta:
        model = sites.Valve

    controller = factory.SubFactory(ControllerFactory)
    terminal = factory.Sequence(lambda n: n % 8 + 1)
    name = factory.LazyAttribute(lambda valve: f"Valve {valve.terminal}")
    coil_resistance_ohm = 32.0
    wire_length_m = 60.0
    wire_section_mm2 = 0.823


class ZoneFactory(DjangoModelFactory):
    class Meta:
        model = sites.Zone

    site = factory.SubFactory(SiteFactory)
    number = factory.Sequence(lambda n: n + 1)
    name = factory.LazyAttribute(lambda zone: f"Zone {zone.number}")
    area_m2 = 100.0
    planting = "cool_turf"
    soil = "loam"
    emitter = "rotor"
    application_rate_mm_h = 12.0
    distribution_uniformity = 0.65
    flow_l_min = 20.0


class BackflowAssemblyFactory(DjangoModelFactory):
    class Meta:
        model = sites.BackflowAssembly

    site = factory.SubFactory(SiteFactory)
    kind = "reduced_pressure"
    test_due_on = dt.date(2030, 4, 1)


class MeterFactory(DjangoModelFactory):
    class Meta:
        model = sites.Meter

    site = factory.SubFactory(SiteFactory)
    serial_number = factory.Sequence(lambda n: f"M{n:05d}")


class MeterReadingFactory(DjangoModelFactory):
    class Meta:
        model = sites.MeterReading

    meter = factory.SubFactory(MeterFactory)
    read_on = dt.date(2026, 5, 1)
    counter = 100


class StateChangeFactory(DjangoModelFactory):
    class Meta:
        model = sites.StateChange

    site = factory.SubFactory(SiteFactory)
    state = "on"
    changed_on = dt.date(2026, 4, 10)
    reason = "startup visit"


class DailyWeatherFactory(DjangoModelFactory):
    class Meta:
        model = scheduling.DailyWeather

    station = factory.SubFactory(WeatherStationFactory)
    date = factory.Sequence(lambda n: dt.date(2025, 1, 1) + dt.timedelta(days=n))
    precipitation_mm = 1.0
    temp_max_c = 20.0
    temp_min_c = 10.0
    wind_m_s = 2.0


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Visit

    site = factory.SubFactory(SiteFactory)
    kind = "startup"
    season_year = 2026
    opens_on = dt.date(2026, 3, 15)
    due_on = dt.date(2026, 5, 15)
    service_min = 45


class SeasonWindowFactory(DjangoModelFactory):
    class Meta:
        model = jobs.SeasonWindow

    season_year = 2026
    kind = "startup"
    opens_on = dt.date(2026, 3, 15)
    due_on = dt.date(2026, 5, 15)


class FaultFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Fault

    site = factory.SubFactory(SiteFactory)
    kind = "pipe_leak"
    severity = "water_loss"
    found_at = dt.datetime(2026, 6, 1, 17, 0, tzinfo=dt.UTC)


class PriceItemFactory(DjangoModelFactory):
    class Meta:
        model = jobs.PriceItem

    name = factory.Sequence(lambda n: f"Item {n}")
    price = Decimal("12.50")


class ProposalFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Proposal

    site = factory.SubFactory(SiteFactory)
    number = factory.Sequence(lambda n: n + 1)
    valid_until = dt.date(2030, 1, 1)
    currency = "USD"


def make_small_site(client_name: str = "Hazel Court") -> sites.Site:
    """A site with mains supply, one 8-terminal controller, two valves and the two zones they feed."""
    site = SiteFactory(client=ClientFactory(name=client_name), name=client_name)
    supply = WaterSupplyFactory(site=site)
    controller = ControllerFactory(site=site, supply=supply)
    for terminal in (1, 2):
        valve = ValveFactory(controller=controller, terminal=terminal)
        ZoneFactory(site=site, valve=valve, number=terminal)
    return site

"""Where the demo's sites lie: patches of land around the weather station, with invented towns and streets.

Each patch is a rectangle that keeps clear of the sound and the lakes; together they span about 44 x 30 km.
"""

import random
from dataclasses import dataclass

from config.demo.names import STREETS

TIME_ZONE = "America/Los_Angeles"
YARD = (47.5480, -122.3180)


@dataclass(frozen=True)
class Patch:
    """A built-up rectangle in degrees; `elevation_m` is its middle height."""

    town: str
    postcode: str
    south: float
    north: float
    west: float
    east: float
    elevation_m: int


PATCHES = (
    Patch("Ellowick", "00110", 47.700, 47.730, -122.360, -122.310, 105),
    Patch("Fennamere", "00120", 47.745, 47.770, -122.360, -122.310, 130),
    Patch("Larkenfold", "00210", 47.600, 47.630, -122.160, -122.120, 95),
    Patch("Heronthwick", "00220", 47.670, 47.700, -122.140, -122.100, 45),
    Patch("Wrennibrook", "00230", 47.695, 47.715, -122.190, -122.160, 70),
    Patch("Copperfenn", "00310", 47.500, 47.530, -122.180, -122.140, 120),
    Patch("Brindlewhit", "00320", 47.370, 47.410, -122.210, -122.170, 125),
    Patch("Saltimarsh", "00410", 47.455, 47.485, -122.350, -122.325, 110),
    Patch("Mossiter", "00420", 47.535, 47.570, -122.390, -122.365, 90),
    Patch("Quillamoor", "00430", 47.545, 47.575, -122.315, -122.295, 85),
    Patch("Tamarwen", "00510", 47.600, 47.625, -122.045, -122.010, 140),
)


@dataclass(frozen=True)
class Place:
    address: str
    town: str
    postcode: str
    latitude: float
    longitude: float
    elevation_m: float


def place_of(index: int, rng: random.Random) -> Place:
    """An address in one of the patches; neighbours in number lie in different towns."""
    patch = PATCHES[(index * 4) % len(PATCHES)]
    return Place(
        address=f"{rng.randrange(1, 240)} {rng.choice(STREETS)}",
        town=patch.town,
        postcode=patch.postcode,
        latitude=round(rng.uniform(patch.south, patch.north), 5),
        longitude=round(rng.uniform(patch.west, patch.east), 5),
        elevation_m=float(max(5, round(rng.gauss(patch.elevation_m, 12)))),
    )

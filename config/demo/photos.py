"""A few plain pictures, drawn here: nobody's garden and nobody's device."""

import datetime as dt
import io

from PIL import Image, ImageDraw

from config.demo.dice import dice
from jobs.models import Fault
from sites.actions.photos import store_photo
from sites.models import Site, User

SIZE = (960, 720)
MOST_SITE_PHOTOS, MOST_FAULT_PHOTOS = 4, 6
GRASS, EARTH, SKY, WALL = (126, 158, 92), (134, 106, 78), (206, 222, 232), (196, 188, 176)
BOX, DARK, WATER = (96, 106, 112), (58, 62, 66), (96, 140, 176)


def make_photos(*, seed: int, by: User, today: dt.date) -> None:
    """One picture at each of the first sites, and one at some of the faults seen with the eye."""
    morning = dt.datetime.combine(today - dt.timedelta(days=400), dt.time(17), tzinfo=dt.UTC)
    for n, site in enumerate(Site.objects.order_by("pk")[:MOST_SITE_PHOTOS]):
        store_photo(
            site=site,
            upload=_jpeg(_cabinet(seed, n)),
            caption="Controller cabinet (drawn picture)",
            taken_at=morning + dt.timedelta(days=n),
            by=by,
        )
    seen = Fault.objects.filter(kind__in=(Fault.Kind.HEAD_BROKEN, Fault.Kind.PIPE_LEAK)).order_by("-found_at", "pk")
    for n, fault in enumerate(seen.select_related("site", "found_by")[:MOST_FAULT_PHOTOS]):
        photo = store_photo(
            site=fault.site,
            upload=_jpeg(_wet_lawn(seed, n)),
            caption=f"{fault.get_kind_display()} (drawn picture)"[:200],
            taken_at=fault.found_at,
            by=fault.found_by,
        )
        fault.photos.add(photo)


def _jpeg(picture: Image.Image) -> io.BytesIO:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=80)
    out.seek(0)
    return out


def _cabinet(seed: int, n: int) -> Image.Image:
    rng = dice(seed, "cabinet", n)
    picture = Image.new("RGB", SIZE, WALL)
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 560, 960, 720), fill=EARTH)
    left = 250 + rng.randint(-60, 60)
    pen.rounded_rectangle((left, 110, left + 430, 520), 18, fill=BOX, outline=DARK, width=6)
    for row in range(rng.randint(1, 3)):
        for terminal in range(8):
            x, y = left + 40 + terminal * 46, 380 + row * 42
            pen.rectangle((x, y, x + 26, y + 26), fill=WALL, outline=DARK, width=2)
            pen.line((x + 13, y + 26, x + 13, 560), fill=rng.choice(((176, 72, 60), DARK, (214, 170, 70))), width=5)
    pen.rectangle((left + 50, 160, left + 230, 250), fill=(184, 204, 172), outline=DARK, width=4)
    return picture


def _wet_lawn(seed: int, n: int) -> Image.Image:
    rng = dice(seed, "wet lawn", n)
    picture = Image.new("RGB", SIZE, SKY)
    pen = ImageDraw.Draw(picture)
    pen.rectangle((0, 210, 960, 720), fill=GRASS)
    for _ in range(900):
        x, y = rng.randrange(960), rng.randrange(214, 720)
        shade = rng.randint(-22, 18)
        pen.line((x, y, x + rng.randint(-3, 3), y - 12), fill=tuple(c + shade for c in GRASS), width=2)
    x, y = rng.randrange(260, 700), rng.randrange(380, 580)
    pen.ellipse((x - 190, y - 50, x + 190, y + 70), fill=WATER)
    pen.rectangle((x - 12, y - 60, x + 12, y + 10), fill=DARK)
    for _ in range(40):
        pen.line((x, y - 60, x + rng.randint(-120, 120), y - rng.randint(90, 260)), fill=(214, 230, 240), width=2)
    return picture

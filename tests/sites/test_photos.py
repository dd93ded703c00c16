"""Pictures are taken in only as what they say they are, and go out only to those who may see the site."""

import datetime as dt
import io
import struct
import zipfile
import zlib

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from sites.actions.photos import LARGEST_BYTES, store_photo
from sites.models import Photo
from tests import factories, streams

TAKEN = dt.datetime(2026, 5, 1, 9, tzinfo=dt.UTC)


def picture(kind="JPEG", size=(64, 48), **options) -> bytes:
    written = io.BytesIO()
    Image.effect_mandelbrot(size, (-2, -1, 1, 1), 20).convert("RGB").save(written, kind, **options)
    return written.getvalue()


def located() -> bytes:
    """A 64 x 48 picture lying on its side (orientation 6), with a place in its EXIF."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "SecretMaker"
    exif.get_ifd(0x8825)[1] = "N"
    return picture(exif=exif)


def flood() -> bytes:
    """A PNG of 20,000 x 20,000 pixels in a few bytes."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    head = struct.pack(">IIBBBBB", 20_000, 20_000, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


def zipped() -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w") as file:
        file.writestr("hidden.txt", "hidden")
    return written.getvalue()


def keep(site, data, name="photo.jpg", by=None) -> Photo:
    return store_photo(site=site, upload=SimpleUploadedFile(name, data), caption="x", taken_at=TAKEN, by=by)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_the_three_kinds_are_kept_as_jpeg_under_a_name_of_our_own(site, office, kind):
    photo = keep(site, picture(kind), name="../../evil\u202egpj.exe", by=office)
    with photo.image.open("rb") as file, Image.open(file) as image:
        assert (image.format, image.size) == ("JPEG", (64, 48))
    assert photo.image.name.startswith("photos/")
    assert "evil" not in photo.image.name
    assert (photo.width_px, photo.height_px) == (64, 48)


def test_a_picture_lying_on_its_side_is_turned_and_its_place_is_gone(site):
    data = located()
    assert b"SecretMaker" in data
    photo = keep(site, data)
    assert (photo.width_px, photo.height_px) == (48, 64)
    with photo.image.open("rb") as file:
        stored = file.read()
    assert b"Exif" not in stored
    assert b"SecretMaker" not in stored
    assert not Image.open(io.BytesIO(stored)).getexif()


def test_a_large_picture_is_made_smaller(site):
    photo = keep(site, picture(size=(4000, 1000)))
    assert (photo.width_px, photo.height_px) == (1600, 400)


def test_a_see_through_picture_is_laid_on_white(site):
    written = io.BytesIO()
    Image.new("RGBA", (10, 10), (0, 0, 0, 0)).save(written, "PNG")
    with keep(site, written.getvalue()).image.open("rb") as file:
        assert Image.open(file).getpixel((5, 5)) == (255, 255, 255)


ATTACKS = {
    "nothing in it": (b"", "empty"),
    "SVG": (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "SVG"),
    "SVG with a declaration": (b"\xef\xbb\xbf <?xml version='1.0'?><svg/>", "SVG"),
    "HTML": (b"<!doctype html><script>alert(1)</script>", "not a JPEG, PNG or WebP"),
    "HEIC": (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "HEIC"),
    "GIF": (b"GIF89a" + b"\x00" * 40, "GIF"),
    "PDF": (b"%PDF-1.7\n", "PDF"),
    "text": (b"just words", "not a JPEG, PNG or WebP"),
    "cut off JPEG": (picture(size=(400, 300))[:3000], "cannot be read"),
    "cut off PNG": (picture("PNG")[:-40], "cannot be read"),
    "cut off WebP": (picture("WEBP")[:-60], "cannot be read"),
    "start of a JPEG only": (b"\xff\xd8\xff\xe0", "cannot be read"),
    "JPEG and ZIP": (picture() + zipped(), "something else"),
    "JPEG and script": (picture() + b"<script>alert(1)</script>", "something else"),
    "script in a comment": (picture(comment=b"<?php system('id') ?>"), "something else"),
    "JPEG and PDF": (b"\xff\xd8\xff\xfe\x00\x0b%PDF-1.7\n" + picture()[2:], "something else"),
    "pixel flood": (flood(), "megapixels"),
    "too many bytes": (picture() + b"\x00" * LARGEST_BYTES, "larger than 12 MB"),
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_what_is_no_honest_picture_is_refused_in_words(site, attack, settings):
    data, words = ATTACKS[attack]
    with pytest.raises(ValidationError) as refusal:
        keep(site, data)
    assert words in refusal.value.messages[0]
    assert not Photo.objects.exists()
    assert not list(settings.MEDIA_ROOT.rglob("*.jpg")) if settings.MEDIA_ROOT.exists() else True


@pytest.mark.parametrize("attack", ["nothing in it", "SVG", "cut off JPEG", "pixel flood"])
def test_the_upload_page_tells_the_refusal_beside_the_field_and_keeps_the_caption(client, office, site, attack):
    client.force_login(office)
    upload = SimpleUploadedFile("photo.jpg", ATTACKS[attack][0], content_type="image/jpeg")
    response = client.post(
        reverse("sites:photo_new", args=[site.pk]), {"upload": upload, "caption": "Controller door"}
    )
    assert response.status_code == 422
    assert ATTACKS[attack][1] in response.context["form"].errors["upload"][0]
    assert 'value="Controller door"' in response.content.decode()


def test_a_photo_is_uploaded_shown_in_a_sandbox_and_deleted_with_its_file(
    client, office, site, django_capture_on_commit_callbacks
):
    client.force_login(office)
    upload = SimpleUploadedFile("photo.jpg", picture(), content_type="image/jpeg")
    client.post(reverse("sites:photo_new", args=[site.pk]), {"upload": upload, "caption": "Controller door"})
    photo = Photo.objects.get()
    assert (photo.uploaded_by, photo.caption) == (office, "Controller door")
    response = client.get(reverse("sites:photo", args=[photo.pk]))
    assert response.headers["Content-Type"] == "image/jpeg"
    assert response.headers["X-Content-Type-Options"] == "nosniff"
    assert "sandbox" in response.headers["Content-Security-Policy"]
    assert "private" in response.headers["Cache-Control"]
    assert b"".join(response.streaming_content)[:2] == b"\xff\xd8"
    streams.close(response)
    with django_capture_on_commit_callbacks(execute=True):
        client.post(reverse("sites:photo_delete", args=[photo.pk]))
    assert not photo.image.storage.exists(photo.image.name)
    assert client.get(reverse("sites:photo", args=[photo.pk])).status_code == 404


def test_a_photo_whose_file_is_lost_is_not_found(client, office, site):
    photo = keep(site, picture())
    photo.image.storage.delete(photo.image.name)
    client.force_login(office)
    assert client.get(reverse("sites:photo", args=[photo.pk])).status_code == 404


def test_a_photo_is_shown_to_the_assigned_technician_and_to_no_client(
    client, site, client_user, stranger, technician
):
    photo = keep(site, picture())
    address = reverse("sites:photo", args=[photo.pk])

    def answer_to(user) -> int:
        client.force_login(user)
        response = client.get(address)
        streams.close(response)
        return response.status_code

    assert [answer_to(user) for user in (client_user, stranger, technician)] == [404, 404, 404]
    factories.VisitFactory(site=site, technician=technician)
    assert answer_to(technician) == 200


def test_who_may_see_a_site_but_belongs_to_a_client_uploads_nothing(client, site, client_user):
    client.force_login(client_user)
    upload = SimpleUploadedFile("photo.jpg", picture(), content_type="image/jpeg")
    assert client.post(reverse("sites:photo_new", args=[site.pk]), {"upload": upload}).status_code == 403


def test_a_photo_of_a_fault_stays(client, office, site):
    photo = keep(site, picture())
    factories.FaultFactory(site=site).photos.add(photo)
    client.force_login(office)
    assert client.post(reverse("sites:photo_delete", args=[photo.pk])).status_code == 409
    assert Photo.objects.filter(pk=photo.pk).exists()

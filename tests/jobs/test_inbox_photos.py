import datetime as dt
import io
import uuid
import zipfile

import pytest
from PIL import Image

from jobs.models import Fault, PhotoPiece, PhotoUpload
from sites.models import Photo
from tests import factories
from tests.jobs.field_phone import Phone, jpeg


@pytest.fixture
def phone(client, technician, site):
    client.force_login(technician)
    today = dt.date(2026, 4, 20)
    visit = factories.VisitFactory(site=site, technician=technician, planned_on=today, state="planned")
    phone = Phone(client, visit)
    phone.put("visit_started")
    return phone


def leak(phone) -> dict:
    return phone.record("fault", kind="pipe_leak", severity="water_loss")


@pytest.fixture
def fault(phone):
    record = leak(phone)
    phone.send(record)
    return record["id"]


def noisy(**saved) -> bytes:
    file = io.BytesIO()
    Image.effect_noise((400, 300), 60).convert("RGB").save(file, "JPEG", quality=90, **saved)
    return file.getvalue()


def test_a_picture_sent_whole_hangs_on_its_fault_once(phone, fault):
    key, data = uuid.uuid4(), jpeg()
    assert [phone.photo(fault, data, uuid_=key).status_code for _ in range(3)] == [201, 200, 200]
    assert Fault.objects.get().photos.count() == 1
    assert (Photo.objects.count(), PhotoPiece.objects.count()) == (1, 0)


def test_a_picture_goes_on_where_it_was_cut_off(phone, fault):
    key, data = uuid.uuid4(), noisy()
    first = phone.photo(fault, data, uuid_=key, end=5000)
    again = phone.photo(fault, data, uuid_=key, end=5000)
    overlapping = phone.photo(fault, data, uuid_=key, start=4000, end=9000)
    gap = phone.photo(fault, data, uuid_=key, start=20000)
    rest = phone.photo(fault, data, uuid_=key, start=9000)

    assert [(a.status_code, a.json().get("next")) for a in (first, again, overlapping, gap)] == [
        (202, 5000), (202, 5000), (202, 9000), (202, 9000),
    ]  # fmt: skip
    assert rest.status_code == 201
    with Fault.objects.get().photos.get().image.open() as file, Image.open(file) as picture:
        assert picture.size == (400, 300)


def test_the_phone_may_ask_where_to_go_on(phone, fault):
    key, data = uuid.uuid4(), noisy()
    phone.photo(fault, data, uuid_=key, end=7000)
    asked = phone.client.put(
        f"/field/photos/{key}", b"", content_type="image/jpeg",
        headers={"Content-Range": f"bytes */{len(data)}", "X-Record": fault},
    )  # fmt: skip
    assert (asked.status_code, asked.json()["next"]) == (202, 7000)


def test_a_picture_before_its_fault_waits_for_it(phone):
    record = leak(phone)
    assert phone.photo(record["id"], jpeg()).status_code == 201
    assert PhotoUpload.objects.get().state == "waiting"
    phone.send(record)

    assert Fault.objects.get().photos.count() == 1
    assert (PhotoUpload.objects.get().state, PhotoPiece.objects.count()) == ("stored", 0)


def test_an_id_stands_for_one_picture_of_one_person(phone, fault, other_technician):
    key = uuid.uuid4()
    phone.photo(fault, jpeg(), uuid_=key)
    assert phone.photo(fault, jpeg((80, 80)), uuid_=key).status_code == 409
    phone.client.force_login(other_technician)
    assert phone.photo(fault, jpeg(), uuid_=key).status_code == 409
    # And nobody hangs pictures on another person's fault.
    assert phone.photo(fault, jpeg()).status_code == 201
    assert Fault.objects.get().photos.count() == 1


def zip_bomb() -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("zeros", b"\x00" * 50_000_000)
    return file.getvalue()


def flood() -> bytes:
    file = io.BytesIO()
    Image.new("L", (8000, 6500)).save(file, "PNG")
    return file.getvalue()


ATTACKS = {
    "not a picture": (b"hello, this is no picture at all", "not a JPEG, PNG or WebP"),
    "SVG with script": (b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>", "SVG"),
    "HEIC": (b"\x00\x00\x00\x18ftypheic" + b"\x00" * 40, "HEIC"),
    "picture and archive in one": (jpeg() + zip_bomb(), "something else in one"),
    "zip bomb": (zip_bomb(), "not a JPEG, PNG or WebP"),
    "page hidden in a picture": (jpeg(comment=b"<script>alert(1)</script>"), "something else in one"),
    "52 megapixels": (flood(), "50 megapixels"),
    "cut short": (noisy()[:4000], "cannot be read"),
    "document": (b"%PDF-1.7 Hazel", "PDF"),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_what_is_no_honest_picture_is_refused_with_words_and_not_kept(phone, fault, name):
    data, words = ATTACKS[name]
    key = uuid.uuid4()
    answers = [phone.photo(fault, data, uuid_=key) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [400, 400]
    assert words in answers[0].json()["reason"]
    assert (Photo.objects.count(), PhotoPiece.objects.count()) == (0, 0)
    # The fault itself stands, and another picture of it is welcome.
    assert phone.photo(fault, jpeg()).status_code == 201


@pytest.mark.parametrize(
    ("span", "data", "status"),
    [
        ("bytes */0", b"", 400),
        ("bytes 0-99/100", b"short", 400),
        ("bytes 50-10/100", b"x" * 40, 400),
        ("bytes 0-9/5", b"x" * 10, 400),
        ("bytes 0-9/999999999", b"x" * 10, 400),
        ("", b"x", 400),
        ("bytes x-y/z", b"x", 400),
        ("bytes 0-1048576/2000000", b"x" * 1048577, 413),
    ],
)
def test_a_span_that_does_not_agree_with_the_bytes_is_refused(phone, fault, span, data, status):
    answer = phone.client.put(
        f"/field/photos/{uuid.uuid4()}", data, content_type="image/jpeg",
        headers={"Content-Range": span, "X-Record": fault},
    )  # fmt: skip
    assert answer.status_code == status
    assert PhotoPiece.objects.count() == 0


def test_place_and_camera_data_leave_the_picture_and_it_is_served_as_a_picture_only(phone, fault, client, technician):
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8825)[2] = (47.0, 36.0, 12.0)
    phone.photo(fault, noisy(exif=exif))
    photo = Photo.objects.get()
    answer = client.get(f"/field/thumbnails/{photo.pk}.jpg")

    with photo.image.open() as file, Image.open(file) as picture:
        assert picture.size == (300, 400)
        assert dict(picture.getexif()) == {}
    assert answer["Content-Type"] == "image/jpeg"
    assert "sandbox" in answer["Content-Security-Policy"]


def test_unfinished_pictures_of_one_person_have_an_end(phone, fault, technician):
    now = dt.datetime.now(dt.UTC)
    PhotoUpload.objects.bulk_create(
        PhotoUpload(uuid=uuid.uuid4(), record_uuid=uuid.uuid4(), sender=technician, total_bytes=9, taken_at=now)
        for _ in range(200)
    )
    assert phone.photo(fault, jpeg()).status_code == 400

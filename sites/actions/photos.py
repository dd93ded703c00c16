"""Photos are decoded and written again, so that nothing hides in a stored file and no place leaks from it."""

import datetime as dt
import io
import uuid
import zipfile
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.db import transaction
from PIL import Image, ImageOps

from sites.actions.audit import record
from sites.models import Photo, Site, User

LARGEST_BYTES = 12 * 2**20
LARGEST_PIXELS = 50_000_000
LONGEST_SIDE_PX = 1600
JPEG_QUALITY = 85
ACCEPTED_TYPES = ("image/jpeg", "image/png", "image/webp")

UNREADABLE = "This file cannot be read as a picture. It may be damaged or cut off: take or send it again."
FOREIGN_STARTS = (
    (b"<svg", "SVG drawings are not accepted. Send a JPEG, PNG or WebP picture."),
    (b"<?xml", "SVG drawings are not accepted. Send a JPEG, PNG or WebP picture."),
    (b"%PDF", "This is a PDF. Send a JPEG, PNG or WebP picture."),
    (b"GIF8", "GIF is not accepted. Send a JPEG, PNG or WebP picture."),
)
# Text that has no business in a picture; long enough never to stand in compressed data by chance.
SMUGGLED = (b"<script", b"<?php", b"<html", b"<!doctype", b"javascript:")


@transaction.atomic
def store_photo(*, site: Site, upload: Any, caption: str, taken_at: dt.datetime, by: User | None) -> Photo:
    """Keep an uploaded picture: upright, at most 1600 px, JPEG, without metadata.

    `upload` is an uploaded file or anything with `read()`. Raises ValidationError with words for the person where
    the file is not an honest JPEG, PNG or WebP within 12 MB and 50 megapixels.
    """
    picture = Photo(site=site, caption=caption, taken_at=taken_at, uploaded_by=by)
    picture.image.save(f"{uuid.uuid4().hex}.jpg", ContentFile(clean_jpeg(checked_picture(upload))), save=False)
    picture.full_clean(exclude=["uploaded_by"])  # a picture that came in by itself has no uploader
    picture.save()
    record(by=by, verb="stored", subject=picture, site_id=site.pk)
    return picture


def checked_picture(upload: Any) -> bytes:
    """The bytes of the upload after all checks that need no decoding. Leaves the upload at its start."""
    upload.seek(0)
    data = upload.read(LARGEST_BYTES + 1)
    upload.seek(0)
    if not data:
        raise ValidationError("The file is empty. Take or choose the photo again.")
    if len(data) > LARGEST_BYTES:
        raise ValidationError(f"The file is larger than {LARGEST_BYTES // 2**20} MB. Send a smaller picture.")
    picture_format(data)
    lowered = data.lower()
    if zipfile.is_zipfile(io.BytesIO(data)) or b"%pdf-" in lowered[:1024] or any(t in lowered for t in SMUGGLED):
        raise ValidationError("This file is a picture and something else in one. Send the plain picture.")
    return data


def picture_format(data: bytes) -> str:
    """JPEG, PNG or WEBP by the first bytes; anything else is refused by name where it has one."""
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    if data[4:8] == b"ftyp":
        raise ValidationError(
            "This phone format (HEIC or similar) is not accepted. Set the camera to JPEG, or send a JPEG copy."
        )
    start = data[:512].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for foreign, words in FOREIGN_STARTS:
        if start.startswith(foreign.lower()):
            raise ValidationError(words)
    raise ValidationError("This is not a JPEG, PNG or WebP picture.")


def clean_jpeg(data: bytes) -> bytes:
    """Decode and write again. The size is judged from the header, before any pixel is decoded."""
    try:
        with Image.open(io.BytesIO(data), formats=[picture_format(data)]) as image:
            _refuse_pixel_flood(image.width * image.height)
            image.draft("RGB", (2 * LONGEST_SIDE_PX, 2 * LONGEST_SIDE_PX))  # a large JPEG decodes small at once
            upright = ImageOps.exif_transpose(image)
            upright.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
            return _jpeg_without_metadata(upright)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        _refuse_pixel_flood(LARGEST_PIXELS + 1)
        raise
    except ValidationError:
        raise
    except Exception as error:  # the decoders raise many classes on damaged files: OSError, SyntaxError, struct.error
        raise ValidationError(UNREADABLE) from error


def _refuse_pixel_flood(pixels: int) -> None:
    if pixels > LARGEST_PIXELS:
        raise ValidationError(f"The picture has more than {LARGEST_PIXELS // 10**6} megapixels. Send a smaller one.")


def _jpeg_without_metadata(image: Image.Image) -> bytes:
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        layered = image.convert("RGBA")
        plain = Image.new("RGB", layered.size, "white")
        plain.paste(layered, mask=layered.getchannel("A"))
    else:
        plain = image.convert("RGB")
    # A fresh image: `info` (EXIF with the place, colour profile, comments) stays behind.
    bare = Image.new("RGB", plain.size)
    bare.paste(plain)
    written = io.BytesIO()
    bare.save(written, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return written.getvalue()

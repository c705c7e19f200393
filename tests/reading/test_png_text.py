"""Times in a PNG's own texts, written by Pillow; forms of a date by RFC 5322 (3.3) and ISO 8601."""

import io
from datetime import UTC, datetime, timedelta, timezone

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from archive.reading import facts_in_file
from reading.drawn import noise, png_chunk

TIME = datetime(2026, 6, 3, 9, 15)  # noqa: DTZ001  (a camera's clock names no zone)


def _facts(*, name="sun.png", saved=None, **texts):
    info = PngInfo()
    for kind, (key, value) in texts.items():
        if kind == "international":
            info.add_itxt(key, value, zip=True)
        else:
            info.add_text(key, value, zip=kind == "packed")
    if saved is not None:
        info.add(b"tIME", saved)
    stream = io.BytesIO()
    Image.fromarray(noise("u1")).save(stream, "png", pnginfo=info)
    return facts_in_file(stream.getvalue(), "png", name)


@pytest.mark.parametrize("kind", ["plain", "packed", "international"])
@pytest.mark.parametrize(
    ("written", "zone"),
    [
        ("Wed, 03 Jun 2026 09:15:00 +0200", timezone(timedelta(hours=2))),
        ("3 Jun 2026 09:15 GMT", UTC),
        ("2026-06-03T09:15:00Z", UTC),
        ("2026-06-03T09:15:00", None),
        ("2026:06:03 09:15:00", None),
    ],
)
def test_the_creation_time_is_a_time_of_last_resort(kind, written, zone):
    (facts,) = _facts(**{kind: ("Creation Time", written)})
    assert facts.source == "png"
    assert facts.time.value == TIME.replace(tzinfo=zone)
    assert "editor" in facts.time.doubt


def test_the_name_is_believed_before_it():
    (facts,) = _facts(name="20260603T091500Z.png", plain=("Creation Time", "2026-06-05T21:00:00Z"))
    assert facts.source == "name"


def test_the_time_of_saving_is_no_time_of_the_capture():
    # Section 11.3.6.1: year in two bytes, month, day, hour, minute, second, all in UTC.
    last_change = bytes((2026 // 256, 2026 % 256, 6, 5, 21, 0, 3))
    for texts in ({}, {"plain": ("Creation Time", "Fri, 5 Jun 2026 21:00:00 +0000")}):
        (facts,) = _facts(saved=last_change, **texts)
        assert facts.time is None
        assert facts.saved == datetime(2026, 6, 5, 21, 0, 3, tzinfo=UTC)


@pytest.mark.parametrize("written", ["yesterday", "2026-06-03", "9" * 5000, "2026-13-03T09:15:00", ""])
def test_what_is_no_time_is_left_out(written):
    assert _facts(plain=("Creation Time", written)) == ()


def test_a_damaged_text_is_left_out():
    stream = io.BytesIO()
    Image.fromarray(noise("u1")).save(stream, "png")
    for body in (b"Creation Time\0\0not deflated", b"Creation Time\0", b"Creation Time"):
        data = stream.getvalue().replace(b"\0\0\0\0IEND", png_chunk(b"zTXt", body) + b"\0\0\0\0IEND")
        assert facts_in_file(data, "png", "sun.png") == ()

"""What is published gives away neither place, instrument's number, owner, computer nor folder."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
from astropy.io import fits
from PIL import Image, PngImagePlugin

from archive.cli import main

SAMPLES = Path(__file__).parents[2] / "sample_archive" / "2026"
LATITUDE_DEG, LONGITUDE_DEG = 52.123456, -1.345678
# What was planted, in the spellings in which it could come out again.
SECRETS = (
    "SN-7781234-QX", "Owner Teal Privately", "hostcomputer-kestrel", "plantedcomment", "planted-folder-name",
    "52.1234", "52.123", "1.345678", "1.3456", "+52 07 24.44", "-01 20 44.44", "7/1, 24", "52:07:24",
)  # fmt: skip
LOOKS_PRIVATE = (struct.pack("<d", LATITUDE_DEG), struct.pack(">d", LATITUDE_DEG), struct.pack("<f", LONGITUDE_DEG))


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive whose originals carry every secret that such files can, and its site with a film."""
    scratch = tmp_path_factory.mktemp("planted-folder-name")
    root = scratch / "my-sun"
    place = f"Quay,{LATITUDE_DEG},{LONGITUDE_DEG},61.237"
    words = ["--title", "The Sun", "--observer", "A. Teal", "--site", place, "--time-zone", "UTC"]
    instrument = ["--instrument", "Doorstep", "--mount", "altaz", "--mirrored", "no", "--camera-angle", "0"]
    assert main(["new", str(root), *words, *instrument]) == 0
    for path in (_jpeg(scratch), _png(scratch), _fits(scratch), _tiff(scratch)):
        assert main(["add", str(root), str(path)]) == 0
    assert main(["build", str(root)]) == 0
    assert main(["film", str(root), "--days", "7"]) == 0
    return root / "site"


def _pixels() -> Image.Image:
    return Image.open(sorted(SAMPLES.glob("2026-06-01/*.jpg"))[0]).convert("L")


def _exif() -> Image.Exif:
    exif = Image.Exif()
    exif[0x013C], exif[0x010E], exif[0x8298] = "hostcomputer-kestrel", "plantedcomment", "Owner Teal Privately"
    exif.get_ifd(0x8769).update({0xA431: "SN-7781234-QX", 0xA430: "Owner Teal Privately"})
    exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 7.0, 24.4416), 3: "W", 4: (1.0, 20.0, 44.4408), 6: 61.237})
    return exif


def _jpeg(folder: Path) -> Path:
    path = folder / "20260601T090500Z.jpg"
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><a>SN-7781234-QX plantedcomment 52.123456</a></x:xmpmeta>'
    _pixels().save(path, exif=_exif(), xmp=xmp, comment=b"plantedcomment planted-folder-name")
    return path


def _png(folder: Path) -> Path:
    path, texts = folder / "20260602T090500Z.png", PngImagePlugin.PngInfo()
    texts.add_text("Comment", "plantedcomment 52.123456", zip=True)
    texts.add_itxt("Author", "Owner Teal Privately")
    _pixels().save(path, pnginfo=texts, exif=_exif())
    return path


def _fits(folder: Path) -> Path:
    path = folder / "20260603T090500Z.fits"
    header = fits.Header([
        ("SITELAT", "+52 07 24.44"), ("SITELONG", "-01 20 44.44"), ("OBSGEO-B", LATITUDE_DEG),
        ("OBSERVER", "Owner Teal Privately"), ("CAMERAID", "SN-7781234-QX"), ("HOSTNAME", "hostcomputer-kestrel"),
    ])  # fmt: skip
    header["COMMENT"] = "plantedcomment planted-folder-name"
    fits.writeto(path, np.asarray(_pixels(), dtype=np.float32)[::-1], header=header)
    return path


def _tiff(folder: Path) -> Path:
    path = folder / "20260604T090500Z.tif"
    _pixels().save(path, exif=_exif(), description="plantedcomment 52.123456", software="hostcomputer-kestrel")
    return path


def test_no_published_byte_tells_what_is_private(site: Path) -> None:
    own = [str(site.parent), str(Path.home()) + "/"]
    wanted = [*SECRETS, *own]
    files = [path for path in sorted(site.rglob("*")) if path.is_file()]
    assert len(files) > 60
    found = []
    for path in files:
        data = path.read_bytes()
        for text in wanted:
            found += [
                f"{path.relative_to(site)}: {text!r}"
                for spelled in (text.encode(), text.encode("utf-16-le"), text.encode("utf-16-be"))
                if spelled in data
            ]
        found += [f"{path.relative_to(site)}: the place as a number" for spelled in LOOKS_PRIVATE if spelled in data]
    assert found == []


def test_published_pictures_carry_no_metadata(site: Path) -> None:
    for path in (*site.rglob("*.jpg"), *site.rglob("*.png"), *site.rglob("*.avif")):
        with Image.open(path) as picture:
            picture.load()
            assert not picture.getexif(), path
            assert not {"xmp", "comment", "exif", "Comment", "Author", "photoshop"} & set(picture.info), path
    for path in site.rglob("*.fits"):
        header = fits.getheader(path)
        assert not {"SITELAT", "SITELONG", "OBSGEO-B", "LAT-OBS", "OBSERVER", "CAMERAID", "HOSTNAME"} & set(header), (
            path
        )


def test_the_place_is_told_to_a_tenth_of_a_degree(site: Path) -> None:
    page = (site / "observatory/index.html").read_text(encoding="utf-8")
    assert "52.1" in page


def test_the_secrets_are_in_the_originals(site: Path) -> None:
    """Else this file could not fail."""
    originals = b"".join(path.read_bytes() for path in sorted((site.parent / "2026").rglob("*")) if path.is_file())
    for text in ("SN-7781234-QX", "Owner Teal Privately", "hostcomputer-kestrel", "plantedcomment"):
        assert text.encode() in originals

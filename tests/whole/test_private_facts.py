"""What pictures and the computer tell of the observer is in no published byte."""

from __future__ import annotations

import getpass
import io
import os
import re
import shutil
import socket
import struct
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile
from astropy.io import fits
from PIL import Image, PngImagePlugin
from reading.drawn import png_chunk
from scenes.discs import Scene, draw_disc, quantise
from website.read_pages import Links

from archive.commands.main import main
from whole.conftest import NEW, SPOTS

SITE = (52.1234, -1.3456)  # of `NEW`; published as 52.1, -1.3
GPS = (48.76543, 11.23457)
WORDS = (
    "SN-7734-QX", "Bartholomew", "Privet", "Lumograph", "privet-desktop", "Old Orchard", "secret-folder", "dachboden",
    "captureapp",
)  # fmt: skip


def planted(folder: Path) -> Path:
    """Four originals, one of each kind, that tell all they can."""
    folder.mkdir(parents=True)
    picture = quantise(draw_disc(Scene(spots=SPOTS)), 8)
    exif = Image.Exif()
    exif.update({0x010F: "Lumograph", 0x0110: "Lumograph X9", 0x013B: "Bartholomew Privet", 0x013C: "privet-desktop"})
    exif.get_ifd(0x8769).update(
        {
            0x9003: "2026:06:03 09:15:00",
            0x9011: "+00:00",
            0xA431: "SN-7734-QX",
            0xA430: "Privet",
            0x9286: b"Old Orchard",
        }
    )
    exif.get_ifd(0x8825).update({1: "N", 2: sexagesimal(GPS[0]), 3: "E", 4: sexagesimal(GPS[1])})
    xmp = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>Bartholomew Privet, Old Orchard 48.76543</x:xmpmeta>"
    Image.fromarray(picture).save(folder / "dachboden.jpg", quality=95, exif=exif, xmp=xmp, comment=b"secret-folder")
    text = PngImagePlugin.PngInfo()
    for key, value in {"Author": "Bartholomew Privet", "Comment": "captureapp SN-7734-QX 48.76543"}.items():
        text.add_text(key, value, zip=key == "Comment")
    Image.fromarray(picture).save(folder / "privet 2026-06-04-0915Z.png", pnginfo=text, exif=exif)
    tifffile.imwrite(
        folder / "privet 2026-06-05-0915Z.tif",
        picture,
        description="Old Orchard, 48.76543 N",
        software="captureapp",
        extratags=[(0x013C, 2, 0, "privet-desktop", True), (0x013B, 2, 0, "Bartholomew Privet", True)],
    )
    unit = fits.PrimaryHDU(picture[::-1].astype(np.uint16))
    cards = {
        "DATE-OBS": "2026-06-06T09:15:00", "OBSERVER": "Bartholomew Privet", "SITELAT": GPS[0], "SITELONG": GPS[1],
        "OBSGEO-B": GPS[0], "OBSGEO-L": GPS[1], "SITENAME": "Old Orchard", "CAMERAID": "SN-7734-QX",
        "SWCREATE": "captureapp", "ORIGFILE": "/home/privet/secret-folder/x.fits",
    }  # fmt: skip
    unit.header.update(cards)
    unit.header["COMMENT"] = "taken by Bartholomew Privet at 48 45 55.5"
    unit.header["HISTORY"] = "captureapp on privet-desktop"
    unit.writeto(folder / "dachboden.fits")
    return folder


def sexagesimal(angle_deg: float) -> tuple[float, float, float]:
    minutes = angle_deg % 1 * 60
    return float(int(angle_deg)), float(int(minutes)), minutes % 1 * 60


def spellings() -> dict[str, bytes]:
    """Places as decimals, as degrees and minutes, and as numbers of each kind; and words."""
    found = {word.lower(): word.lower().encode() for word in WORDS}
    for angle_deg in (*map(abs, SITE), *GPS):
        degrees, minutes, seconds = (int(part) for part in sexagesimal(angle_deg))
        cut = f"{int(angle_deg * 100) / 100:.2f}"
        found[cut] = cut.encode()
        for gap in (":", " ", "° ", "°"):
            written = f"{degrees}{gap}{minutes:02}{gap.strip('° ') or ('′ ' if '°' in gap else ' ')}{seconds:02}"
            found[written] = written.encode()
        for kind in ("<d", ">d", "<f", ">f"):
            for value in (angle_deg, -angle_deg, np.radians(angle_deg)):
                found[f"{kind} {value}"] = struct.pack(kind, value)
    return found


def contents(data: bytes, name: str) -> Iterator[tuple[str, bytes]]:
    """The bytes, and what is packed in them."""
    yield name, data
    if zipfile.is_zipfile(io.BytesIO(data)):
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            for inner in packed.namelist():
                yield from contents(packed.read(inner), f"{name}/{inner}")
    for match in re.finditer(rb"zTXt|iTXt|iCCP", data if data.startswith(b"\x89PNG") else b""):
        length = int.from_bytes(data[match.start() - 4 : match.start()], "big")
        body = data[match.end() : match.end() + length]
        for start in range(len(body) - 2):
            if body[start] == 0x78:
                try:
                    yield f"{name}: {match[0]!r}", zlib.decompress(body[start:])
                except zlib.error:
                    continue


def betrayals(site: Path, secrets: dict[str, bytes]) -> list[str]:
    found = []
    for path in sorted(site.rglob("*")):
        if path.is_file():
            for name, data in contents(path.read_bytes(), path.relative_to(site).as_posix()):
                found += [f"{name}: {secret}" for secret, bytes_ in secrets.items() if shows(data, bytes_)]
    return found


def shows(data: bytes, secret: bytes) -> bool:
    """Letters in any case; digits not in the midst of a longer number, which a measurement or check sum may be."""
    if not secret.isascii() or not secret.decode("ascii").isprintable():
        return secret in data
    if secret[:1].isdigit():
        return (
            re.search(rb"(?<![\d.])" + re.escape(secret) + (rb"\d*(?!\.)" if b"." in secret else b""), data) is not None
        )
    return secret in data.lower()


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive in a folder whose name is nobody's business, with a film and all formats."""
    home = tmp_path_factory.mktemp("privet") / "secret-folder"
    folder = home / "my-sun"
    with pytest.MonkeyPatch.context() as patch, warnings.catch_warnings():
        patch.setenv("HOME", str(home))
        assert main(["new", str(folder), *NEW]) == 0
        assert main(["add", str(folder), str(planted(home / "given"))]) == 0
        assert main(["film", str(folder), "--days", "2", "--size", "480", "--pace", "0.2"]) == 0
        assert main(["build", str(folder)]) == 0
    return folder


def test_no_published_byte_tells_what_originals_and_computer_know(built: Path) -> None:
    secrets = spellings() | {"folder": os.fsencode(built.parent).lower(), "temporary": b"/tmp/"}
    for private in (socket.gethostname(), getpass.getuser()):
        if len(private) > 5:  # a short one is a syllable of many words
            secrets[private] = private.lower().encode()
    assert betrayals(built / "site", secrets) == []


def test_the_check_sees_what_originals_tell(built: Path) -> None:
    """The originals themselves must be full of it, or the check above would be blind."""
    seen = "\n".join(betrayals(built / "2026", spellings()))
    for word in ("sn-7734-qx", "bartholomew", "lumograph", "privet-desktop", "old orchard", "captureapp", "48.76"):
        assert word in seen
    assert "zTXt" in seen
    (probe := built.parent / "probe").mkdir()
    (probe / "a.bin").write_bytes(struct.pack(">d", GPS[0]) + png_chunk(b"tEXt", b"52:07:24"))
    assert betrayals(probe, spellings()) == [f"a.bin: {name}" for name in ("52:07:24", f">d {GPS[0]}")]


def test_two_places_that_are_published_alike_give_the_same_bytes(built: Path, tmp_path: Path) -> None:
    """Nothing derived, altitude or parallactic angle or evidence for north, depends on more than is told."""
    other = tmp_path / "other"
    shutil.copytree(built, other)
    shutil.rmtree(other / "site")
    settings = other / "archive.toml"
    text = settings.read_text(encoding="utf-8")
    moved = text.replace("52.1234", "52.0711").replace("-1.3456", "-1.2588")
    assert moved.count("52.0711") == moved.count("-1.2588") == 1
    settings.write_text(moved, encoding="utf-8")
    assert main(["build", str(other)]) == 0
    assert digests(other / "site") == digests(built / "site")


def digests(site: Path) -> dict[str, int]:
    return {
        path.relative_to(site).as_posix(): zlib.crc32(path.read_bytes()) for path in site.rglob("*") if path.is_file()
    }


def test_nothing_is_loaded_from_another_host(built: Path) -> None:
    for path in sorted((built / "site").rglob("*")):
        if path.suffix == ".html":
            loaded = Links(path.read_text(encoding="utf-8")).loaded
            assert [url for url in loaded if re.match(r"(https?:)?//", url)] == []
        if path.suffix in (".css", ".svg", ".js"):
            text = path.read_text(encoding="utf-8")
            assert re.findall(r"url\(\s*['\"]?(?:https?:)?//|@import|(?:xlink:)?href=['\"]https?:|import\(", text) == []

"""Times in XMP, in packets as ISO 16684-1 and the namespaces' own lists (XMP Specification Part 2) have them.

Where the packet lies is checked with Pillow, which finds it in all three kinds of file, and what is in it with the
standard library's general reader of XML.
"""

import io
import time
import xml.etree.ElementTree as ET
import zlib
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
import tifffile
from PIL import Image

from archive.reading import FoundTime, facts_in_file
from archive.reading.xmp import MOST_BYTES, xmp_times
from reading.drawn import noise, png_chunk, png_file

NAMES = {
    "x": "adobe:ns:meta/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "exif": "http://ns.adobe.com/exif/1.0/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpMM": "http://ns.adobe.com/xap/1.0/mm/",
    "stEvt": "http://ns.adobe.com/xap/1.0/sType/ResourceEvent#",
}
DECLARED = " ".join(f'xmlns:{prefix}="{address}"' for prefix, address in NAMES.items())
PADDING = " " * 200
TIME = datetime(2026, 6, 3, 9, 15)  # noqa: DTZ001  (no zone)
MORNING, EVENING = "2026-06-03T09:15:00", "2026-06-05T21:00:00+01:00"
PLUS_TWO = timezone(timedelta(hours=2))


def packet(attributes="", elements="", before=""):
    return (
        f'<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>{before}<x:xmpmeta {DECLARED}><rdf:RDF>'
        f'<rdf:Description rdf:about="" {attributes}>{elements}</rdf:Description>'
        f'</rdf:RDF></x:xmpmeta>{PADDING}<?xpacket end="w"?>'
    ).encode()


def in_file(kind, xmp, **options):
    stream = io.BytesIO()
    if kind == "tiff":
        tifffile.imwrite(stream, noise("u1"), extratags=[(700, 1, len(xmp), xmp, True)], metadata=None, **options)
    elif kind == "png":
        text = b"XML:com.adobe.xmp\0\0\0\0\0" + xmp
        return png_file(noise("u1"), "grey", extra=png_chunk(b"iTXt", text))
    else:
        Image.fromarray(noise("u1")).save(stream, "jpeg", xmp=xmp, **options)
    return stream.getvalue()


def facts(kind, xmp, **options):
    return {found.source: found for found in facts_in_file(in_file(kind, xmp, **options), kind, "sun")}


@pytest.mark.parametrize("kind", ["jpeg", "png", "tiff"])
def test_the_packet_is_found_where_others_find_it(kind):
    xmp = packet(f'exif:DateTimeOriginal="{MORNING}"')
    data = in_file(kind, xmp)
    with Image.open(io.BytesIO(data)) as image:
        theirs = image.info["xmp"] if kind != "tiff" else image.tag_v2[700]
    tree = ET.fromstring(theirs.decode().rstrip("\0"))
    value = tree.find(".//rdf:Description", NAMES).get(f"{{{NAMES['exif']}}}DateTimeOriginal")
    assert xmp_times(data, kind).original == (datetime.fromisoformat(value),)


@pytest.mark.parametrize("order", ["<", ">"])
def test_a_tiff_of_either_byte_order(order):
    xmp = packet(f'exif:DateTimeOriginal="{MORNING}"')
    assert facts("tiff", xmp, byteorder=order)["xmp"].time == FoundTime(TIME, "start")


@pytest.mark.parametrize("name", ["exif:DateTimeOriginal", "photoshop:DateCreated", "xmp:CreateDate"])
@pytest.mark.parametrize("written", ["attribute", "element", "qualified", "own prefix"])
def test_each_property_in_each_writing(name, written):
    """ISO 16684-1, 7.4 and 7.8: a property is an element, or an attribute, or an element with qualifiers."""
    prefix, property_name = name.split(":")
    xmp = {
        "attribute": packet(f'{name}="{MORNING}+02:00"'),
        "element": packet(elements=f"<{name}> {MORNING}+02:00\n</{name}>"),
        "qualified": packet(
            elements=f"<{name}><rdf:Description><rdf:value>{MORNING}+02:00</rdf:value></rdf:Description></{name}>"
        ),
        "own prefix": packet(
            elements=f'<q:{property_name} xmlns:q="{NAMES[prefix]}">{MORNING}+02:00</q:{property_name}>'
        ),
    }[written]
    found = facts("jpeg", xmp)["xmp"].time
    assert found.value == TIME.replace(tzinfo=PLUS_TWO)
    assert (found.doubt is not None) == (name == "xmp:CreateDate")  # that may be an editor's


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2026-06-03T09:15:00Z", TIME.replace(tzinfo=UTC)),
        ("2026-06-03T09:15", TIME),
        ("2026-06-03T09:15:00.25-07:00", TIME.replace(microsecond=250000, tzinfo=timezone(timedelta(hours=-7)))),
        ("2026-06-03T09:15:00.123456789", TIME.replace(microsecond=123456)),
        ("2026:06:03 09:15:00", TIME),  # EXIF's writing, which some programs copy
        ("2026-06-03", None),
        ("2026-06", None),
        ("2026", None),
        ("2026-02-30T09:15:00", None),
        ("2026-06-03T24:15:00", None),
        ("2026-06-03T09:15:00+99:00", None),
        ("0000-00-00T00:00:00", None),
        ("9" * 5000, None),
        ("", None),
    ],
)
def test_dates_of_the_standard(text, value):
    """ISO 16684-1, 8.2.1.3 (Date): of a day alone no time is taken."""
    found = facts("jpeg", packet(f'exif:DateTimeOriginal="{text}"'))
    assert (found["xmp"].time.value if "xmp" in found else None) == value


def test_the_best_property_wins_and_exif_comes_before():
    xmp = packet(f'xmp:CreateDate="{EVENING}" photoshop:DateCreated="2026-06-03T09:16:00"')
    assert facts("png", xmp)["xmp"].time.value == TIME.replace(minute=16)
    exif = Image.Exif()
    exif[0x8769] = {0x9003: "2026:06:03 09:17:00"}
    both = facts("jpeg", xmp, exif=exif)
    assert list(both) == ["exif", "xmp"]
    assert both["exif"].time.value == TIME.replace(minute=17)


def test_a_time_of_saving_is_not_the_captures_whoever_writes_it():
    saved = [
        f'xmp:ModifyDate="{EVENING}"',
        f'xmp:MetadataDate="{EVENING}" xmp:ModifyDate="{EVENING}"',
        f'xmp:CreateDate="2026-06-05T20:57:00+01:00" xmp:ModifyDate="{EVENING}"',  # opened, sharpened, saved
        f'exif:DateTimeDigitized="2026-06-05T19:57:00Z" xmp:ModifyDate="{EVENING}"',
    ]
    for attributes in saved:
        found = facts("tiff", packet(attributes))["xmp"]
        assert found.time is None
        assert found.saved == datetime.fromisoformat(EVENING)


@pytest.mark.parametrize("as_attribute", [True, False])
def test_what_an_editors_history_names_is_not_the_captures(as_attribute):
    event = (
        f'stEvt:when="{EVENING}"/>'
        if as_attribute
        else f'rdf:parseType="Resource"><stEvt:when>{EVENING}</stEvt:when></rdf:li>'
    )
    history = f"<xmpMM:History><rdf:Seq><rdf:li {event}</rdf:Seq></xmpMM:History>"
    later = 'xmp:ModifyDate="2026-06-05T22:40:00+01:00"'
    found = facts("png", packet(f'xmp:CreateDate="{EVENING}" {later}', history))["xmp"]
    assert (found.time, found.saved.hour) == (None, 22)
    assert facts("png", packet(f'xmp:CreateDate="{EVENING}" {later}'))["xmp"].time.doubt is not None


def test_times_of_other_pictures_in_the_packet_are_passed_over():
    other = f'<rdf:li><rdf:Description exif:DateTimeOriginal="{MORNING}"/></rdf:li>'
    elements = f"<xmpMM:Pantry><rdf:Bag>{other}</rdf:Bag></xmpMM:Pantry>"
    assert facts("png", packet(elements=elements)) == {}


def test_a_compressed_text_is_read_within_limits():
    xmp = packet(f'exif:DateTimeOriginal="{MORNING}"')
    head = b"XML:com.adobe.xmp\0\1\0en\0\0"
    for packed, count in ((zlib.compress(xmp), 1), (zlib.compress(xmp + b" " * MOST_BYTES), 0), (b"rot", 0)):
        data = png_file(noise("u1"), "grey", extra=png_chunk(b"iTXt", head + packed))
        assert len(facts_in_file(data, "png", "sun")) == count


EXPANDING = "".join(f'<!ENTITY e{n + 1} "{f"&e{n};" * 10}">' for n in range(12))
ODD = {
    "a bomb of entities": f'<!DOCTYPE x [<!ENTITY e0 "{MORNING}">{EXPANDING}]>',
    "an outside entity": '<!DOCTYPE x [<!ENTITY e0 SYSTEM "file:///etc/hostname">]>',
    "an empty document type": "<!DOCTYPE x>",
}


@pytest.mark.parametrize("before", ODD.values(), ids=ODD)
def test_a_packet_with_a_document_type_is_not_read(before):
    assert facts("png", packet(f'exif:DateTimeOriginal="{MORNING}"', before=before)) == {}


@pytest.mark.parametrize(
    "xmp",
    [
        b"",
        b"not XML",
        b"<a" * 100_000,
        b"<a>" * 300_000,
        packet(f'exif:DateTimeOriginal="{MORNING}"')[:-400],
        packet(f'exif:DateTimeOriginal="{MORNING}" ' * 2),
        b'<?xml version="1.0" encoding="no-such"?>' + packet(),
        packet(" ".join(f'xmlns:a{n}="urn:{n}"' for n in range(20_000))),
    ],
    ids=["empty", "text", "open tags", "deep", "cut", "twice", "encoding", "namespaces"],
)
def test_a_broken_packet_is_no_fault_of_the_picture(xmp):
    assert facts("tiff", xmp or b"\0") == {}


def test_no_picture_is_lost_for_its_packet():
    from archive.reading import read_pixels

    data = in_file("jpeg", b"<a" * 1000)
    assert read_pixels(data, "sun.jpg").values.shape == np.asarray(noise("u1")).shape


@pytest.mark.parametrize(
    "xmp",
    [
        b"<a>" * (MOST_BYTES // 3),
        b"<a " + b"".join(b"a%x='' " % number for number in range(MOST_BYTES // 10)) + b"/>",
        packet(" ".join(f'xmlns:a{n}="urn:{n}"' for n in range(MOST_BYTES // 30))),
        packet(elements="<exif:DateTimeOriginal>" + "9" * (MOST_BYTES - 3000) + "</exif:DateTimeOriginal>"),
        packet(elements="<rdf:li stEvt:when='2026-06-03T09:15:00'/>" * (MOST_BYTES // 60)),
    ],
    ids=["deep", "attributes", "namespaces", "long", "events"],
)
def test_the_largest_packet_costs_little(xmp):
    """What is larger is not read at all; the limit of the hostile study is 10 s. Measured: 2 s and 220 MB."""
    begun = time.process_time()
    facts("tiff", xmp[:MOST_BYTES])
    assert time.process_time() - begun < 8.0

"""The figure of the evidence for north: every angle is where trigonometry, a library or a turned picture puts it."""

from __future__ import annotations

import math
import re
import warnings
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image, ImageOps

from archive.model.choices import EvidenceKind
from archive.model.observation import Alternative, Evidence, Observation, Orientation
from archive.website.content import Content
from archive.website.disc_directions import disc_directions, shown_at_deg
from archive.website.north_figure import NorthFigure, north_figure
from archive.website.orientation_words import EVIDENCE_NAMES
from website.invented import build_site

DAY = "days/2026-06-03/index.html"
UNKNOWN_DAY = "days/2026-06-05/index.html"
KINDS: tuple[EvidenceKind, ...] = tuple(EVIDENCE_NAMES)
# CHECK_VALUES of the project (P by two independent libraries, q derived and checked on a site at 52.1 N, 1.3 W):
# UTC, P, q, and the angle from the zenith to solar north, all in degrees counter-clockwise.
SPRING = ("2026-03-28 10:27:36", -25.93, -19.336, -6.60)
AUTUMN = ("2026-10-20 11:09:52", 25.87, -6.893, 32.77)


def _oriented(content: Content, orientation: Orientation, *, p_deg: float = -13.0, q_deg: float = -28.0) -> Observation:
    observation = content.entries[1].observation
    sun = replace(observation.sun, p_deg=p_deg, parallactic_angle_deg=q_deg)
    return replace(observation, orientation=orientation, sun=sun)


def _drawn(content: Content, orientation: Orientation, **sky: float) -> NorthFigure:
    figure = north_figure(_oriented(content, orientation, **sky), "t0915Z-north")
    assert figure is not None
    return figure


def _solved(*evidence: Evidence, north_deg: float = 0.0, mirrored: bool = False, sigma_deg: float = 0.4) -> Orientation:
    return Orientation("solved", north_deg, mirrored, sigma_deg, evidence)


def _points(path: str) -> list[tuple[float, float]]:
    """Read the points that a path goes through; of an arc only its end."""
    numbers = r"(-?[\d.]+),(-?[\d.]+)(?= |$)"
    plain = re.sub(r"A[\d.]+,[\d.]+ 0 [01] [01] ", "L", path)
    return [(float(x), float(y)) for x, y in re.findall(numbers, plain)]


def _angle_deg(point: tuple[float, float]) -> float:
    """Counter-clockwise from the top, in a picture whose y runs down: left is +90."""
    return math.degrees(math.atan2(-point[0], -point[1]))


def _pointer_deg(figure: NorthFigure, letter: str) -> float:
    """Return the angle at which a letter's line stands, after checking that it points straight outwards."""
    line = next(one.line for one in figure.pointers if one.letter == letter)
    inner, outer = _points(line)
    assert _angle_deg(inner) == pytest.approx(_angle_deg(outer), abs=0.02)
    assert 100 <= math.hypot(*inner) < math.hypot(*outer)
    return _angle_deg(outer)


@pytest.mark.parametrize(("_time", "p_deg", "q_deg", "from_zenith_deg"), [SPRING, AUTUMN], ids=["P < 0", "P > 0"])
def test_zenith_and_celestial_north_stand_where_the_check_values_put_them(
    content: Content, _time: str, p_deg: float, q_deg: float, from_zenith_deg: float
) -> None:
    figure = _drawn(content, _solved(), p_deg=p_deg, q_deg=q_deg)
    # The table's last digit: 0.01 deg.
    assert _pointer_deg(figure, "Z") == pytest.approx(-from_zenith_deg, abs=0.02)
    # P counts from celestial north counter-clockwise to solar north: seen from solar north it lies the other way.
    assert _pointer_deg(figure, "C") == pytest.approx(-p_deg, abs=0.02)
    assert _pointer_deg(figure, "N") == 0.0


@pytest.mark.parametrize(("time", "p_deg", "q_deg", "from_zenith_deg"), [SPRING, AUTUMN], ids=["P < 0", "P > 0"])
def test_the_directions_are_those_of_arrows_in_space(
    content: Content, time: str, p_deg: float, q_deg: float, from_zenith_deg: float
) -> None:
    # Skyfield with DE421 gives the arrows to Sun and zenith; the Sun's pole is Archinal et al. (2018), table 1. They
    # are laid on the plane of the sky by plain vector products, in which P and q do not occur.
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="The file finals2000A.all has expired", category=RuntimeWarning)
        skyfield_data = pytest.importorskip("skyfield_data")
        folder = Path(skyfield_data.get_skyfield_data_path())
    from skyfield.api import load, load_file, wgs84

    at = load.timescale(builtin=True).from_datetime(datetime.fromisoformat(time).replace(tzinfo=UTC))
    kernel = load_file(str(folder / "de421.bsp"))
    site = (kernel["earth"] + wgs84.latlon(52.1, -1.3)).at(at)
    sun = site.observe(kernel["sun"]).apparent().position.au
    zenith = site.from_altaz(alt_degrees=90, az_degrees=0).position.au
    kernel.close()
    ra, dec = np.radians([286.13, 63.87])
    pole = np.array([np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)])
    outward = sun / np.linalg.norm(sun)
    up = pole - (pole @ outward) * outward
    # Facing the Sun with its north up, left is up turned a quarter counter-clockwise: outward x up is to the right.
    left = np.cross(up, outward)

    def seen_deg(arrow: np.ndarray) -> float:
        return math.degrees(math.atan2(arrow @ left, arrow @ up))

    figure = _drawn(content, _solved(), p_deg=p_deg, q_deg=q_deg)
    # Precession since J2000 shifts the celestial pole by 0.15 deg, seen here as up to that angle.
    assert _pointer_deg(figure, "C") == pytest.approx(seen_deg(np.array([0.0, 0.0, 1.0])), abs=0.2)
    assert _pointer_deg(figure, "Z") == pytest.approx(seen_deg(zenith), abs=0.05)


@pytest.mark.parametrize("picture_mirrored", [False, True])
@pytest.mark.parametrize("reading_mirrored", [False, True])
def test_a_reading_stands_where_it_puts_north_in_the_turned_picture(
    picture_mirrored: bool, reading_mirrored: bool
) -> None:
    # Pillow mirrors and turns a real picture with a dot where the reading says that north is, and one at its top.
    orientation = Orientation("solved", -37.0, picture_mirrored, 1.0)
    reading = Evidence("spots", 118.0, 1.0, reading_mirrored)
    as_read = Image.new("L", (401, 401))
    _dot(as_read, 118.0)
    as_came = ImageOps.mirror(as_read) if reading_mirrored else as_read
    shown = (ImageOps.mirror(as_came) if picture_mirrored else as_came).rotate(37.0)
    assert shown_at_deg(reading, orientation) == pytest.approx(_dot_deg(shown), abs=0.5)


def _dot(picture: Image.Image, angle_deg: float) -> None:
    x = 200 - 150 * math.sin(math.radians(angle_deg))
    y = 200 - 150 * math.cos(math.radians(angle_deg))
    picture.paste(255, (round(x) - 1, round(y) - 1, round(x) + 2, round(y) + 2))


def _dot_deg(picture: Image.Image) -> float:
    rows, columns = np.nonzero(np.asarray(picture) > 128)
    return _angle_deg((float(columns.mean()) - 200, float(rows.mean()) - 200))


def test_the_pictures_own_up_stands_where_its_top_went(content: Content) -> None:
    top = Image.new("L", (401, 401))
    _dot(top, 0.0)
    figure = _drawn(content, _solved(north_deg=-37.0))
    # Turning by +37 deg brings north, at -37 deg, to the top.
    assert _pointer_deg(figure, "U") == pytest.approx(_dot_deg(top.rotate(37.0)), abs=0.5)


def test_evidence_stands_at_its_offset_with_its_error(content: Content) -> None:
    pieces = (Evidence("spots", 179.0, 2.0, False), Evidence("sky", -160.0, 15.0, False))
    figure = _drawn(content, _solved(*pieces, north_deg=-179.0))
    marks = {mark.kind: mark for mark in figure.evidence}
    # Across the turn from +180 to -180: 179 is 2 deg clockwise of -179, -160 is 19 deg counter-clockwise of it.
    for kind, at_deg, sigma_deg in (("spots", -2.0, 2.0), ("sky", 19.0, 15.0)):
        assert [_angle_deg(point) for point in _points(marks[kind].tick)] == pytest.approx([at_deg] * 2, abs=0.02)
        ends = [_angle_deg(point) for point in _points(marks[kind].arc)]
        assert ends == pytest.approx([at_deg + sigma_deg, at_deg - sigma_deg], abs=0.02)


@pytest.mark.parametrize("sigma_deg", [0.05, 0.4, 3.0, 34.0, 60.0, 89.0])
def test_the_fans_open_by_one_and_two_standard_errors_to_each_side(content: Content, sigma_deg: float) -> None:
    for fan, times in zip(_drawn(content, _solved(sigma_deg=sigma_deg)).fans, (2, 1), strict=True):
        centre, left, right = _points(fan)
        assert centre == (0.0, 0.0)
        # Two decimals on a radius of 100 units are 0.006 deg.
        half = times * sigma_deg
        assert [_angle_deg(left), _angle_deg(right)] == pytest.approx([half, -half], abs=0.01)
        # SVG 1.1, section 8.3.8: the flags say whether the arc is over 180 degrees, and that it runs clockwise.
        assert re.search(r"A100,100 0 ([01] [01]) ", fan)[1] == f"{int(half > 90)} 1"


def test_an_error_that_says_nothing_fills_the_disc(content: Content) -> None:
    wide, narrow = _drawn(content, _solved(sigma_deg=100.0)).fans
    assert _points(wide) == [(0.0, -100.0), (0.0, 100.0), (0.0, -100.0)]
    assert _angle_deg(_points(narrow)[1]) == pytest.approx(100.0, abs=0.01)


@pytest.mark.parametrize(
    ("sigma_deg", "words"), [(0.0, "± 0.01°"), (0.31, "± 0.31°"), (1.84, "± 1.8°"), (34.0, "± 34°"), (None, "")]
)
def test_the_error_is_given_as_a_figure_however_small(content: Content, sigma_deg: float | None, words: str) -> None:
    figure = _drawn(content, Orientation("solved", 0.0, False, sigma_deg))
    assert figure.error == words
    assert bool(figure.fans) == bool(words)


def test_letters_never_touch(content: Content) -> None:
    rng = np.random.default_rng(20260328)
    for north_deg, p_deg, q_deg in rng.uniform([-180, -26.3, -90], [180, 26.3, 90], (200, 3)):
        figure = _drawn(content, _solved(north_deg=north_deg), p_deg=p_deg, q_deg=q_deg)
        places = [(float(one.x), float(one.y)) for one in figure.pointers]
        gaps = [math.dist(one, other) for i, one in enumerate(places) for other in places[:i]]
        assert min(gaps) >= 13  # letters are 13 units high and less wide


def test_names_of_evidence_stay_inside_the_limb_and_by_their_arc(content: Content) -> None:
    rng = np.random.default_rng(20261020)
    for _ in range(100):
        pieces = [Evidence(kind, rng.uniform(-180, 180), 10 ** rng.uniform(-1, 2), False) for kind in KINDS]
        for mark in _drawn(content, _solved(*pieces)).evidence:
            x, y, width = float(mark.x), float(mark.y), 5.0 * len(mark.kind)
            ends = (x, x + width) if mark.anchor == "start" else (x - width, x)
            assert max(math.hypot(end, y) for end in ends) < 100, mark
            assert min(math.dist((x, y), end) for end in _points(mark.arc)) < 15, mark


def test_evidence_of_the_other_hand_is_marked(content: Content) -> None:
    pieces = (Evidence("stated", 3.0, 0.5, False), Evidence("spots", 168.0, 2.0, True))
    figure = _drawn(content, _solved(*pieces))
    assert [(mark.kind, mark.other_hand) for mark in figure.evidence] == [("stated", False), ("spots", True)]
    assert "the same spots on other days, 168.00° clockwise, ± 2.0°, in the mirror image" in figure.description


def test_a_position_that_is_not_a_number_is_not_drawn(content: Content) -> None:
    figure = _drawn(content, _solved(), p_deg=float("nan"))
    assert [one.letter for one in figure.pointers] == ["N", "U"]


def test_nothing_is_drawn_where_north_is_unknown(content: Content, site: Path) -> None:
    unknown = _oriented(content, Orientation("unknown", None, None, None, (Evidence("sky", 3.0, 1.0, False),)))
    assert north_figure(unknown, "t0915Z-north") is None
    assert disc_directions(unknown.sun, unknown.orientation) == ()
    html = (site / UNKNOWN_DAY).read_text()
    assert "<svg" not in html
    assert "Which way is north is not known, so no axis is drawn." in html


def _svgs(page: Path) -> list[ElementTree.Element]:
    found = re.findall(r"<svg.*?</svg>", page.read_text(encoding="utf-8"), re.DOTALL)
    return [ElementTree.fromstring(text) for text in found]


def test_the_page_draws_every_part_of_each_figure(site: Path, content: Content) -> None:
    svgs = _svgs(site / DAY)
    assert [svg.get("aria-labelledby", "").split()[0] for svg in svgs] == ["t1415Z-north-title", "t0915Z-north-title"]
    figure = north_figure(content.entries[1].observation, "t0915Z-north")
    assert figure is not None
    paths = [path.get("d") for path in svgs[1].iter("path")]
    parts = [*figure.fans, figure.scale, *(one.line for one in figure.pointers)]
    parts += [part for mark in figure.evidence for part in (mark.arc, mark.tick)]
    assert set(parts) < set(paths)
    assert len(paths) == len(parts) + 1  # the axis, which is the same on every day
    assert [text.text for text in svgs[1].iter("text")] == ["spots", "sky", "N", "Z", "C", "U", "± 0.38°"]


def test_the_figure_can_be_read_without_seeing_it(site: Path) -> None:
    for svg in _svgs(site / DAY):
        assert svg.get("role") == "img"
        named = {element.get("id"): element for element in svg if element.get("id")}
        title, description = (named[name] for name in svg.get("aria-labelledby", "").split())
        assert (title.tag, description.tag) == ("title", "desc")
        # q - P of the invented archive: -28.4 + 13.156.
        assert "zenith, 15.24° clockwise; celestial north, 13.16° counter-clockwise" in str(description.text)


def test_the_figure_has_no_colour_of_its_own(site: Path) -> None:
    for svg in _svgs(site / DAY):
        names = {name for element in svg.iter() for name in element.attrib}
        assert names & {"fill", "stroke", "color", "style", "font-family"} == set()


@pytest.mark.parametrize(
    ("odds", "words"),
    [
        (1.0, "is just as likely; nothing decides between them."),
        (1.5, "is 1.5 times less likely."),
        (12.3, "is 12 times less likely."),
        (4e9, "is more than 1000 times less likely."),
        (math.inf, "is more than 1000 times less likely."),
    ],
)
def test_a_reading_that_remains_is_told_beside_the_one_taken(
    content: Content, tmp_path: Path, odds: float, words: str
) -> None:
    orientation = replace(_solved(north_deg=-12.4), alternative=Alternative(170.0, True, odds))
    text = _day_text(content, orientation, tmp_path)
    assert f"North is taken at −12.4°, not mirrored. The opposite reading, +170.0° mirrored, {words}" in text


def test_a_reading_near_the_one_taken_is_not_called_opposite(content: Content, tmp_path: Path) -> None:
    orientation = replace(_solved(north_deg=-12.4), alternative=Alternative(12.0, True, 3.0))
    assert "The other reading, +12.0° mirrored, is 3.0 times less likely." in _day_text(content, orientation, tmp_path)


def test_a_reading_too_unsure_to_be_used_is_told_all_the_same(content: Content, tmp_path: Path) -> None:
    orientation = Orientation("unknown", None, None, None, alternative=Alternative(170.0, True, 1.0))
    text = _day_text(content, orientation, tmp_path)
    assert "One reading of north is +170.0° mirrored; it is not sure enough to be used." in text


def test_a_dispute_is_told_once_and_what_lost_it_is_not_named_as_a_source(content: Content, tmp_path: Path) -> None:
    pieces = (Evidence("header", 3.0, 0.5, False), Evidence("sky", 40.0, 1.1, True))
    dispute = "header says +3.0 ± 0.5 deg; sky says +40.0 ± 1.1 deg, mirrored"
    orientation = replace(_solved(*pieces, north_deg=3.0, sigma_deg=0.5), disputes=(dispute,))
    text = _day_text(content, orientation, tmp_path, f"Evidence for north disagrees: {dispute}.")
    told = "disagrees: the file’s header +3.0° ± 0.5°, not mirrored; the mount and the sky +40.0° ± 1.1°, mirrored."
    assert told in text
    assert "sky says" not in text
    assert "North measured from the file’s header, within 0.5°." in text


def test_north_from_the_low_sun_alone_is_not_said_to_come_from_the_mount(content: Content, tmp_path: Path) -> None:
    orientation = Orientation("assumed", 3.0, False, 9.0, (Evidence("refraction", 3.0, 9.0, False),))
    text = _day_text(content, orientation, tmp_path)
    assert "North assumed from the flattening of the low Sun, within 9.0°." in text


def _day_text(content: Content, orientation: Orientation, tmp_path: Path, *warnings_told: str) -> str:
    entry = replace(content.entries[1], warnings=warnings_told)
    entry = replace(entry, observation=replace(entry.observation, orientation=orientation))
    build_site(replace(content, entries=[entry], films=()), tmp_path / "one")
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>", "", (tmp_path / "one" / DAY).read_text(encoding="utf-8")))


def test_learned_camera_angles_are_told_in_order_of_time(site: Path) -> None:
    html = (site / "observatory/index.html").read_text(encoding="utf-8")
    rows = re.findall(r"<tr.*?</tr>", html[html.index("Camera angle as learned") :], re.DOTALL)[1:4]
    assert [re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", row)).strip() for row in rows] == [
        "1 March 2026 to 9 May 2026 from the first 27 pictures, mirrored +0.4° 0.8°",
        "camera re-mounted",
        "since 10 May 2026 from the first picture, mirrored −88.9° –",
    ]
    assert html.count("Camera angle as learned") == 1  # the other instrument has learned nothing


def test_an_angle_that_ended_is_not_said_to_last(content: Content, tmp_path: Path) -> None:
    instrument = content.info.instruments[0]
    ended = replace(instrument.learned[1], until_days=instrument.learned[1].since_days + 3.0)
    info = replace(content.info, instruments=(replace(instrument, learned=(ended,)),))
    build_site(replace(content, info=info), tmp_path / "ended")
    html = (tmp_path / "ended/observatory/index.html").read_text(encoding="utf-8")
    assert "1 March 2026 to 4 March 2026" in html
    assert "re-mounted" not in html

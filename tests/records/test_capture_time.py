"""When a picture was taken: zones, clock changes, disagreements.

Clock changes: the European Union's on the last Sundays of March and October at 01:00 UTC (Directive 2000/84/EC,
articles 2 and 3; the United Kingdom keeps the same dates); the United States' on the second Sunday of March and the
first Sunday of November at 02:00 local time (15 U.S.C. 260a, as amended by the Energy Policy Act of 2005); Lord Howe
Island's by half an hour on the first Sundays of October and April (tz database, file australasia, from memory).
"""

import calendar
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from archive.errors import FactsError
from archive.records.capture_time import TimeCandidate, capture_time, in_utc, parse_time

NOW = datetime(2026, 11, 1, 12, tzinfo=UTC)
MORNING = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)


def moment(text):
    return datetime.fromisoformat(text)


def found(*candidates, zone_name="Europe/London", length_s=None, now=NOW):
    return capture_time(candidates, zone_name=zone_name, now_utc=now, length_s=length_s, name="Sun.png")


def utc(text, zone_name):
    return in_utc(moment(text), zone_name=zone_name, source="EXIF", name="Sun.png")


def refusal(text, zone_name):
    with pytest.raises(FactsError) as caught:
        utc(text, zone_name)
    (line,) = caught.value.causes
    return line


def sunday(year, month, number):
    """The date of the Sunday of that number in the month, -1 the last."""
    days = [week[calendar.SUNDAY] for week in calendar.monthcalendar(year, month)]
    return datetime(year, month, [day for day in days if day][number], tzinfo=UTC)


@pytest.mark.parametrize("year", [2010, 2024, 2026])
def test_european_summer_time_begins_and_ends_as_the_directive_says(year):
    for month, before_h, after_h in ((3, 0, 1), (10, 1, 0)):
        change = sunday(year, month, -1) + timedelta(hours=1)
        for instant, offset_h in (
            (change - timedelta(hours=2), before_h),  # two hours, so that no local time is in doubt
            (change + timedelta(hours=2), after_h),
        ):
            local = (instant + timedelta(hours=offset_h)).replace(tzinfo=None)
            assert utc(local.isoformat(), "Europe/London") == instant


@pytest.mark.parametrize("year", [2010, 2024, 2026])
def test_american_clocks_change_as_the_act_says(year):
    for month, number, before_h, after_h in ((3, 1, -5, -4), (11, 0, -4, -5)):
        change = sunday(year, month, number) + timedelta(hours=2 - before_h)
        for instant, offset_h in ((change - timedelta(hours=2), before_h), (change + timedelta(hours=2), after_h)):
            local = (instant + timedelta(hours=offset_h)).replace(tzinfo=None)
            assert utc(local.isoformat(), "America/New_York") == instant


CHANGES = [
    ("Europe/London", "2026-03-29T01:30:00", "does not exist", "+00:00", "+01:00"),
    ("Europe/London", "2026-10-25T01:30:00", "occurs twice", "+01:00", "+00:00"),
    ("America/New_York", "2026-03-08T02:30:00", "does not exist", "-05:00", "-04:00"),
    ("America/New_York", "2026-11-01T01:30:00", "occurs twice", "-04:00", "-05:00"),
    ("Australia/Lord_Howe", "2026-10-04T02:15:00", "does not exist", "+10:30", "+11:00"),
    ("Australia/Lord_Howe", "2026-04-05T01:45:00", "occurs twice", "+11:00", "+10:30"),
]


@pytest.mark.parametrize(("zone_name", "local", "problem", "early", "late"), CHANGES)
def test_a_time_at_the_change_of_clocks_is_refused_with_both_offsets(zone_name, local, problem, early, late):
    line = refusal(local, zone_name)
    assert f"{local.replace('T', ' ')} (EXIF) {problem} in {zone_name}, where the clocks change" in line
    assert line.endswith(f"give --time with its offset, such as {local}{early} or {local}{late}")


@pytest.mark.parametrize(("zone_name", "local", "problem", "early", "late"), CHANGES)
def test_half_an_hour_around_the_change_of_clocks_is_refused_and_no_more(zone_name, local, problem, early, late):
    minutes = 30 if "Howe" in zone_name else 60
    near = moment(local).replace(minute=0) if minutes == 60 else moment(local) - timedelta(minutes=15)
    for inside in (near, near + timedelta(minutes=minutes - 1, seconds=59)):
        assert problem in refusal(inside.isoformat(), zone_name)
    offsets = {early, late}
    for outside in (near - timedelta(seconds=1), near + timedelta(minutes=minutes)):
        back = utc(outside.isoformat(), zone_name).astimezone(ZoneInfo(zone_name))
        assert back.replace(tzinfo=None) == outside
        offsets.discard(back.isoformat()[-6:])
    assert offsets == set()  # one side has the one offset, the other side the other


def test_an_offset_settles_a_time_that_comes_twice():
    assert utc("2026-10-25T01:30:00+01:00", "Europe/London") == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert utc("2026-10-25T01:30:00+00:00", "Europe/London") == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_a_time_without_a_zone_takes_its_own_then_the_archives():
    naive = moment("2026-06-03T10:15:00")
    assert found(TimeCandidate("EXIF", naive, "middle")).middle_utc == MORNING
    own = TimeCandidate("the note", naive, "middle", zone_name="Asia/Kolkata")
    assert found(own).middle_utc == datetime(2026, 6, 3, 4, 45, tzinfo=UTC)
    aware = TimeCandidate("EXIF", moment("2026-06-03T11:15:00+02:00"), "middle", zone_name="Asia/Kolkata")
    assert found(aware).middle_utc == MORNING


@pytest.mark.parametrize(("meaning", "shift_s"), [("start", 45.0), ("middle", 0.0), ("end", -45.0)])
def test_the_middle_is_half_the_length_from_either_end(meaning, shift_s):
    when = found(TimeCandidate("EXIF", MORNING, meaning), length_s=90.0)
    assert when.middle_utc == MORNING + timedelta(seconds=shift_s)
    assert when.start_utc == when.middle_utc - timedelta(seconds=45)
    assert found(TimeCandidate("EXIF", MORNING, meaning)).start_utc is None


def test_times_are_rounded_to_the_second():
    late = TimeCandidate("EXIF", MORNING.replace(second=59, microsecond=700_000), "middle")
    assert found(late).middle_utc == datetime(2026, 6, 3, 9, 16, tzinfo=UTC)
    early = TimeCandidate("EXIF", MORNING.replace(second=59, microsecond=400_000), "middle")
    assert found(early).middle_utc == MORNING.replace(second=59)
    when = found(TimeCandidate("EXIF", MORNING, "start"), length_s=91.0)
    assert when.middle_utc == MORNING.replace(second=46)
    assert when.start_utc == MORNING


def test_the_first_source_is_taken_and_agreement_within_a_minute_is_silent():
    name = TimeCandidate("the file's name", MORNING + timedelta(seconds=60), "middle")
    when = found(TimeCandidate("EXIF", MORNING, "middle"), name)
    assert (when.middle_utc, when.source, when.doubts) == (MORNING, "EXIF", ())
    assert found(name, TimeCandidate("EXIF", MORNING, "middle")).source == "the file's name"


@pytest.mark.parametrize(
    ("apart", "words"),
    [
        (timedelta(seconds=61), "2026-06-03T09:16:01Z, 1 min later than EXIF (2026-06-03T09:15:00Z), which is used"),
        (timedelta(minutes=-7), "2026-06-03T09:08:00Z, 7 min earlier than EXIF"),
        (timedelta(hours=3), "2026-06-03T12:15:00Z, 3 h later than EXIF"),
        (timedelta(hours=-26, minutes=-4), "2026-06-02T07:11:00Z, 26 h 4 min earlier than EXIF"),
        (timedelta(days=9, hours=12), "2026-06-12T21:15:00Z, 9.5 days later than EXIF"),
    ],
)
def test_a_disagreement_is_told_in_plain_words(apart, words):
    when = found(TimeCandidate("EXIF", MORNING, "middle"), TimeCandidate("the file's name", MORNING + apart, "middle"))
    (doubt,) = when.doubts
    assert doubt.startswith(f"Sun.png: the file's name says {words}")
    assert doubt.endswith("give --time if that is wrong")
    assert "zone" not in doubt
    assert when.middle_utc == MORNING


def test_a_name_of_either_end_of_a_long_capture_is_no_disagreement():
    candidates = [
        TimeCandidate("the FITS header", MORNING, "middle"),
        TimeCandidate("the file's name", MORNING + timedelta(seconds=150), "middle"),
    ]
    assert found(*candidates, length_s=180.0).doubts == ()
    assert len(found(*candidates, length_s=170.0).doubts) == 1
    assert len(found(*candidates).doubts) == 1


@pytest.mark.parametrize(
    ("zone_name", "hours"),
    [("Europe/London", 1), ("America/New_York", -4), ("Asia/Kolkata", 5.5), ("Australia/Lord_Howe", 10.5)],
)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_disagreement_by_the_zones_offset_looks_like_a_zone_mistake(zone_name, hours, sign):
    """Offsets of June: British and American summer time, Indian time, Lord Howe's standard time."""
    other = TimeCandidate("the file's name", MORNING + sign * timedelta(hours=hours, seconds=20), "middle")
    (doubt,) = found(TimeCandidate("EXIF", MORNING, "middle"), other, zone_name=zone_name).doubts
    assert f"that is how far {zone_name} is from UTC: it looks like a zone mistake" in doubt
    winter = TimeCandidate("EXIF", MORNING.replace(month=1), "middle")
    shifted = TimeCandidate("the file's name", winter.value + timedelta(hours=1), "middle")
    (doubt,) = found(winter, shifted).doubts
    assert "zone mistake" not in doubt  # London's clocks are on UTC then


def test_a_disagreement_by_summer_time_looks_like_a_clock_not_changed():
    other = TimeCandidate("EXIF", MORNING - timedelta(hours=1), "middle")
    (doubt,) = found(TimeCandidate("--time", MORNING, "middle"), other, zone_name="Europe/Berlin").doubts
    assert "that looks like a clock that was not changed to summer time" in doubt


def test_another_source_in_doubt_about_its_own_time_does_not_stop_the_first():
    first = TimeCandidate("--time", datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "middle")
    (doubt,) = found(first, TimeCandidate("EXIF", moment("2026-10-25T01:30:00"), "middle")).doubts
    assert "occurs twice in Europe/London" in doubt


def test_a_time_in_the_future_is_refused_beyond_a_clocks_slack():
    assert found(TimeCandidate("EXIF", NOW + timedelta(minutes=5), "middle")).doubts == ()
    with pytest.raises(
        FactsError, match=r"time 2026-11-01T12:05:01Z \(EXIF\) is in the future; correct it with --time"
    ):
        found(TimeCandidate("EXIF", NOW + timedelta(minutes=5, seconds=1), "middle"))


@pytest.mark.parametrize(
    "text",
    [
        "0001-01-01T00:00:00",
        "0001-01-01T00:00:00+14:00",
        "9999-12-31T23:59:59-12:00",
        "1900-01-01T09:00:00+14:00",
        "2100-01-01T00:00:00Z",
    ],
)
def test_years_beyond_the_ephemeris_are_refused(text):
    assert "the year of" in refusal(text, "Australia/Lord_Howe")


def test_no_time_at_all_is_refused_with_the_option_to_give():
    with pytest.raises(FactsError, match=r"^Sun\.png: no capture time .* give it with --time 2026-06-03T09:15:00Z$"):
        found()


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2026-06-03T09:15:00Z", MORNING),
        (" 2026-06-03 09:15 ", moment("2026-06-03T09:15:00")),
        ("2026-06-03T11:15:00+02:00", datetime(2026, 6, 3, 11, 15, tzinfo=timezone(timedelta(hours=2)))),
        ("20260603T091500Z", MORNING),
    ],
)
def test_iso_times_are_read(text, value):
    """ISO 8601 in its extended and basic form."""
    assert parse_time(text, name="--time") == value
    assert parse_time(text, name="--time").tzinfo == value.tzinfo


@pytest.mark.parametrize("text", ["", "noon", "2026-06-03", "20260603", "2026-02-30T09:15:00Z", "03/06/2026 09:15"])
def test_what_is_no_date_with_a_time_is_refused(text):
    with pytest.raises(FactsError, match=r"^--time: .* write it like 2026-06-03T09:15:00Z$"):
        parse_time(text, name="--time")


def test_the_abbreviation_of_a_zone_is_the_zones_own_or_the_time_is_refused():
    """Also where the clocks are put back: it tells which of the two hours is meant."""

    def at(text, abbreviation):
        candidate = TimeCandidate("its name", datetime.fromisoformat(text), "middle", abbreviation=abbreviation)
        given = {"zone_name": "Europe/London", "now_utc": datetime(2027, 1, 1, tzinfo=UTC)}
        return capture_time([candidate], **given, length_s=None, name="sun.png").middle_utc

    assert at("2026-06-03T09:15:00", "BST") == datetime(2026, 6, 3, 8, 15, tzinfo=UTC)
    assert at("2026-10-25T01:30:00", "BST") == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert at("2026-10-25T01:30:00", "GMT") == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    with pytest.raises(FactsError, match="CEST after the time in its name is not what the clocks of Europe/London"):
        at("2026-06-03T09:15:00", "CEST")

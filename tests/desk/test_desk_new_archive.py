"""A first evening without a terminal: the form of a new archive, then its desk, in the browser."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from website.browser import CHROMIUM, browser

from desk.desk_client import desk_of

FORM = {
    "title": "Sun over the quay", "observer": "A. Teal", "time_zone": "Europe/London", "site": "Quay",
    "latitude": "52 06 N", "longitude": "1 18 W", "instrument": "Doorstep", "mount": "altaz",
}  # fmt: skip


def test_a_form_that_cannot_be_makes_nothing(tmp_path: Path) -> None:
    root = tmp_path / "my-sun"
    with desk_of(root) as client:
        client.enter()
        assert client.get("/api/archive").status == 404
        for key, value, field in (("latitude", "95", "latitude_deg"), ("time_zone", "Mars/Gale", "time_zone")):
            answer = client.post("/api/new", {**FORM, key: value})
            assert answer.status == 422
            assert field in str(answer.json["causes"])
        far = client.post("/api/new/look", {**FORM, "time_zone": "America/New_York"}).json
        assert "hours behind the Sun at Quay" in far["warnings"][0]
        assert client.post("/api/new/begin").status == 422
    assert not root.exists()


@pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed: not tried in a browser")
def test_an_archive_is_made_in_the_form_and_its_desk_begins(tmp_path: Path) -> None:
    root = tmp_path / "my-sun"
    with desk_of(root) as client, browser() as page:
        page.open(client.address)
        page.wait("document.querySelector('#read').onchange")
        page.click("#read")
        page.wait("!document.querySelector('#new').hidden")
        # The browser's own position comes at a click, and on this page alone: see the policy of the others.
        page.grant(client.origin, "geolocation")
        page.send("Emulation.setGeolocationOverride", latitude=-33.8604, longitude=151.2046, accuracy=20)
        assert page.run("document.querySelector('[name=latitude]').value") == ""
        page.click("#here")
        page.wait("document.querySelector('[name=longitude]').value")
        place = "[...document.querySelectorAll('[name=latitude], [name=longitude]')].map((field) => field.value)"
        assert page.run(place) == ["-33.860", "151.205"]
        for name, value in FORM.items():
            if name != "mount":
                page.run(f"document.querySelector('[name={name}]').value = {value!r}; 0")
        page.run("document.querySelector('[value=altaz]').click()")
        page.run("document.querySelector('#new').requestSubmit()")
        page.wait(
            "location.pathname === '/arrivals' && document.querySelector('#archive-title').textContent !== 'The desk'"
        )
        assert page.run("document.querySelector('#archive-title').textContent") == FORM["title"]
    made = tomllib.loads((root / "archive.toml").read_text())
    assert made["sites"][0]["latitude_deg"] == pytest.approx(52.1)
    assert made["sites"][0]["longitude_deg"] == pytest.approx(-1.3)
    assert made["instruments"][0]["mount"] == "altaz"

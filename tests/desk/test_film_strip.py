"""The strip of a film to come holds the film's own frames, and comes at once."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from archive.errors import FactsError
from archive.films.job import FilmJob
from archive.films.styles import render_frames
from archive.records.settings import FilmSettings
from archive.stages.archive import opened_archive
from archive.stages.film_strip import film_strip
from archive.stages.film_words import film_options
from archive.stages.gathered import Gathered, last_gathered
from archive.stages.unchanged import inputs_of

STYLES: list[dict[str, Any]] = [
    {"style": "daily", "look": "warm"},
    {"style": "smooth"},
    {"style": "corotating"},
    {"style": "corotating", "view": "disc", "grid": True},
]


@pytest.fixture
def gathered(built: Path) -> Gathered:
    with opened_archive(built) as archive:
        found = last_gathered(archive.store, inputs_of(archive).of_stages)
    assert found is not None
    return found


@pytest.mark.parametrize("options", STYLES, ids=lambda options: "-".join(map(str, options.values())))
def test_the_strip_is_of_the_films_own_frames(built: Path, gathered: Gathered, options: dict[str, Any]) -> None:
    span = FilmSettings.model_validate({"days": 3, **options})
    fits = {entry.observation.id: entry.pictures.fits for entry in gathered.entries}
    with opened_archive(built) as archive:
        strip = film_strip(archive.store, gathered.entries, span, look="natural", sites=())
        discs = {name: archive.store.stored(blob) for name, blob in fits.items() if blob is not None}
        job = FilmJob(strip.observations, discs, span.look or "natural", replace(film_options(span), size_px=512))
        middle = len(strip.shown) // 2
        shown = strip.shown[middle - 1 : middle + 1]
        frames = list(render_frames(job, span.style, shown))
    if span.style == "smooth":
        assert {spec.kind for spec in shown} & {"between"}
    # Off the captions, and off the limb, where an eighth of the picture's pixels is coarser than its edge.
    place = np.hypot(*(np.indices((128, 128)) - 63.5)) < 50
    for frame, picture in zip(frames, strip.pictures[middle - 1 : middle + 1], strict=True):
        small = np.asarray(Image.fromarray(frame).resize((128, 128), Image.Resampling.BOX)).astype(int)
        assert np.abs(small - picture)[place].mean() < 4.0


def test_the_strip_of_27_days_comes_at_once(built: Path, gathered: Gathered) -> None:
    first = gathered.entries[0]
    month = [
        replace(
            first,
            observation=replace(
                first.observation,
                id=f"day-{number}",
                time_utc=first.observation.time_utc + timedelta(days=number),
            ),
        )
        for number in range(27)
    ]
    with opened_archive(built) as archive:
        started = time.process_time()
        strip = film_strip(archive.store, month, FilmSettings(days=27, style="smooth"), look="natural", sites=())
        taken_s = time.process_time() - started
    assert len(strip.observations) == 27
    assert len(strip.shown) == 28
    assert taken_s < 0.3


def test_a_span_without_pictures_has_no_strip(built: Path, gathered: Gathered) -> None:
    with opened_archive(built) as archive, pytest.raises(FactsError, match="no picture in white light"):
        film_strip(archive.store, gathered.entries, FilmSettings(rotation=1), look="natural", sites=())

"""What each maker of derived values gives for one drawn picture, in few numbers: `test_golden.py` compares them.

Run: ``PYTHONPATH=.:tests python tests/store/golden.py`` writes them anew, after a change of results that is meant.
"""

from __future__ import annotations

import io
import json
import tempfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.derotation import ViewGeometry
from archive.disc.helioprojective import helioprojective_cards
from archive.disk import Folder
from archive.measuring.groups import group_turned_spots
from archive.model.observation import SunView
from archive.records.disc_files import read_disc
from archive.records.map_files import sums_of
from archive.stages.comparison_picture import derotated_picture
from archive.stages.map_growth import grown_map
from archive.stages.north_up_disc import Turned, north_up_disc
from archive.stages.picture_files import picture_files
from archive.stages.study import study
from archive.store import Store
from archive.sun.view import sun_view

FILE = Path(__file__).with_name("golden.json")
TIME = datetime(2026, 6, 3, 9, 15, tzinfo=UTC)
NORTH_DEG = 24.0
SCENE = Scene(
    width_px=420,
    height_px=400,
    x_px=205.3,
    y_px=197.8,
    radius_px=170.4,
    blur_px=1.2,
    spots=(Spot(12.0, 20.0, 2.2), Spot(11.0, 26.0, 1.5), Spot(-18.0, -35.0, 2.0)),
)
CELLS = 8


def summaries() -> dict[str, list[float]]:
    """Return some numbers of each kind of derived value, by its name."""
    stream = io.BytesIO()
    Image.fromarray(quantise(draw_disc(SCENE), 8)).save(stream, format="PNG")
    original, sun = stream.getvalue(), sun_view(TIME, latitude_deg=50.0, longitude_deg=8.0)
    found = study(original, "drawn.png")
    disc, spots = found.measured.disc, found.spots
    assert spots is not None
    made = {
        "sun": _sun(sun),
        "limb": [disc.x_px, disc.y_px, disc.radius_px, disc.blur_px],
        "evidence": [*found.measured.spots.right, *found.measured.spots.up],
        "spots": [number for spot in spots.spots for number in (spot.right, spot.up, spot.area_msh / 100.0)],
        "as it came": _levels(found.as_it_came),
    }
    turned = Turned(disc, NORTH_DEG, False, tuple(helioprojective_cards(STANDARD_FRAME, time_utc=TIME, sun=sun)))
    files = picture_files(original, "drawn.png", turned, ("natural", "flat"))
    fits = north_up_disc(original, "drawn.png", turned)
    made["north-up disc"] = _cells(read_disc(fits), 255.0)
    pictures = {name: data for name, data in files.items() if not data.startswith(b"SIMPLE")}
    made |= {f"picture {name}": _levels(data) for name, data in pictures.items()}
    seen_at = ViewGeometry(20607.385, sun.b0_deg, sun.l0_deg)
    made["derotated"] = _levels(
        derotated_picture(fits, seen_at, ViewGeometry(20606.385, sun.b0_deg, sun.l0_deg + 13.2))
    )
    groups = group_turned_spots(spots.spots, sun=sun, north_angle_deg=NORTH_DEG, mirrored=False, sigma_deg=0.2)
    made["groups"] = [
        number for group in groups for number in (group.latitude_deg or 0.0, group.carrington_longitude_deg or 0.0)
    ]
    with tempfile.TemporaryDirectory() as scratch, Store(Folder(Path(scratch)).below("store")) as store:
        disc_blob = store.stored(store.add_blob(fits))
        grown = grown_map(sun.carrington_rotation, None, [(disc_blob, sun, 1.0)])
        light, weight = sums_of(grown.sums, grown.fits)
        made["map sums"] = [grown.observed_share, *_cells(light, 10.0), *_cells(weight, 10.0)]
        made["map picture"] = _levels(grown.picture)
    return {name: [round(float(number), 3) for number in numbers] for name, numbers in made.items()}


def _sun(sun: SunView) -> list[float]:
    return [sun.p_deg, sun.b0_deg, sun.l0_deg, sun.altitude_deg, sun.semidiameter_arcsec / 100.0]


def _levels(data: bytes) -> list[float]:
    return _cells(np.asarray(Image.open(io.BytesIO(data)).convert("L"), dtype=np.float64), 1.0)


def _cells(plane: NDArray[np.floating], scale: float) -> list[float]:
    """Return the means of cells, row by row."""
    plane = np.nan_to_num(np.asarray(plane, dtype=np.float64))
    rows, columns = (size // CELLS * CELLS for size in plane.shape[:2])
    cells = plane[:rows, :columns].reshape(CELLS, rows // CELLS, CELLS, columns // CELLS)
    return list(scale * cells.mean(axis=(1, 3)).ravel())


if __name__ == "__main__":
    lines = [f"{json.dumps(name)}: {json.dumps(numbers)}" for name, numbers in summaries().items()]
    FILE.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")

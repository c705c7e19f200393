"""Ten years fit into a free host: the pictures of a sharp day weigh 210 kB at most, which leaves 40 for its pages."""

from __future__ import annotations

import io

from PIL import Image
from scenes.discs import Scene, Spot, draw_disc, quantise

from archive.disc.derotation import ViewGeometry
from archive.stages.comparison_picture import derotated_picture
from archive.stages.north_up_disc import Turned
from archive.stages.picture_files import FITS, picture_files
from archive.stages.study import study

MOST_BYTES = 210_000
# As fine and as strong as in the sharpest real pictures tried: their flat discs weigh 17 to 28 kB.
SHARP = Scene(
    width_px=1500, height_px=1400, x_px=740.0, y_px=705.0, radius_px=640.0, blur_px=1.0, noise=0.009, granulation=0.04,
    tint=(1.0, 0.82, 0.5), spots=(Spot(12.0, 20.0, 2.2), Spot(-18.0, -35.0, 2.0)),
)  # fmt: skip


def day_bytes(original: bytes, name: str) -> dict[str, int]:
    """Return what each picture of a day weighs on the site, FITS apart."""
    came = study(original, name)
    made = picture_files(original, name, Turned(came.measured.disc, 0.0, False), ("natural", "flat"))
    views = ViewGeometry(1.0, 5.0, 100.0), ViewGeometry(0.0, 5.0, 113.2)
    sizes = {picture: len(data) for picture, data in made.items() if picture != FITS}
    return sizes | {"as it came": len(came.as_it_came), "derotated": len(derotated_picture(made[FITS], *views))}


def test_the_pictures_of_a_sharp_day_keep_to_their_share() -> None:
    stream = io.BytesIO()
    Image.fromarray(quantise(draw_disc(SHARP), 8)).save(stream, format="JPEG", quality=95)
    sizes = day_bytes(stream.getvalue(), "drawn.jpg")
    print({name: f"{size / 1e3:.1f} kB" for name, size in sizes.items()})
    assert sizes["flat"] > 17_000, "the scene is as sharp as real ones"
    assert sum(sizes.values()) < MOST_BYTES

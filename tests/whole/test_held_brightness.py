"""An original that was just studied is not decoded again to be turned north up."""

import io

import numpy as np
from PIL import Image
from scenes.discs import Scene, draw_disc, quantise

from archive.stages.held_brightness import brightness_of, hold_brightness
from archive.stages.north_up_disc import Turned, north_up_disc
from archive.stages.study import study


def drawn_jpeg(seed: int) -> bytes:
    scene = Scene(width_px=400, height_px=380, x_px=201.3, y_px=190.2, radius_px=150.0, seed=seed, tint=(1.0, 0.8, 0.5))
    stream = io.BytesIO()
    Image.fromarray(quantise(draw_disc(scene), 8)).save(stream, format="JPEG", quality=92)
    return stream.getvalue()


def test_held_or_decoded_the_disc_has_the_same_bytes():
    original = drawn_jpeg(1)
    disc = study(drawn_jpeg(1), "drawn.jpg").measured.disc
    turned = Turned(disc, 30.0, False)
    assert brightness_of(original, "drawn.jpg") is brightness_of(original, "drawn.jpg")  # held, not decoded twice
    held = north_up_disc(original, "drawn.jpg", turned)
    for seed in (2, 3, 4, 5):
        hold_brightness(bytes([seed]), np.zeros((4000, 4000), dtype=np.float32))
    assert brightness_of(original, "drawn.jpg") is not brightness_of(original, "drawn.jpg")
    assert north_up_disc(original, "drawn.jpg", turned) == held

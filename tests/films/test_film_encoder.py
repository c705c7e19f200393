"""The MP4 as other programs see it: a decoder's report, its pixels, and the boxes of the file.

Authorities: ISO/IEC 14496-12 (boxes of an MP4 file), ITU-T H.273 (colour code points: 1 = BT.709), and the
bundled decoder, which reads the film back.
"""

import re
import subprocess

import imageio_ffmpeg
import numpy as np
import pytest

from archive.disk import Folder
from archive.errors import ArchiveError
from archive.films.encoder import Coding, Loop, encode_mp4, has_av1, replacing, write_mp4

DECODER = imageio_ffmpeg.get_ffmpeg_exe()


def moving_frames(count=12, *, height=64, width=96, tint=(255, 170, 60)):
    """A bright square that wanders over a flat tint."""
    for n in range(count):
        frame = np.empty((height, width, 3), np.uint8)
        frame[:] = tint
        frame[8:20, 4 + n : 16 + n] = 240
        yield frame


def written(path, frames=None, *, count=12, fps=25):
    write_mp4(path, frames or moving_frames(count), frames_per_second=fps, frames_total=count)
    return path


def report(path):
    """What the decoder says of the file, its exit status aside (it wants an output)."""
    return subprocess.run([DECODER, "-i", path], capture_output=True, text=True, check=False).stderr


def decoded(path, width, height):
    filters = "scale=in_color_matrix=bt709:in_range=tv:out_range=pc:flags=accurate_rnd+full_chroma_int,format=rgb24"
    command = [DECODER, "-loglevel", "error", "-i", path, "-vf", filters, "-f", "rawvideo", "pipe:1"]
    raw = subprocess.run(command, capture_output=True, check=True).stdout
    return np.frombuffer(raw, np.uint8).reshape(-1, height, width, 3).astype(int)


def boxes(data):
    """The (type, body) of each box in `data` (ISO/IEC 14496-12, 4.2)."""
    at = 0
    while at < len(data):
        size, kind = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8].decode("ascii")
        assert size >= 8
        yield kind, data[at + 8 : at + size]
        at += size


def test_film_is_h264_in_the_form_that_every_browser_plays(tmp_path):
    said = report(written(tmp_path / "film.mp4"))
    stream = next(line for line in said.splitlines() if "Video:" in line)
    assert "Video: h264" in stream
    assert "yuv420p(tv, bt709, progressive)" in stream
    assert " 96x64," in stream
    assert " 25 fps," in stream


def test_every_frame_arrives(tmp_path):
    frames = decoded(written(tmp_path / "film.mp4", count=31), 96, 64)
    assert len(frames) == 31
    # The square's left edge has wandered one pixel a frame: none lost, none doubled, order kept.
    edges = [int(np.argmax(frame[14, :, 2] > 150)) for frame in frames]
    assert edges == list(range(4, 35))


def test_index_stands_in_front_of_the_pictures(tmp_path):
    kinds = [kind for kind, _ in boxes(written(tmp_path / "film.mp4").read_bytes())]
    assert kinds[0] == "ftyp"
    assert kinds.index("moov") < kinds.index("mdat")


def test_colour_is_tagged_bt709_limited_range_in_the_container_too(tmp_path):
    data = written(tmp_path / "film.mp4").read_bytes()
    # Colour information box: 'nclx', primaries, transfer, matrix (16 bit each), full-range flag (1 bit).
    assert data.count(b"colrnclx") == 1
    body = data[data.index(b"colrnclx") + 8 :]
    assert body[:7] == bytes([0, 1, 0, 1, 0, 1, 0])


@pytest.mark.parametrize("tint", [(255, 170, 60), (30, 200, 90), (128, 128, 128), (0, 0, 0), (255, 255, 255)])
def test_a_flat_patch_keeps_its_colour_within_two_levels(tmp_path, tint):
    frames = decoded(written(tmp_path / "film.mp4", moving_frames(tint=tint)), 96, 64)
    assert abs(frames[:, 32:56, 60:90] - np.array(tint)).max() <= 2


def test_same_frames_give_the_same_bytes(tmp_path):
    first = written(tmp_path / "one.mp4").read_bytes()
    assert written(tmp_path / "two.mp4").read_bytes() == first


def test_film_names_no_program_version_and_no_date(tmp_path):
    data = written(tmp_path / "film.mp4").read_bytes()
    assert b"x264 - core" not in data
    assert not re.search(rb"Lav[cf]\d", data)
    moov = dict(boxes(data))["moov"]
    # Movie header box, version 0: version and flags (4), creation time (4), modification time (4).
    assert dict(boxes(moov))["mvhd"][:12] == bytes(12)


def test_odd_sides_are_padded_to_even_ones(tmp_path):
    path = written(tmp_path / "film.mp4", moving_frames(height=65, width=97))
    assert " 98x66," in report(path)
    assert decoded(path, 98, 66)[0, 65, 97].max() < 60  # black, its edge softened by the coarser colour


def test_key_frames_come_where_they_are_asked_for(tmp_path):
    path = tmp_path / "film.mp4"
    encode_mp4(path, moving_frames(40), frames_per_second=25, frames_total=40, coding=Coding(16))
    command = [DECODER, "-skip_frame", "nokey", "-i", path, "-vf", "showinfo", "-fps_mode", "passthrough"]
    shown = subprocess.run([*command, "-f", "null", "-"], capture_output=True, text=True, check=True).stderr
    times = [float(time) for time in re.findall(r"pts_time:([\d.]+)", shown)]
    assert times == pytest.approx([0, 16 / 25, 32 / 25])


def test_progress_counts_every_frame(tmp_path):
    seen = []
    write_mp4(
        tmp_path / "film.mp4",
        moving_frames(5),
        frames_per_second=5,
        frames_total=5,
        on_progress=lambda done, total: seen.append((done, total)),
    )
    assert seen == [(n, 5) for n in range(1, 6)]


def failing_frames():
    yield from moving_frames(5)
    raise KeyboardInterrupt


def test_an_interrupted_film_leaves_the_old_one_and_nothing_else(tmp_path):
    path = tmp_path / "film.mp4"
    path.write_bytes(b"the film of yesterday")
    with pytest.raises(KeyboardInterrupt):
        written(path, failing_frames())
    assert path.read_bytes() == b"the film of yesterday"
    assert list(tmp_path.iterdir()) == [path]


def test_a_failing_encoder_is_one_clear_line_and_leaves_the_old_film(tmp_path):
    path = tmp_path / "film.mp4"
    path.write_bytes(b"the film of yesterday")
    frames = (np.zeros((64, 20000, 3), np.uint8) for _ in range(12))  # beyond what the coder takes
    with pytest.raises(ArchiveError, match=r"^film\.mp4: film not written; encoder message: .") as refused:
        written(path, frames)
    assert "\n" not in str(refused.value)
    assert path.read_bytes() == b"the film of yesterday"
    assert list(tmp_path.iterdir()) == [path]


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(ArchiveError, match="No such file"):
        written(tmp_path / "nowhere" / "film.mp4")


@pytest.mark.parametrize("name", ["-vf.mp4", "a:b.mp4", "día %03d 'n'.mp4"])
def test_a_film_may_have_an_awkward_name(tmp_path, name):
    assert written(tmp_path / name).stat().st_size > 500
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("told", [11, 13])
def test_a_wrong_number_of_frames_is_refused(tmp_path, told):
    with pytest.raises(ValueError, match=f"12 frames, but frames_total is {told}"):
        write_mp4(tmp_path / "film.mp4", moving_frames(), frames_per_second=25, frames_total=told)
    assert not list(tmp_path.iterdir())


def test_frames_of_another_shape_or_kind_are_refused(tmp_path):
    good = next(moving_frames())
    for bad in (good[:32], good.astype(np.float32), good[:, :, 0]):
        with pytest.raises(ValueError, match="frame 1 is"):
            write_mp4(tmp_path / "film.mp4", [good, bad], frames_per_second=25, frames_total=2)
    with pytest.raises(ValueError, match="one frame"):
        write_mp4(tmp_path / "film.mp4", [], frames_per_second=25, frames_total=0)


def test_a_file_is_replaced_only_when_whole(tmp_path):
    path = tmp_path / "poster.jpg"
    path.write_bytes(b"old")
    with pytest.raises(ZeroDivisionError), replacing(Folder(tmp_path), "poster.jpg") as part:
        part.write_bytes(bytes(1 // 0))
    assert path.read_bytes() == b"old"
    with replacing(Folder(tmp_path), "poster.jpg") as part:
        part.write_bytes(b"new")
        assert path.read_bytes() == b"old"
    assert path.read_bytes() == b"new"
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_put_in_the_place_of_an_unfinished_film_leads_nowhere(tmp_path):
    other = tmp_path / "other"
    other.write_bytes(b"another's")
    (tmp_path / ".film.mp4.northlimb-part").symlink_to(other)
    assert written(tmp_path / "film.mp4").stat().st_size > 500
    assert other.read_bytes() == b"another's"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["film.mp4", "other"]


needs_av1 = pytest.mark.skipif(not has_av1(), reason="this encoder writes no AV1")


@needs_av1
def test_the_av1_version_is_the_same_film_with_the_same_tags(tmp_path):
    film, av1 = tmp_path / "film.mp4", tmp_path / "film-av1.mp4"
    frames = list(moving_frames(30))
    encode_mp4(film, frames, frames_per_second=25, frames_total=30, av1=av1)
    stream = next(line for line in report(av1).splitlines() if "Video:" in line)
    assert "Video: av1" in stream
    assert "yuv420p(tv, bt709, progressive)" in stream
    kinds = [kind for kind, _ in boxes(av1.read_bytes())]
    assert kinds.index("moov") < kinds.index("mdat")
    shown = decoded(av1, 96, 64)
    assert len(shown) == 30
    assert abs(shown[:, 32:56, 60:90] - np.array((255, 170, 60))).max() <= 3
    assert int(np.argmax(shown[20][14, :, 2] > 150)) == 24


@needs_av1
def test_the_av1_version_names_no_encoder_and_is_the_same_each_time(tmp_path):
    for name in ("one", "two"):
        encode_mp4(
            tmp_path / f"{name}.mp4",
            moving_frames(),
            frames_per_second=25,
            frames_total=12,
            av1=tmp_path / f"{name}-av1.mp4",
        )
    data = (tmp_path / "one-av1.mp4").read_bytes()
    assert data == (tmp_path / "two-av1.mp4").read_bytes()
    assert not re.search(rb"Lav[cf]\d|SVT", data)


def test_a_loop_takes_every_other_frame_of_the_end(tmp_path):
    film, loop = tmp_path / "film.mp4", tmp_path / "loop.mp4"
    small = Loop(loop, width_px=32, height_px=32, first_frame=11, every=2, rate="-crf 10")
    encode_mp4(film, moving_frames(31, height=64, width=64), frames_per_second=25, frames_total=31, loop=small)
    shown = decoded(loop, 32, 32)
    assert len(shown) == 10
    assert " 25 fps," in report(loop)
    # The square's left edge, at frame n in column 4 + n, halved.
    edges = [int(np.argmax(frame[7, :, 2] > 150)) for frame in shown]
    assert edges == pytest.approx([(4 + n) / 2 for n in range(11, 31, 2)], abs=0.6)

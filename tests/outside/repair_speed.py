"""How long the repair of a hundred candidates of one frame takes, beside its detection and beside inpainting the same mask.

    tests/outside/.venv/bin/python tests/outside/repair_speed.py SCANS [--place 3] [--rounds 3]

SCANS is a folder of scans of one shot; `besom-proof age CLIP --to DIR --size 2048x1556` makes one (its `scans`). The surest
candidates of the frame at that place, about a hundred, are accepted. Each round times whole programs, reading and
start-up counted, in turn: `besom detect` and `besom repair` of that frame alone, and OpenCV's Telea of the mask grown by two pixels
(three channels, pictures in memory already). Programs as in `road`; measure release builds on a quiet machine.
"""

import argparse
import shutil
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np

import references
import road

CANDIDATES = 100


def timed(work):
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def accept_surest(reel, number, scratch):
    """Accepts the surest candidates of a frame: a hundred at most, or all of 0.99; returns how many those are."""
    for confidence in np.linspace(0.05, 0.99, 95).round(3):
        rule = ("accept", "--include-at-risk", "--min-confidence", confidence, "--frames", f"{number}-{number}")
        shutil.rmtree(scratch, ignore_errors=True)
        if reel.copy(scratch).decide(*rule)["changed"] <= CANDIDATES:
            break
    return reel.decide(*rule)["changed"]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("scans", type=Path)
    parser.add_argument("--place", type=int, default=3)
    parser.add_argument("--rounds", type=int, default=3)
    options = parser.parse_args()
    name = sorted(p.name for p in options.scans.iterdir())[options.place]
    number = road.number_of(name)
    only = ("--frames", f"{number}-{number}")
    with tempfile.TemporaryDirectory() as home:
        home = Path(home)
        reel = road.Road(options.scans, home / "reel.besom")
        fresh = reel.copy(home / "fresh.besom")
        reel.detect()
        count = accept_surest(reel, number, home / "try.besom")
        reel.masks(home / "masks", "accepted")
        mask = references.read_oiio(home / "masks" / Path(name).with_suffix(".png").name)[..., 0]
        picture = references.read_oiio(options.scans / name).astype(np.uint16)
        grown = cv2.dilate(mask, np.ones((5, 5), np.uint8))
        planes = [np.ascontiguousarray(picture[..., channel]) for channel in range(picture.shape[2])]
        print(f"frame {number}, {picture.shape[1]}x{picture.shape[0]}: {count} candidates, {int((mask > 0).sum())} pixels")
        for _ in range(options.rounds):
            shutil.rmtree(home / "again.besom", ignore_errors=True)
            again = fresh.copy(home / "again.besom")
            detect = timed(lambda: road.besom("detect", again.reel, *only))
            repair = timed(lambda: road.besom("repair", reel.reel, "--to", home / "out", *only))
            telea = timed(lambda: [cv2.inpaint(plane, grown, 5, cv2.INPAINT_TELEA) for plane in planes])
            print(f"detect {detect:.2f} s, repair {repair:.2f} s ({repair / detect:.2f}), Telea {telea:.2f} s ({repair / telea:.1f})")


if __name__ == "__main__":
    main()

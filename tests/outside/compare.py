"""Besom beside the published methods on any folder of clips.

    tests/outside/.venv/bin/python tests/outside/compare.py CLIPS [--work DIR] [--frames 12] [--first 0]
        [--size 2048x1556] [--weights light,heavy] [--jobs 2] [--only NAME,NAME] [--quick] [--fills]

CLIPS is a folder of films that ffmpeg reads (mp4, y4m, mov, mkv, avi) or one such file. Each is aged by `besom-proof age` once
for each weight; the aged frames are kept in the work folder and used again by the next run. Prints one table a clip and weight
and one of means. Build first: `cargo build --release -p besom -p besom-proof`, and name the programs with BESOM_BIN and
BESOM_PROOF_BIN, else the development build is used. Seconds are only fair with `--jobs 1`.

    tests/outside/.venv/bin/python tests/outside/compare.py CLIPS --table [--only ...] [--first-look FILE --confidence FILE --company FILE]

prints the whole table of figures that the detector is judged by instead (see `table`); folders of PNG frames count as clips then.
"""

import argparse
import hashlib
import json
import os
import shutil
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2

import clips
import evaluate
import peers
import road
import table

SWEEP = (0.1, 0.2, 0.3, 0.5, 0.7, 0.9)
FILMS = {".mp4", ".y4m", ".mov", ".mkv", ".avi"}


def arguments():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("clips", type=Path)
    parser.add_argument("--work", type=Path, default=Path(__file__).parent / "work")
    parser.add_argument("--frames", type=int, default=12)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--size", help="WIDTHxHEIGHT; the clip's own where left out")
    parser.add_argument("--weights", default="light,heavy")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--only", help="names of clips without their endings, comma between")
    parser.add_argument("--table", action="store_true", help="the whole table of the detector's figures")
    parser.add_argument("--first-look", type=Path, help="with --table: this ensemble of the first look instead of the one that ships with Besom")
    parser.add_argument("--confidence", type=Path, help="the same for the confidence; all three go together")
    parser.add_argument("--company", type=Path, help="the same for the judgement among the other marks")
    parser.add_argument("--quick", action="store_true", help="Besom and SDIp with the median fill alone")
    parser.add_argument("--fills", action="store_true", help="only the fills, on the true masks")
    return parser.parse_args()


def one(job):
    """One clip at one weight; returns its title, its rows and whether they belong to the mean."""
    clip, weight, options = job
    size = tuple(map(int, options.size.split("x"))) if options.size else None
    key = json.dumps([str(clip), clip.stat().st_size, options.frames, options.first, options.size, weight, road.age_recipe()])
    folder = options.work / f"{clip.stem}-{weight}-{hashlib.sha256(key.encode()).hexdigest()[:10]}"
    if not (folder / "done").is_file():
        shutil.rmtree(folder, ignore_errors=True)
    frames = clips.decode(clip, options.frames, options.first, size)
    seed = int(hashlib.sha256(clip.stem.encode()).hexdigest()[:6], 16)
    aged = evaluate.age(frames, folder, weight, seed)
    threads = max(1, (os.cpu_count() or 2) // options.jobs)
    cv2.setNumThreads(threads)
    title = f"{clip.stem}, {weight}, {aged.dirty[0].shape[1]}x{aged.dirty[0].shape[0]}, {len(aged.dirty)} frames"
    if options.fills:
        return title, [evaluate.row(r) for r in all_fills(peers.Neighbours(aged.dirty), aged, options)]
    with tempfile.TemporaryDirectory(dir=options.work) as scratch:
        results = evaluate.besom(aged, scratch, threads, SWEEP)
    seconds = evaluate.timed_peer(aged.dirty, threads)
    neighbours = peers.Neighbours(aged.dirty)
    for result in evaluate.end_to_end(neighbours, aged):
        result.seconds = seconds
        results.append(result)
    if not options.quick:
        results += evaluate.detectors(neighbours, aged.truth)
        results += all_fills(neighbours, aged, options)
    return title, [evaluate.row(r) for r in results]


def all_fills(neighbours, aged, options):
    """Besom's fill of the true masks and the peers'."""
    with tempfile.TemporaryDirectory(dir=options.work) as scratch:
        return [evaluate.besom_fills(aged, scratch), *evaluate.fills(neighbours, aged)]


def main():
    options = arguments()
    found = [options.clips] if options.clips.is_file() else sorted(p for p in options.clips.iterdir() if p.suffix in FILMS or (options.table and p.is_dir()))
    if options.only:
        found = [p for p in found if p.stem in options.only.split(",")]
    if not found:
        sys.exit(f"compare: no film of a kind that ffmpeg reads in {options.clips}")
    options.work.mkdir(parents=True, exist_ok=True)
    if options.table:
        ensembles = (("--first-look", options.first_look), ("--confidence", options.confidence), ("--company", options.company))
        return table.whole(found, options, [part for flag, path in ensembles if path for part in (flag, path)])
    jobs = [(clip, weight, options) for clip in found for weight in options.weights.split(",")]
    gathered = []
    with ProcessPoolExecutor(options.jobs) as pool:
        for title, rows in pool.map(one, jobs):
            print(evaluate.table(rows, f"\n{title}"), flush=True)
            gathered.append(rows)
    print(evaluate.table(evaluate.mean_rows(gathered), f"\nmean of {len(gathered)}"))


if __name__ == "__main__":
    main()

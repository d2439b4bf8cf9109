"""The whole table of figures: `besom-proof figures` on clean clips, and the published rules on the very same aged frames.

`besom-proof` ages, detects and counts, and leaves frames, truth and its curve of recall against false objects behind. The rules
of `peers` (DIS flow, thresholds swept) then look at the same frames, counted by `scores`; at the recall of each of them the
false objects of both are set against each other. The demo reel is left out of that: its cuts would be unfair to rules that know
of none.
"""

import csv
import multiprocessing
import shutil
import subprocess
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np

import clips
import evaluate
import peers
import references
import road

RULES = ("SDIp", "ROD")
CUTS_FRAMES = 250


def frames_of(clip, count, first, folder):
    """A folder of clean PNG frames: the clip itself where it is one, else the film decoded."""
    if clip.is_dir():
        return clip
    target = folder / clip.stem
    shutil.rmtree(target, ignore_errors=True)
    for n, frame in enumerate(clips.decode(clip, count, first)):
        references.write(target / f"f_{n:04d}.png", frame)
    return target


def besom(folders, work, frames, more=()):
    """Runs `besom-proof figures`, which prints its part of the table, and returns where it left its counts."""
    kept = work / "figures"
    shutil.rmtree(kept, ignore_errors=True)
    cuts = frames_of(clips.bundled("bikes.mp4"), CUTS_FRAMES, 0, work / "cuts")
    line = [road.program("BESOM_PROOF_BIN", "besom-proof"), "figures", *folders, "--frames", frames, "--to", kept, "--scans", "--cuts", cuts]
    subprocess.run([str(part) for part in (*line, *more)], check=True, stdin=subprocess.DEVNULL)
    return kept


def curve(kept, names):
    """[(sensitivity, mean recall of dust, mean false objects a frame and megapixel)] over the aged sets of the named clips."""
    gathered = defaultdict(list)
    with (kept / "curves.csv").open() as file:
        for line in csv.DictReader(file):
            if line["clip"] in names and int(line["dust_all"]):
                recall = int(line["dust_found"]) / int(line["dust_all"])
                gathered[float(line["sensitivity"])].append((recall, int(line["false"]) * 1e6 / int(line["pixels"])))
    return [(at, *np.mean(values, axis=0)) for at, values in sorted(gathered.items())]


def swept(folder):
    """{(rule, threshold): Detection} of one aged set that `besom-proof figures` left behind."""
    cv2.setNumThreads(1)
    dirty, truth = ([references.read_oiio(path) for path in sorted((folder / part).iterdir())] for part in ("scans", "truth"))
    truth = [label[..., 0] for label in truth]
    return evaluate.swept(peers.Neighbours(dirty), truth, RULES)


def published(kept, names, jobs):
    """{(rule, threshold): (recall of dust, precision, false objects a frame and megapixel)}, means over the aged sets."""
    folders = [kept / f"{name}-{weight}" for name in names for weight in ("light", "heavy")]
    if jobs == 1:
        sets = [swept(folder) for folder in folders]
    else:
        # A fork of a process whose libraries have begun threads may wait for ever on their locks.
        with ProcessPoolExecutor(jobs, mp_context=multiprocessing.get_context("spawn")) as pool:
            sets = list(pool.map(swept, folders))
    mean = lambda key, figure: float(np.mean([v for v in (figure(s[key]) for s in sets) if v is not None]))
    return {key: (mean(key, lambda d: d.recall()), mean(key, lambda d: d.precision()), mean(key, lambda d: d.false_rate())) for key in sets[0]}


def false_at(points, recall):
    """Besom's false objects at a recall, between two sensitivities in proportion; None where it never finds so many."""
    ordered = sorted((r, f) for _, r, f in points)
    if recall > ordered[-1][0]:
        return None
    return float(np.interp(recall, [r for r, _ in ordered], [f for _, f in ordered]))


def beside(theirs, points):
    """The rules at every threshold with Besom's false objects at the same recall; a star marks the best by F1."""
    best = max(theirs, key=lambda key: 2 * theirs[key][0] * theirs[key][1] / max(theirs[key][0] + theirs[key][1], 1e-9))
    lines = ["\npublished rule      dust  precision  false/f/Mpx   Besom at the same recall   share"]
    for key, (recall, precision, false) in theirs.items():
        ours = false_at(points, recall)
        text = "never finds so many      -" if ours is None else f"{ours:24.2f} {ours / false:6.2f}" if false else f"{ours:24.2f}      -"
        star = " *" if key == best else ""
        lines.append(f"{key[0]:5} {key[1]:4}{star:2}       {recall:5.3f} {precision:10.3f} {false:12.2f}   {text}")
    lines.append("* best by F1; the share is to be at most 0.10 there")
    lines.append("Besom   sensitivity  dust  false/f/Mpx")
    lines += [f"        {at:11.3f} {recall:5.3f} {false:12.2f}" for at, recall, false in points]
    return "\n".join(lines)


def whole(found, options, more=()):
    """Prints everything."""
    folders = [frames_of(clip, options.frames, options.first, options.work / "frames") for clip in found]
    kept = besom(folders, options.work, options.frames, more)
    names = [Path(folder).name for folder in folders]
    print(beside(published(kept, names, options.jobs), curve(kept, names)))

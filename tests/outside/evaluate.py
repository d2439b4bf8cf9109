"""One aged clip, the whole way: Besom's commands on it, the peers on it, and the scores of both from one set of definitions."""

import time
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

import peers
import references
import road
import scores

THRESHOLDS = (30, 40, 50, 60, 80, 100, 130)
END_TO_END_THRESHOLDS = (50, 80)
MARGIN = 2


@dataclass
class Aged:
    """A clip with known dirt. Frames are 10-bit codes, labels as in `scores`."""

    places: road.AgedFolder
    names: list
    dirty: list
    clean: list
    truth: list


def age(clean_frames, folder, weight, seed):
    """Writes clean 8-bit PNG frames, has `besom-proof age` dirty them, and reads the result back through OpenImageIO."""
    folder = Path(folder)
    if not (folder / "done").is_file():
        for n, frame in enumerate(clean_frames):
            references.write(folder / "source" / f"clip.{n + 1:04d}.png", frame)
        road.proof_age(folder / "source", folder / "aged", weight, seed)
        (folder / "done").write_text("aged\n")
    return load(folder / "aged")


def load(folder):
    """An aged clip from its folder."""
    places = road.AgedFolder(Path(folder))
    read = lambda paths: [references.read_oiio(path) for path in paths]
    scans, clean, truth = (sorted(place.iterdir()) for place in (places.scans, places.clean, places.truth))
    return Aged(places, [path.name for path in scans], read(scans), read(clean), [t[..., 0] for t in read(truth)])


@dataclass
class Result:
    """What one method did to one clip."""

    name: str
    detection: scores.Detection | None = None
    repair: scores.Repair | None = None
    seconds: float | None = None


def besom(aged, folder, threads=2, sweep=()):
    """`start`, `detect`, accept by each shot's sensitivity, `masks`, `repair`, `verify`; scored.

    For each confidence of `sweep` the same candidates are decided once more by that confidence instead.
    """
    folder = Path(folder)
    begun = time.perf_counter()
    reel = road.Road(aged.places.scans, folder / "reel.besom")
    reel.detect("--threads", threads)
    seconds = time.perf_counter() - begun
    copies = {p: reel.copy(folder / f"reel-{p}.besom") for p in sweep}
    results = [decided(aged, reel, folder / "default", "Besom", [])]
    results[0].seconds = seconds
    for p, copy in copies.items():
        results.append(decided(aged, copy, folder / f"at-{p}", f"Besom at {p}", ["--min-confidence", p]))
    return results


def decided(aged, reel, folder, name, lowest):
    """Accepts by rule, repairs, verifies and scores."""
    reel.decide("accept", "--include-at-risk", *lowest)
    reel.masks(folder / "candidates", "candidates", *lowest)
    result = repaired(aged, reel, folder / "repaired", name)
    result.detection, result.seconds = scores.Detection(), None
    for file, truth in zip(aged.names, aged.truth, strict=True):
        found = references.read_oiio(folder / "candidates" / Path(file).with_suffix(".png").name)[..., 0] > 0
        result.detection.add(truth, found)
    return result


def repaired(aged, reel, to, name):
    """Repairs what is accepted, verifies it and scores the fills; the seconds are the repair's."""
    begun = time.perf_counter()
    reel.repair(to)
    result = Result(name, None, scores.Repair(), time.perf_counter() - begun)
    reel.verify(to)
    for file, truth, clean in zip(aged.names, aged.truth, aged.clean, strict=True):
        changeable = reel.repaired_pixels(road.number_of(file), truth.shape)
        result.repair.add(truth, clean, references.read_oiio(to / file), changeable)
    return result


def besom_fills(aged, folder):
    """Repair alone: the true masks are marked by hand, dust and hairs first, then the line scratches, and repaired; scored."""
    folder = Path(folder)
    reel = road.Road(aged.places.scans, folder / "marked.besom")
    for name, kinds in (("spots", scores.DUST | scores.HAIR), ("lines", scores.LINE)):
        for file, truth in zip(aged.names, aged.truth, strict=True):
            mask = ((truth & kinds) > 0).astype(np.uint8) * 255
            references.write(folder / name / Path(file).with_suffix(".png").name, np.dstack([mask] * 3))
        reel.mark(folder / name)
    return repaired(aged, reel, folder / "repaired", "Besom's fill")


def timed_peer(dirty, threads=2):
    """Seconds for DIS both ways and SDIp on frames already in memory, everything else that Besom does left out."""
    cv2.setNumThreads(threads)
    begun = time.perf_counter()
    peers.Neighbours(dirty).detect("SDIp", [50])
    return time.perf_counter() - begun


def swept(neighbours, truth, rules):
    """{(rule, threshold): Detection} for some of the published detectors at every threshold."""
    near = [scores.near_truth(label) for label in truth]
    found = {}
    for rule in rules:
        for threshold, masks in neighbours.detect(rule, THRESHOLDS).items():
            found[rule, threshold] = scores.Detection()
            for label, mask, beside_it in zip(truth, masks, near, strict=True):
                found[rule, threshold].add(label, mask, beside_it)
    return found


def detectors(neighbours, truth):
    """Every published detector at every threshold."""
    found = swept(neighbours, truth, peers.DETECTORS)
    return [Result(f"{rule} {threshold}", detection) for (rule, threshold), detection in found.items()]


def fills(neighbours, aged):
    """Repair alone: every published fill on the true masks, grown a little because the edges of dirt are soft."""
    results = []
    for how in peers.FILLS:
        result = Result(how, None, scores.Repair())
        for n, (truth, clean) in enumerate(zip(aged.truth, aged.clean, strict=True)):
            mask = peers.grown(truth > 0, MARGIN)
            result.repair.add(truth, clean, neighbours.fill(how, n, mask), mask)
        results.append(result)
    return results


def end_to_end(neighbours, aged, how="median", thresholds=END_TO_END_THRESHOLDS):
    """SDIp's own masks, grown, filled from the compensated neighbours."""
    results = []
    for threshold, masks in neighbours.detect("SDIp", thresholds).items():
        result = Result(f"SDIp {threshold} + {how}", scores.Detection(), scores.Repair())
        for n, (truth, clean, mask) in enumerate(zip(aged.truth, aged.clean, masks, strict=True)):
            result.detection.add(truth, mask)
            wide = peers.grown(mask, MARGIN)
            result.repair.add(truth, clean, neighbours.fill(how, n, wide), wide)
        results.append(result)
    return results


HEADINGS = ("method", "dust", "dust>=30", "hair", "line", "precision", "false/f/MP", "PSNR dB", "line dB", "SSIM", "grain", "steady", "seconds")


def row(result):
    """One line of the table; a dash where a method has no such figure."""
    seen, done = result.detection, result.repair
    cells = [result.name]
    cells += [seen and seen.recall(kind) for kind in ("dust", "dust of 30", "hair", "line")]
    cells += [seen and seen.precision(), seen and seen.false_rate()]
    cells += [done and done.psnr(), done and done.line_psnr(), done and done.ssim(), done and done.grain_ratio()]
    cells += [done and done.steadiness(), result.seconds]
    return cells


def table(rows, title):
    """Rows of cells as text, two decimals."""
    texts = [list(HEADINGS)] + [["-" if c is None else c if isinstance(c, str) else f"{c:.2f}" for c in r] for r in rows]
    widths = [max(len(line[i]) for line in texts) for i in range(len(HEADINGS))]
    lines = ["  ".join(cell.ljust(w) if i == 0 else cell.rjust(w) for i, (cell, w) in enumerate(zip(line, widths))) for line in texts]
    return "\n".join([title, *lines])


def mean_rows(tables):
    """Mean over clips, method by method; a figure that a clip does not have is left out of its mean."""
    means = []
    for same in zip(*tables, strict=True):
        cells = [same[0][0]]
        for values in list(zip(*same))[1:]:
            known = [v for v in values if v is not None]
            cells.append(float(np.mean(known)) if known else None)
        means.append(cells)
    return means

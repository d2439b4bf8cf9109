"""The scores, worked out in numpy and SciPy from their definitions, apart from besom-proof's own.

Truth is a picture of label bits a frame: 1 dust, 2 hair, 4 line scratch, added where they cross. Objects are 8-connected components of four pixels or
more. A true object is found when 30 % of its pixels are covered; a candidate is false when less than 10 % of its pixels lie
within 3 pixels of any truth. PSNR is over the truth pixels of dust and hair, peak 1023.
A mask's components stand for the candidates, for Besom and the peers alike.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage
from skimage.metrics import structural_similarity

EIGHT = np.ones((3, 3), bool)
PEAK = 1023.0
DUST, HAIR, LINE = 1, 2, 4


def objects(mask):
    """Label picture and count of the components that count as objects."""
    labels, count = ndimage.label(mask, EIGHT)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    keep = sizes >= 4
    keep[0] = False
    order = np.cumsum(keep) * keep
    return order[labels], int(keep.sum())


def near_truth(truth):
    """The pixels within 3 pixels of any truth."""
    return ndimage.distance_transform_edt(truth == 0) <= 3 if (truth > 0).any() else np.zeros(truth.shape, bool)


@dataclass
class Detection:
    """Counts over a clip; rates are asked for at the end so that clips can be added up or averaged."""

    true: dict = field(default_factory=lambda: {"dust": 0, "dust of 30": 0, "hair": 0, "line": 0})
    found: dict = field(default_factory=lambda: {"dust": 0, "dust of 30": 0, "hair": 0, "line": 0})
    candidates: int = 0
    false: int = 0
    megapixels: float = 0.0

    def add(self, truth, mask, near=None):
        """One frame: its label picture and what a detector found; `near` is `near_truth(truth)` where it is known already."""
        self.megapixels += truth.size / 1e6
        for kind, name in ((DUST, "dust"), (HAIR, "hair"), (LINE, "line")):
            labels, count = objects((truth & kind) > 0)
            if count == 0:
                continue
            sizes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
            covered = np.bincount(labels[mask], minlength=count + 1)[1:]
            hit = covered >= 0.3 * sizes
            self.true[name] += count
            self.found[name] += int(hit.sum())
            if kind == DUST:
                self.true["dust of 30"] += int((sizes >= 30).sum())
                self.found["dust of 30"] += int((hit & (sizes >= 30)).sum())
        labels, count = objects(mask)
        near = near_truth(truth) if near is None else near
        sizes = np.bincount(labels.ravel(), minlength=count + 1)[1:]
        beside = np.bincount(labels[near], minlength=count + 1)[1:]
        self.candidates += count
        self.false += int((beside < 0.1 * sizes).sum())

    def recall(self, kind="dust"):
        """Share of true objects of a kind that were found; None where there were none."""
        return self.found[kind] / self.true[kind] if self.true[kind] else None

    def precision(self):
        """1 - false / all; None where nothing was found."""
        return 1 - self.false / self.candidates if self.candidates else None

    def false_rate(self):
        """False objects a frame and megapixel."""
        return self.false / self.megapixels


class Repair:
    """Squared errors in the truth mask, similarity round it and grain inside it, gathered over a clip."""

    def __init__(self):
        self.squares, self.samples = 0.0, 0
        self.line_squares, self.line_samples = 0.0, 0
        self.similar, self.inside, self.outside = [], [], []
        self.frames = []

    def add(self, truth, clean, repaired, repairs):
        """One frame in codes, in the clip's order; `repairs` marks the pixels that a repair was allowed to change."""
        mask = (truth & (DUST | HAIR)) > 0
        line = ((truth & LINE) > 0) & ~mask
        apart = clean.astype(np.float64) - repaired.astype(np.float64)
        self.squares += float((apart[mask] ** 2).sum())
        self.samples += apart[mask].size
        self.line_squares += float((apart[line] ** 2).sum())
        self.line_samples += apart[line].size
        self.frames.append((mask, clean.mean(-1, dtype=np.float32), repaired.mean(-1, dtype=np.float32)))
        self._similarity(mask, clean, repaired)
        if repairs.any():
            self._grain(repairs, repaired)

    def _similarity(self, mask, clean, repaired):
        """scikit-image's SSIM (Gaussian windows) on the mean of the channels, boxes grown by 8 pixels."""
        clean, repaired = (picture.mean(-1, dtype=np.float64) for picture in (clean, repaired))
        labels, _ = objects(mask)
        for rows, columns in ndimage.find_objects(labels):
            box = tuple(slice(max(side.start - 8, 0), side.stop + 8) for side in (rows, columns))
            if min(clean[box].shape) < 11:
                continue
            self.similar.append(structural_similarity(
                clean[box], repaired[box], gaussian_weights=True, sigma=1.5, use_sample_covariance=False, data_range=PEAK))

    def _grain(self, repairs, repaired):
        """High-pass residue inside the repairs and on a rim of 3 to 8 pixels outside them; dirt left on the rim counts."""
        away = ndimage.distance_transform_edt(~repairs)
        rim = (away >= 3) & (away <= 8)
        for channel in range(repaired.shape[2]):
            plane = repaired[..., channel].astype(np.float64)
            residue = plane - ndimage.gaussian_filter(plane, 1.5, mode="nearest", radius=5)
            self.inside.append(residue[repairs])
            self.outside.append(residue[rim])

    def psnr(self):
        """In decibels over the truth pixels of dust and hair."""
        return 10 * np.log10(PEAK**2 / (self.squares / self.samples))

    def line_psnr(self):
        """The same over the pixels of line scratches that neither dust nor hair covers; None without any."""
        return 10 * np.log10(PEAK**2 / (self.line_squares / self.line_samples)) if self.line_samples else None

    def steadiness(self):
        """How much the means of repaired areas move over five frames, beside those of their rims.

        For each true dust or hair object: the standard deviation over frames n-2 to n+2 of the mean over its pixels, and of
        the mean over the rim 3 to 8 pixels outside it; the root mean squares of both over all objects, divided. A small
        area's mean moves more than a rim's by its grain alone, so the ratio of the clean pictures is divided out: 1 means
        as steady as the clean film. None with fewer than five frames.
        """
        moved = {"clean": [], "repaired": []}
        for n in range(2, len(self.frames) - 2):
            labels, count = objects(self.frames[n][0])
            near = [self.frames[k] for k in range(n - 2, n + 3)]
            for index, (rows, columns) in enumerate(ndimage.find_objects(labels), 1):
                box = tuple(slice(max(side.start - 9, 0), side.stop + 9) for side in (rows, columns))
                inside = labels[box] == index
                away = ndimage.distance_transform_edt(~inside)
                rim = (away >= 3) & (away <= 8)
                if not rim.any():
                    continue
                for which, place in (("clean", 1), ("repaired", 2)):
                    means = [(frame[place][box][inside].mean(), frame[place][box][rim].mean()) for frame in near]
                    moved[which].append(np.var(means, axis=0))
        if not moved["clean"]:
            return None
        (clean_inside, clean_rim), (inside, rim) = (np.mean(moved[which], axis=0) for which in ("clean", "repaired"))
        return float(np.sqrt((inside / rim) / (clean_inside / clean_rim)))

    def ssim(self):
        """Mean over the boxes round the true objects."""
        return float(np.mean(self.similar))

    def grain_ratio(self):
        """Grain inside repairs over grain on the rim; 1 is right, less is a smooth patch."""
        return float(np.concatenate(self.inside).std() / np.concatenate(self.outside).std())

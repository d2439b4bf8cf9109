"""The published methods that Besom is measured against, on OpenCV's dense inverse search flow.

Everything works on 10-bit codes (0..1023). Sources, by author because no tables of theirs are quoted:
  flow   Kroeger, Timofte, Dai, Van Gool, ECCV 2016 (arXiv 1603.03590), as in OpenCV, medium preset, both directions.
  SDIa   Kokaram, Morris, Fitzgerald, Rayner, IEEE TIP 4(11), 1995: |I - P| > t and |I - N| > t, where P and N are the
         motion-compensated neighbours (rule from memory; the abstract was read).
  SDIp   the same and sign(I - P) = sign(I - N); after Storey, GB 2 139 039 A (read).
  ROD    Nadenau and Mitra, 1997: rank-ordered differences to six references, three vertically adjacent pixels of each
         compensated neighbour (rule and thresholds from memory): T1 is swept, T2 and T3 stay at 39 and 55 of 255.
  fills  average of P and N; median of P, I, N (the temporal median); one neighbour;
         Telea 2004 and the Navier-Stokes fill of Bertalmio and others 2001, as in OpenCV.
A frame at either end of the clip has one neighbour: the tests then ask only that one.
"""

import cv2
import numpy as np
from scipy import ndimage

EIGHT = np.ones((3, 3), bool)
LEAST_PIXELS = 4


def luma(frame):
    """Rec. 601 luma of an RGB frame in codes, as float32."""
    return frame.astype(np.float32) @ np.array([0.299, 0.587, 0.114], np.float32)


def eight_bit(plane):
    """A plane of 10-bit codes as the 8-bit picture that OpenCV's flow wants."""
    return np.clip(np.round(plane * (255.0 / 1023.0)), 0, 255).astype(np.uint8)


def flow(current, reference):
    """DIS, medium preset: the picture at (x, y) of `current` stands at (x, y) + flow of `reference`. Both are luma planes."""
    dis = cv2.DISOpticalFlow_create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    return dis.calc(eight_bit(current), eight_bit(reference), None)


def warp(reference, field):
    """`reference` as seen from the current frame; bilinear, edges repeated."""
    height, width = field.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    source = reference.astype(np.float32)
    return cv2.remap(source, x + field[..., 0], y + field[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def sdia(current, previous, following, threshold):
    """Pixels that differ from every compensated neighbour there is by more than `threshold` codes."""
    flagged = np.ones(current.shape, bool)
    for other in (previous, following):
        if other is not None:
            flagged &= np.abs(current - other) > threshold
    return flagged


def sdip(current, previous, following, threshold):
    """SDIa where both differences have one sign."""
    flagged = sdia(current, previous, following, threshold)
    if previous is not None and following is not None:
        flagged &= np.sign(current - previous) == np.sign(current - following)
    return flagged


def rod(current, previous, following, threshold):
    """Rank-ordered differences; with one neighbour its three references stand for both."""
    references = []
    for other in (previous, following):
        if other is not None:
            above = np.vstack([other[:1], other[:-1]])
            below = np.vstack([other[1:], other[-1:]])
            references += [above, other, below]
    if len(references) == 3:
        references *= 2
    ranked = np.sort(np.stack(references), axis=0)
    middle = (ranked[2] + ranked[3]) / 2
    limits = (threshold, 39 * 1023 / 255, 55 * 1023 / 255)
    flagged = np.zeros(current.shape, bool)
    for step, limit in enumerate(limits):
        over = current - ranked[5 - step]
        under = ranked[step] - current
        flagged |= np.where(current > middle, over, under) > limit
    return flagged


DETECTORS = {"SDIa": sdia, "SDIp": sdip, "ROD": rod}


def without_specks(flagged):
    """Only the 8-connected components of four pixels or more: what counts as an object."""
    labels, count = ndimage.label(flagged, EIGHT)
    sizes = np.bincount(labels.ravel(), minlength=count + 1)
    keep = sizes >= LEAST_PIXELS
    keep[0] = False
    return keep[labels]


class Neighbours:
    """Compensated neighbours of every frame of a clip, worked out once and used by every detector and fill."""

    def __init__(self, frames):
        self.frames = frames
        self.grey = [luma(frame) for frame in frames]
        self.fields = []
        for n in range(len(frames)):
            before = flow(self.grey[n], self.grey[n - 1]) if n > 0 else None
            after = flow(self.grey[n], self.grey[n + 1]) if n + 1 < len(frames) else None
            self.fields.append((before, after))

    def grey_pair(self, n):
        """Luma of both compensated neighbours of frame `n`; None where there is none."""
        before, after = self.fields[n]
        return (None if before is None else warp(self.grey[n - 1], before),
                None if after is None else warp(self.grey[n + 1], after))

    def colour_pair(self, n):
        """The compensated neighbours in colour; None where there is none."""
        before, after = self.fields[n]
        return (None if before is None else warp(self.frames[n - 1], before),
                None if after is None else warp(self.frames[n + 1], after))

    def detect(self, rule, thresholds):
        """{threshold: [mask of each frame]} for one of the DETECTORS."""
        found = {threshold: [] for threshold in thresholds}
        for n, current in enumerate(self.grey):
            previous, following = self.grey_pair(n)
            for threshold in thresholds:
                found[threshold].append(without_specks(DETECTORS[rule](current, previous, following, threshold)))
        return found

    def fill(self, how, n, mask):
        """Frame `n` (float32 codes) with the pixels of `mask` filled; everything else as it was."""
        current = self.frames[n].astype(np.float32)
        result = current.copy()
        if not mask.any():
            return result
        pair = [other for other in self.colour_pair(n) if other is not None]
        if how == "average":
            filled = np.mean(pair, axis=0)
        elif how == "median":
            filled = np.median(np.stack([pair[0], current, pair[-1]]), axis=0)
        elif how == "one neighbour":
            filled = pair[0]
        else:
            filled = spatial(how, current, mask)
        result[mask] = filled[mask]
        return result


FILLS = ("average", "median", "one neighbour", "Telea", "Navier-Stokes")


def spatial(how, current, mask):
    """OpenCV's single-frame fills, channel by channel: they take 16 bits only in one channel."""
    method = {"Telea": cv2.INPAINT_TELEA, "Navier-Stokes": cv2.INPAINT_NS}[how]
    planes = [cv2.inpaint(np.round(current[..., c]).astype(np.uint16), mask.astype(np.uint8), 5, method) for c in range(3)]
    return np.stack(planes, axis=-1).astype(np.float32)


def grown(mask, pixels):
    """`mask` and everything within `pixels` of it, edges of dirt being soft."""
    if pixels == 0:
        return mask
    return ndimage.binary_dilation(mask, EIGHT, iterations=pixels)

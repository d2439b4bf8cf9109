"""`besom-proof` against the same definitions in other hands.

Sources: peak signal-to-noise ratio and structural similarity of scikit-image 0.26.0; connected components of SciPy 1.17.1
(`ndimage.label`, 8 neighbours); Gaussians and distances of SciPy; the spike rule in numpy on the very flow that OpenCV 5.0.0
found, handed over as a `.flo` file.
"""

import cv2
import numpy as np
import pytest
from scipy import ndimage
from skimage.metrics import peak_signal_noise_ratio

import clips
import peers
import references
import scores
from road import proof, proof_score

SIZE, COUNT = (480, 270), 3


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    """Frames of a real clip with blobs stamped on them, and a made-up detection and repair of uneven quality."""
    folder = tmp_path_factory.mktemp("scores")
    rng = np.random.default_rng(1961)
    frames = clips.to_codes(clips.decode(clips.bundled("bigbuckbunny.mp4"), COUNT, 60, SIZE))
    made = {"clean": [], "scans": [], "truth": [], "masks": [], "repaired": []}
    for n, clean in enumerate(frames):
        shape = clean.shape[:2]
        blobs = ndimage.gaussian_filter(rng.standard_normal(shape), 2.2) > 0.22
        kind = np.where(np.arange(shape[1]) < 160, 1, np.where(np.arange(shape[1]) < 330, 2, 4))
        truth = (blobs * kind).astype(np.uint8)
        scan = np.where(blobs[..., None], 900, clean).astype(np.uint16)
        mask = np.roll(blobs, (1, 2), (0, 1)) & (ndimage.gaussian_filter(rng.standard_normal(shape), 20) > -0.01)
        mask |= ndimage.gaussian_filter(rng.standard_normal(shape), 1.0) > 0.85
        noise = np.round(rng.normal(0, 9, clean.shape)).astype(int)
        repaired = np.where(mask[..., None], np.clip(clean + noise, 0, 1023), scan).astype(np.uint16)
        for name, picture in zip(made, (clean, scan, truth, mask, repaired), strict=True):
            made[name].append(picture)
            if name in ("truth", "masks"):
                grey = (picture * (1 if name == "truth" else 255)).astype(np.uint8)[..., None]
                references.write(folder / name / f"{name}.{n + 1:04d}.png", grey)
            else:
                references.write_dpx10(folder / name / f"clip.{n + 1:04d}.dpx", picture)
    return folder, made


def test_detection_scores(clip):
    folder, made = clip
    ours = proof_score(folder, folder / "masks")
    theirs = scores.Detection()
    for truth, mask in zip(made["truth"], made["masks"], strict=True):
        theirs.add(truth, mask)
    assert min(theirs.true.values()) > 5 and 0 < theirs.false < theirs.candidates
    for line, kind in (("dust found", "dust"), ("dust of 30 pixels and more found", "dust of 30"),
                       ("hairs found", "hair"), ("line scratches found", "line")):
        assert ours[line] == pytest.approx(theirs.recall(kind), abs=6e-4), line
    assert ours["precision"] == pytest.approx(theirs.precision(), abs=6e-4)
    assert ours["false objects a frame and megapixel"] == pytest.approx(theirs.false_rate(), abs=6e-3)


def test_repair_scores(clip):
    folder, made = clip
    ours = proof_score(folder, folder / "masks", folder / "repaired")
    theirs = scores.Repair()
    for n in range(COUNT):
        theirs.add(made["truth"][n], made["clean"][n], made["repaired"][n], made["masks"][n])
    assert ours["PSNR over dust and hairs"] == pytest.approx(theirs.psnr(), abs=6e-3)
    assert ours["SSIM around dust and hairs"] == pytest.approx(theirs.ssim(), abs=6e-5)
    assert ours["grain inside repairs to outside"] == pytest.approx(theirs.grain_ratio(), abs=6e-4)
    assert ours["pixels changed outside the masks"] == 0


def test_psnr_is_scikit_images(clip):
    folder, made = clip
    inside = [(truth & 3) > 0 for truth in made["truth"]]
    clean, repaired = (np.concatenate([p[m] for p, m in zip(made[k], inside, strict=True)]) for k in ("clean", "repaired"))
    expected = peak_signal_noise_ratio(clean.astype(float), repaired.astype(float), data_range=1023)
    ours = proof_score(folder, folder / "masks", folder / "repaired")
    assert ours["PSNR over dust and hairs"] == pytest.approx(expected, abs=6e-3)


def cubic(plane, field):
    """Catmull-Rom at (x, y) + field, borders held: Keys, IEEE Trans. ASSP 29(6), 1981, a = -1/2, written out in numpy."""
    height, width = plane.shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    x, y = x + field[..., 0], y + field[..., 1]
    ix, iy = np.floor(x).astype(int), np.floor(y).astype(int)

    def weights(t):
        return (-0.5 * t**3 + t**2 - 0.5 * t, 1.5 * t**3 - 2.5 * t**2 + 1, -1.5 * t**3 + 2 * t**2 + 0.5 * t, 0.5 * t**3 - 0.5 * t**2)

    total = np.zeros(plane.shape)
    for j, wy in enumerate(weights(y - iy)):
        for i, wx in enumerate(weights(x - ix)):
            total += wx * wy * plane[np.clip(iy - 1 + j, 0, height - 1), np.clip(ix - 1 + i, 0, width - 1)]
    return total


@pytest.mark.parametrize("threshold", [30, 50, 80])
def test_spike_rule_on_opencvs_flow(clip, tmp_path, threshold):
    folder, made = clip
    grey = [scan.mean(-1, dtype=np.float64) for scan in made["scans"]]
    seen = {}
    for n in range(COUNT):
        for side, other in (("previous", n - 1), ("next", n + 1)):
            if 0 <= other < COUNT:
                field = peers.flow(grey[n].astype(np.float32), grey[other].astype(np.float32))
                cv2.writeOpticalFlow(str(tmp_path / f"{side}.{n + 1:04d}.flo"), field)
                seen[n, side] = cubic(grey[other], field)
    proof("peers", folder, "--flow", tmp_path, "--rule", "sdip", "--threshold", threshold, "--masks-to", tmp_path / "out")
    marked = 0
    for n in range(COUNT):
        ours = references.read_oiio(tmp_path / "out" / f"mask.{n + 1:04d}.png")[..., 0] > 0
        pair = [seen.get((n, side)) for side in ("previous", "next")]
        pair = [pair[0] if pair[0] is not None else pair[1], pair[1] if pair[1] is not None else pair[0]]
        theirs = peers.without_specks(peers.sdip(grey[n], *pair, threshold))
        # A pixel that stands on the threshold may fall to either side in single precision, and take its object along.
        differing = int((ours != theirs).sum())
        assert differing <= 1e-4 * theirs.size, f"frame {n + 1}: {differing} pixels differ"
        marked += int(theirs.sum())
    assert marked > 1000


def test_line_pixels_and_steadiness_by_hand():
    truth = np.zeros((40, 40), np.uint8)
    truth[18:22, 18:22] = scores.DUST
    truth[:, 5] = scores.LINE
    clean = [np.full((40, 40, 3), 500 + 4 * n, np.uint16) for n in range(5)]
    for shift, expected in ((0, 1.0), (8, 3.0)):
        kept = scores.Repair()
        for n, picture in enumerate(clean):
            repaired = picture.astype(np.float32)
            repaired[:, 5] += 16
            repaired[18:22, 18:22] += shift * n
            kept.add(truth, picture, repaired, truth > 0)
        assert kept.line_psnr() == pytest.approx(20 * np.log10(1023 / 16))
        # The rim moves by 4 codes a frame, the repair by 4 + shift.
        assert kept.steadiness() == pytest.approx(expected)

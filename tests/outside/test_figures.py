"""`besom-proof figures` counts as `scores` does, on the very masks and truth that it leaves behind.

Source: connected components and distances of SciPy, by the definitions written out in `scores`.
"""

import csv

import pytest

import clips
import references
import scores
import table
from road import proof

SIZE, COUNT = (480, 270), 5


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """A short real clip, aged and searched by the command."""
    folder = tmp_path_factory.mktemp("figures")
    for n, frame in enumerate(clips.decode(clips.bundled("bigbuckbunny.mp4"), COUNT, 60, SIZE)):
        references.write(folder / "bunny" / f"f_{n:04d}.png", frame)
    said = proof("figures", folder / "bunny", "--frames", COUNT, "--sets", "base,undamaged", "--without-demo", "--sensitivity", "0.2", "--to", folder / "kept", "--scans")
    assert "dust recall" in said
    return folder / "kept"


def counted(folder):
    """The same counts from the masks and the truth."""
    theirs = scores.Detection()
    for truth, mask in zip(sorted((folder / "truth").iterdir()), sorted((folder / "masks").iterdir()), strict=True):
        theirs.add(references.read_oiio(truth)[..., 0], references.read_oiio(mask)[..., 0] > 0)
    return theirs


@pytest.mark.parametrize("weight", ["light", "heavy", "undamaged"])
def test_counts(kept, weight):
    with (kept / "counts.csv").open() as file:
        (ours,) = (line for line in csv.DictReader(file) if line["set"] == weight)
    theirs = counted(kept / f"bunny-{weight}")
    for column, kind in (("dust", "dust"), ("large", "dust of 30"), ("hair", "hair"), ("line", "line")):
        assert int(ours[f"{column}_all"]) == theirs.true[kind], kind
        assert int(ours[f"{column}_found"]) == theirs.found[kind], kind
    assert (int(ours["claims"]), int(ours["false"])) == (theirs.candidates, theirs.false)
    assert int(ours["pixels"]) == round(theirs.megapixels * 1e6)
    if weight == "heavy":
        assert theirs.true["dust"] > 50 and theirs.found["dust"] > 20, "too little to say anything"


def test_the_curve_passes_through_the_counts(kept):
    with (kept / "counts.csv").open() as counts, (kept / "curves.csv").open() as curves:
        ours = {line["set"]: line for line in csv.DictReader(counts)}
        at = {line["set"]: line for line in csv.DictReader(curves) if line["sensitivity"] == "0.2"}
    assert sorted(at) == ["heavy", "light"], "only aged films have a curve"
    for weight, line in at.items():
        same = ("dust_found", "dust_all", "claims", "false", "pixels")
        assert [line[column] for column in same] == [ours[weight][column] for column in same]


def test_the_published_rules_see_the_same_frames(kept):
    theirs = table.published(kept, ["bunny"], 1)
    points = table.curve(kept, ["bunny"])
    assert [at for at, _, _ in points][:4] == [0.05, 0.1, 0.15, 0.2]
    recalls = [recall for _, recall, _ in points]
    assert recalls == sorted(recalls, reverse=True), "a higher sensitivity bound finds no more"
    assert theirs["SDIp", 30][0] > theirs["SDIp", 130][0]
    assert "share" in table.beside(theirs, points)


def test_false_objects_between_two_sensitivities():
    points = [(0.1, 0.9, 20.0), (0.5, 0.8, 10.0), (0.9, 0.4, 0.0)]
    assert table.false_at(points, 0.85) == pytest.approx(15.0)
    assert table.false_at(points, 0.6) == pytest.approx(5.0)
    assert table.false_at(points, 0.95) is None

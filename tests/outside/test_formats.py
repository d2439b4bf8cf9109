"""Scans written by OpenImageIO and ffmpeg go down the whole road; the repaired files are read back by both.

If Besom misread a packing or a byte order it would find nothing, or fill with nonsense; if it wrote wrongly, the two readers
would disagree with the source outside the accepted masks. Sources: OpenImageIO 3.2.2 and ffmpeg 9.0 (imageio-ffmpeg 0.8.1);
byte offsets of DPX: ST 268 by way of those two readers.
"""

import numpy as np
import pytest

import references
import scenes
from peers import grown
from road import Road, besom, number_of

MOST_GROWTH = 8  # the furthest that a repair may reach beyond what was accepted, for soft edges
NAME = "reel2.{:07d}.{}"
FIRST = 86400


def dpx(depth, endian, packing="Filled, method A"):
    def write(path, codes):
        scaled = np.round(np.clip(codes, 0, 1020) * 2.0 ** (depth - 10)).astype(np.uint16)
        if depth == 8:
            references.write(path, scaled.astype(np.uint8), oiio__Endian=endian)
        elif depth == 16:
            references.write(path, scaled, oiio__Endian=endian)
        else:
            references.write(path, scaled, depth, dpx__Packing=packing, oiio__Endian=endian)

    return "dpx", write


def dpx_of_ffmpeg(pixel_format):
    def write(path, codes):
        scale = 64 if "48" in pixel_format else 1
        references.write_dpx_ffmpeg(path, np.round(codes * scale).astype(np.uint16), pixel_format)

    return "dpx", write


def sixteen(extension, **attributes):
    def write(path, codes):
        references.write(path, np.round(codes * (65535 / 1023)).astype(np.uint16), **attributes)

    return extension, write


def half(compression):
    def write(path, codes):
        references.write(path, scenes.linear(codes).astype(np.float16), compression=compression)

    return "exr", write


FORMATS = {
    "dpx 10 big": dpx(10, "big"),
    "dpx 10 little": dpx(10, "little"),
    "dpx 10 method B": dpx(10, "big", "Filled, method B"),
    "dpx 10 packed": dpx(10, "big", "Packed"),
    "dpx 12 big": dpx(12, "big"),
    "dpx 8 big": dpx(8, "big"),
    "dpx 16 big": dpx(16, "big"),
    "dpx 16 little": dpx(16, "little"),
    "dpx 10 by ffmpeg": dpx_of_ffmpeg("gbrp10le"),
    "tiff 16 none": sixteen("tif", compression="none"),
    "exr half none": half("none"),
    "exr half zips": half("zips"),
    "exr half zip": half("zip"),
    "exr half piz": half("piz"),
    "png 16": sixteen("png"),
}

READ_ONLY = {
    "tiff 16 lzw": sixteen("tif", compression="lzw"),
    "tiff 16 zip": sixteen("tif", compression="zip"),
}


def codes_of(kind, pixels):
    """Native samples back on the 10-bit scale."""
    if pixels.dtype == np.float16:
        return scenes.log_codes(pixels.astype(np.float64))
    if kind.startswith("dpx"):
        return pixels * 2.0 ** (10 - int(kind.split()[1]))
    return pixels.astype(np.float64) * (1023 / 65535)


def bits(pixels):
    """Samples as integers, so that halves compare by their bits."""
    return pixels.view(np.uint16) if pixels.dtype == np.float16 else pixels


@pytest.fixture(scope="module", params=list(FORMATS))
def repaired(request, tmp_path_factory):
    """A scene in one format, found, accepted by rule, repaired and verified."""
    kind = request.param
    folder = tmp_path_factory.mktemp(kind.replace(" ", "_"))
    names, scene, road = accepted(FORMATS[kind], folder)
    road.repair(folder / "repaired")
    return kind, folder, names, scene, road


def accepted(format_, folder):
    """The scene written in one format, searched, and what was found accepted by rule."""
    extension, write = format_
    scene = scenes.make()
    names = [NAME.format(FIRST + n, extension) for n in range(scenes.COUNT)]
    (folder / "scans").mkdir()
    for name, picture in zip(names, scene.dirty, strict=True):
        write(folder / "scans" / name, picture)
    road = Road(folder / "scans", folder / "reel.besom")
    road.detect()
    road.decide("accept", "--min-confidence", "0.3", "--include-at-risk")
    road.masks(folder / "masks", "accepted")
    return names, scene, road


def accepted_mask(folder, name):
    path = folder / "masks" / (name.rsplit(".", 1)[0] + ".png")
    return references.read_oiio(path)[..., 0] > 0


def test_both_read_what_besom_wrote_and_it_differs_only_where_accepted(repaired):
    kind, folder, names, scene, road = repaired
    for name, core in zip(names, scene.cores, strict=True):
        before = bits(references.read_oiio(folder / "scans" / name))
        after = bits(references.read_oiio(folder / "repaired" / name))
        changed = (before != after).any(-1)
        accepted = accepted_mask(folder, name)
        allowed = road.repaired_pixels(number_of(name), accepted.shape)
        assert not (changed & ~allowed).any(), f"{name}: changed outside the repairs on record"
        assert not (allowed & ~grown(accepted, MOST_GROWTH)).any(), f"{name}: a repair far from anything accepted"
        assert changed[core].mean() > 0.95 if core.any() else True, f"{name}: the spots are still there"
        if kind.startswith("dpx 10") and "packed" not in kind:  # which ffmpeg does not read
            seen = references.read_ffmpeg(folder / "repaired" / name, "gbrp10le", scenes.WIDTH, scenes.HEIGHT)
            assert np.array_equal(seen, after), f"{name}: ffmpeg and OpenImageIO disagree on the repaired file"


def test_fills_come_near_the_picture_under_the_dirt(repaired):
    """The grain is 5 codes strong and independent in each frame: a fill with real grain cannot come nearer than 7 codes."""
    kind, folder, names, scene, _ = repaired
    errors = []
    for name, clean, core in zip(names, scene.clean, scene.cores, strict=True):
        after = codes_of(kind, references.read_oiio(folder / "repaired" / name))
        errors.append((after - clean)[core])
    assert np.sqrt(np.mean(np.concatenate(errors) ** 2)) < 20


def test_headers_are_the_source_bytes(repaired):
    kind, folder, names, _, _ = repaired
    for name in names:
        before, after = (folder / "scans" / name).read_bytes(), (folder / "repaired" / name).read_bytes()
        if kind.startswith("dpx"):
            order = "big" if before[:4] == b"SDPX" else "little"
            start = int.from_bytes(before[4:8], order)
            assert before[:start] == after[:start]
        if kind.startswith("dpx") or kind.endswith("none"):
            assert len(before) == len(after)
        assert references.header_oiio(folder / "scans" / name) == references.header_oiio(folder / "repaired" / name)


def test_frames_without_repairs_are_byte_copies(repaired):
    _, folder, names, _, _ = repaired
    untouched = [name for name in names if not accepted_mask(folder, name).any()]
    for name in untouched:
        assert (folder / "scans" / name).read_bytes() == (folder / "repaired" / name).read_bytes()


def test_verify_agrees(repaired):
    _, folder, _, _, road = repaired
    road.verify(folder / "repaired")


def test_verify_refuses_what_changed_elsewhere(repaired):
    """One bit of one sample in a corner where the scene has no dirt; where samples are compressed, another frame's picture."""
    kind, folder, names, _, road = repaired
    target = folder / "repaired" / names[2]
    whole = target.read_bytes()
    in_place = kind.startswith("dpx") or kind.endswith("none")
    other = whole[:-2] + bytes([whole[-2] ^ 0x10]) + whole[-1:] if in_place else (folder / "scans" / names[3]).read_bytes()
    try:
        target.write_bytes(other)
        assert names[2] in besom("verify", road.reel, "--repaired", folder / "repaired", expect=1)
    finally:
        target.write_bytes(whole)


@pytest.mark.parametrize("kind", list(READ_ONLY))
def test_what_can_only_be_read_is_searched_and_its_repair_refused(tmp_path, kind):
    names, scene, road = accepted(READ_ONLY[kind], tmp_path)
    for name, core in zip(names, scene.cores, strict=True):
        assert accepted_mask(tmp_path, name)[core].all(), f"{name}: the spots were not found"
    said = besom("repair", road.reel, "--to", tmp_path / "repaired", expect=1)
    assert names[1] in said and len(said.strip().splitlines()) == 1
    assert not list((tmp_path / "repaired").glob("*0086401*")), "half a repair was left behind"

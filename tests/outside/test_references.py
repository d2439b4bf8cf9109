"""The references themselves: if these two disagree with each other, no check that rests on them means anything."""

import numpy as np
import pytest

import references
import scenes

SHAPE = (48, 64, 3)


@pytest.fixture
def codes():
    return np.random.default_rng(1961).integers(0, 1024, SHAPE).astype(np.uint16)


@pytest.mark.parametrize("endian", ["big", "little"])
def test_openimageio_and_ffmpeg_read_the_same_10_bit_codes(tmp_path, codes, endian):
    path = tmp_path / "a.dpx"
    references.write_dpx10(path, codes, endian)
    assert np.array_equal(references.read_oiio(path), codes)
    assert np.array_equal(references.read_ffmpeg(path, "gbrp10le", SHAPE[1], SHAPE[0]), codes)


def test_ffmpeg_writes_what_openimageio_reads(tmp_path, codes):
    path = tmp_path / "a.dpx"
    references.write_dpx_ffmpeg(path, codes)
    assert np.array_equal(references.read_oiio(path), codes)


@pytest.mark.parametrize("code, light", [(95, 0.0), (685, 1.0), (467.8, 0.18)])
def test_printing_density_of_the_scenes(code, light):
    """Source: the Cineon figures, black 95, white 685, 0.002 density a code, gamma 0.6; 0.18 grey stands at 467.8."""
    assert scenes.linear(code) == pytest.approx(light, abs=2e-4)
    assert scenes.log_codes(light) == pytest.approx(code, abs=0.1)

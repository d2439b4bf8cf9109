"""The peers in numpy against arithmetic that can be done without them: a peer coded wrongly would flatter Besom."""

import numpy as np
import pytest
from scipy import integrate, stats

import peers
import scenes


def planes(count):
    rng = np.random.default_rng(35)
    return [rng.standard_normal((1200, 1200)).astype(np.float32) for _ in range(count)]


@pytest.mark.parametrize("k", [2.0, 2.5, 3.0])
def test_sdip_false_alarms_on_pure_noise(k):
    """Source: the integral 2 phi(x) Phi(x - k)^2 for three independent normal samples."""
    current, previous, following = planes(3)
    expected = 2 * integrate.quad(lambda x: stats.norm.pdf(x) * stats.norm.cdf(x - k) ** 2, -8, 12)[0]
    seen = peers.sdip(current, previous, following, k).mean()
    assert seen == pytest.approx(expected, rel=0.06)


def test_rod_is_the_rule_written_out_for_one_pixel_at_a_time():
    """Source: the rule as the module cites it, by sorting six numbers in plain Python."""
    rng = np.random.default_rng(16)
    current, previous, following = (rng.uniform(0, 600, (24, 20)).astype(np.float32) for _ in range(3))
    flagged = peers.rod(current, previous, following, 50)
    limits = (50, 39 * 1023 / 255, 55 * 1023 / 255)
    for y in range(24):
        for x in range(20):
            rows = (max(y - 1, 0), y, min(y + 1, 23))
            ranked = sorted(float(plane[r, x]) for plane in (previous, following) for r in rows)
            value = float(current[y, x])
            if value > (ranked[2] + ranked[3]) / 2:
                steps = (value - ranked[5], value - ranked[4], value - ranked[3])
            else:
                steps = (ranked[0] - value, ranked[1] - value, ranked[2] - value)
            assert flagged[y, x] == any(step > limit for step, limit in zip(steps, limits, strict=True))


def test_sdia_contains_sdip():
    current, previous, following = planes(3)
    assert not (peers.sdip(current, previous, following, 1) & ~peers.sdia(current, previous, following, 1)).any()


def test_flow_finds_a_known_shift():
    """Source: a shift by whole pixels, and DIS's own claim to find one."""
    wide = scenes.make(grain=1.0).clean[0][..., 1].astype(np.float32)
    current, reference = wide[:, 3:], wide[:, :-3]
    inner = peers.flow(current, reference)[20:-20, 20:-20]
    assert np.median(inner[..., 0]) == pytest.approx(3, abs=0.25)
    assert np.median(inner[..., 1]) == pytest.approx(0, abs=0.25)


def test_specks_below_four_pixels_are_no_objects():
    flagged = np.zeros((10, 10), bool)
    flagged[1, 1:4] = True
    flagged[6, 2:6] = True
    assert peers.without_specks(flagged).sum() == 4

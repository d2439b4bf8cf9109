"""Film length and running time as the ledger gives them for a reel nobody has worked on, against the tables of the trade.

Sources: 35 mm 4-perf has 16 frames a foot and runs 90 feet a minute at 24 frames a second, 16 mm 40 and 36, Super 8 72 and 20
(published film tables); 3-perf, 2-perf and 65 mm 5-perf follow from 64 perforations a foot: 67.5, 45 and 112.5 feet, of which
the half foot counts on from the frame that the last foot mark falls in: 1440 - 1429 and 1440 - 1433 frames.
"""

import numpy as np
import pytest

import references
from road import Road

MINUTE = 24 * 60
TABLE = {
    "35mm-4perf": "90+00",
    "35mm-3perf": "67+11",
    "35mm-2perf": "45+00",
    "16mm": "36+00",
    "super8": "20+00",
    "65mm-5perf": "112+07",
}


@pytest.fixture(scope="module")
def scans(tmp_path_factory):
    """One minute of tiny frames."""
    folder = tmp_path_factory.mktemp("minute") / "scans"
    rng = np.random.default_rng(24)
    for n in range(MINUTE):
        references.write_dpx10(folder / f"minute.{n:06d}.dpx", rng.integers(400, 420, (16, 16, 3)).astype(np.uint16))
    return folder


@pytest.mark.parametrize("gauge", list(TABLE))
def test_one_minute_of_film(scans, tmp_path, gauge):
    road = Road(scans, tmp_path / "reel.besom", "--fps", "24", "--gauge", gauge)
    assert road.film_left() == (MINUTE, TABLE[gauge], pytest.approx(60.0))

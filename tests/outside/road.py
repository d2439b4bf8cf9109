"""Runs Besom's two programs as a person or a script would. Everything that knows their flags and JSON fields is here.

BESOM_BIN and BESOM_PROOF_BIN name the programs; `tests/run` sets them.
"""

import hashlib
import json
import os
import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


def program(variable, name):
    """Path of a built program; the development build where the variable is not set."""
    path = Path(os.environ.get(variable) or Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "debug" / name)
    assert path.is_file(), f"{path} is not there; run `tests/run build` first"
    return str(path)


def call(binary, *arguments, expect=0):
    """Runs a program without a terminal; fails with all it said when the exit code is another than `expect`."""
    line = [binary, *map(str, arguments)]
    done = subprocess.run(line, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False)
    assert done.returncode == expect, f"{' '.join(line)}\nexit {done.returncode}\n{done.stdout}\n{done.stderr}"
    return done


def besom(*arguments, expect=0):
    """The JSON object that a `besom` command answers with."""
    done = call(program("BESOM_BIN", "besom"), *arguments, "--json", expect=expect)
    return json.loads(done.stdout) if expect == 0 else done.stderr


def proof(*arguments, expect=0):
    """What a `besom-proof` command prints."""
    return call(program("BESOM_PROOF_BIN", "besom-proof"), *arguments, expect=expect).stdout


def number_of(name):
    """The scan number in a file name: its last run of digits before the ending."""
    return int(re.findall(r"\d+", name.rsplit(".", 1)[0])[-1])


@dataclass(frozen=True)
class AgedFolder:
    """What `besom-proof age` leaves: frames with dirt, the same without, and label bits."""

    folder: Path

    @property
    def scans(self):
        return self.folder / "scans"

    @property
    def clean(self):
        return self.folder / "clean"

    @property
    def truth(self):
        return self.folder / "truth"


def age_recipe():
    """Changes whenever the source of the ageing changes, so that aged clips kept from an earlier run are not mistaken for new."""
    sources = sorted((ROOT / "crates" / "besom-proof" / "src" / "ageing").glob("*.rs"))
    return hashlib.sha256(b"".join(path.read_bytes() for path in sources)).hexdigest()


def proof_age(source, folder, weight, seed):
    """Ages a folder of PNG frames; `weight` is undamaged, light or heavy."""
    proof("age", source, "--to", folder, "--level", weight, "--seed", seed)
    return AgedFolder(Path(folder))


def proof_score(folder, masks, repaired=None):
    """The lines of `besom-proof score` as {name: first number of the value, or None where there is nothing}."""
    arguments = ["score", folder, "--masks", masks]
    if repaired:
        arguments += ["--repaired", repaired]
    found = {}
    for line in proof(*arguments).splitlines():
        name, value = line[:36].strip(), line[36:].split()
        found[name] = float(value[0]) if re.fullmatch(r"-?[\d.]+", value[0]) else None
    return found


class Road:
    """One reel folder and the commands on it."""

    def __init__(self, scans, reel, *options):
        self.scans, self.reel = Path(scans), Path(reel)
        self.started = besom("start", scans, "--reel", reel, *options)

    def copy(self, reel):
        """The same reel in another folder, beside this one so that it finds its scans."""
        twin = Road.__new__(Road)
        twin.scans, twin.reel, twin.started = self.scans, Path(shutil.copytree(self.reel, reel)), self.started
        return twin

    def detect(self, *options):
        return besom("detect", self.reel, *options)

    def decide(self, decision, *options):
        return besom("decide", self.reel, decision, *options)

    def masks(self, to, which, *options):
        return besom("masks", self.reel, "--to", to, "--which", which, *options)

    def mark(self, masks):
        return besom("mark", self.reel, "--masks", masks)

    def repair(self, to, *options):
        return besom("repair", self.reel, "--to", to, *options)

    def verify(self, repaired, *options):
        return besom("verify", self.reel, "--repaired", repaired, *options)

    def shots(self):
        """(first, last) scan number of each shot."""
        return [(shot["first"], shot["last"]) for shot in self.started["shots"]]

    def repaired_pixels(self, frame, shape):
        """The pixels that the reel's record of repairs says a fill was allowed to change in a frame."""
        text = (self.reel / "exports" / "repairs.ron").read_text()
        mask, current = np.zeros(shape, bool), None
        for number, runs in re.findall(r"frame:\s*(\d+)|mask:\s*\[(.*?)\]", text, re.DOTALL):
            if number:
                current = int(number)
            elif current == frame:
                for y, x0, x1 in re.findall(r"\(\s*(\d+),\s*(\d+),\s*(\d+),?\s*\)", runs):
                    mask[int(y), int(x0) : int(x1)] = True
        return mask

    def ledger(self, *options):
        return besom("ledger", self.reel, "--format", "json", *options)

    def film_left(self):
        """Frames, feet+frames and seconds that the ledger says are still to do."""
        total = self.ledger()["total"]
        return total["frames"] - total["frames_decided"], total["footage_left"], total["seconds_left"]

"""A small moving picture with dirt at known places, for the checks that need no photograph."""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

WIDTH, HEIGHT, COUNT = 192, 144, 5
SPOTS = {1: [(60, 50, 0.0), (140, 100, 1.0)], 2: [(100, 70, 0.0)], 3: [(40, 110, 1.0), (150, 40, 0.0)]}
RADIUS = 5


@dataclass
class Scene:
    """10-bit codes as float: what was there, what the dirt made of it, and the fully covered pixels of each frame."""

    clean: list
    dirty: list
    cores: list


def make(seed=7, grain=5.0):
    """A soft picture that pans by whole pixels, with independent grain in every frame and opaque round spots on three."""
    rng = np.random.default_rng(seed)
    shape = (HEIGHT, WIDTH + 40)
    light, *tints = (ndimage.gaussian_filter(rng.standard_normal(shape), 6) for _ in range(4))
    wide = np.stack([light + 0.3 * tint for tint in tints], -1)
    wide = 450 + 120 * wide / wide.std()
    scene = Scene([], [], [])
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    for n in range(COUNT):
        picture = wide[:, 2 * n : 2 * n + WIDTH]
        picture = picture + ndimage.gaussian_filter(rng.standard_normal(picture.shape), (0.6, 0.6, 0)) * grain * 2
        dirty, core = picture.copy(), np.zeros((HEIGHT, WIDTH), bool)
        for x, y, bright in SPOTS.get(n, []):
            away = np.hypot(columns - x, rows - y)
            opacity = np.clip(RADIUS + 0.5 - away, 0, 1)[..., None]
            dirty = dirty * (1 - opacity) + (120 + 780 * bright) * opacity
            core |= away <= RADIUS - 1
        scene.clean.append(np.clip(picture, 0, 1023))
        scene.dirty.append(np.clip(dirty, 0, 1023))
        scene.cores.append(core)
    return scene


def linear(codes):
    """Printing-density codes as linear light, 1.0 at white: black 95, white 685, 0.002 density a code, gamma 0.6."""
    black = 10 ** ((95 - 685) / 300)
    return (10 ** ((np.asarray(codes, np.float64) - 685) / 300) - black) / (1 - black)


def log_codes(light):
    """The inverse of `linear`."""
    black = 10 ** ((95 - 685) / 300)
    return 685 + 300 * np.log10(np.maximum(np.asarray(light, np.float64) * (1 - black) + black, 1e-6))

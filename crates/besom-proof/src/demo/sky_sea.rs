//! Sky with layered clouds, and sea in perspective; used by several shots.

use super::paint::{Point, Rgb, bell, ink, mix, plus, rough, scale, step};
use crate::ageing::noise;

/// A sky and the sun that lights it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sky {
    /// Colours at the zenith, halfway and at the horizon.
    pub(super) colours: [Rgb; 3],
    /// Where the sun stands, and its colour.
    pub(super) sun: Point,
    pub(super) sunlight: Rgb,
    /// Colour of a cloud's shaded side.
    pub(super) shade: Rgb,
    /// Share of the sky that clouds cover, about 0..1.
    pub(super) cover: f32,
    pub(super) seed: u32,
}

impl Sky {
    /// Light of the sky at a point; `horizon` is the height of the horizon.
    pub(super) fn light(&self, p: Point, horizon: f32, time: f32) -> Rgb {
        let up = (horizon - p.1).max(0.0);
        let lower = mix(self.colours[2], self.colours[1], step(0.0, 0.45, up));
        let clear = mix(lower, self.colours[0], step(0.3, 1.5, up));
        let near_sun = bell(p.0 - self.sun.0, 0.9) * bell(p.1 - self.sun.1, 0.55);
        let clear = plus(clear, scale(self.sunlight, 0.28 * near_sun));
        let (density, lit) = self.cloud(p, up, time);
        let bright = mix(self.shade, self.sunlight, (0.18 + 0.5 * lit) * (0.45 + 0.55 * near_sun));
        // Haze takes the contrast of clouds near the horizon.
        mix(clear, mix(bright, clear, bell(up, 0.16) * 0.75), density)
    }

    /// Density of the clouds and how much the sun lights them.
    fn cloud(&self, p: Point, up: f32, time: f32) -> (f32, f32) {
        let far = 1.0 / (up + 0.22);
        let at = |dx: f32, dy: f32| {
            let (x, y) = ((p.0 + dx) * far * 0.62 + 0.02 * time, (far + dy) * 1.25);
            let warp = noise::plane(x * 0.9, y * 0.9, self.seed + 3);
            rough(x + 0.35 * warp, y * 1.35 + 0.3 * warp, self.seed)
        };
        let here = at(0.0, 0.0);
        let towards = at(0.05 * (self.sun.0 - p.0), 0.16);
        let edge = 0.30 - 0.55 * self.cover;
        let density = step(edge - 0.10, edge + 0.34, here);
        (density, (0.5 + 1.9 * (here - towards)).clamp(0.0, 1.6))
    }
}

/// The sea under a sky.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sea {
    pub(super) horizon: f32,
    pub(super) deep: Rgb,
    /// Steepness of the waves against a fresh breeze.
    pub(super) chop: f32,
    /// Strength of the sun's glitter.
    pub(super) glitter: f32,
    pub(super) seed: u32,
}

impl Sea {
    /// Light of the sea at a point below the horizon, and the share of it that is a glint.
    pub(super) fn light(&self, p: Point, sky: &Sky, time: f32) -> (Rgb, f32) {
        let below = (p.1 - self.horizon).max(0.0005);
        let far = 0.42 / (below + 0.012);
        let (x, z) = (p.0 * far, far);
        let slope = self.slope(x, z, time);
        // Waves far away are seen edge on and average out.
        let clarity = 1.0 / (1.0 + 0.012 * far * far);
        let tilt = slope * self.chop * (0.35 + 0.65 * clarity);
        let fresnel = (0.16 + 0.62 * bell(below, 0.22) - 0.42 * tilt).clamp(0.03, 0.95);
        let mirrored = sky.light((p.0, self.horizon - (0.12 + 0.9 * below + 0.35 * tilt.abs())), self.horizon, time);
        let body = mix(self.deep, plus(scale(self.deep, 1.5), [0.004, 0.012, 0.010]), step(-0.2, 0.8, tilt));
        let water = mix(body, mirrored, fresnel);
        let haze = mix(water, sky.colours[2], 0.55 * bell(below, 0.03));
        let path = self.path(p, sky, below);
        let sheen = scale(sky.sunlight, 0.35 * path * step(-0.05, 0.75, tilt));
        let glint = self.glint(x, z, below, path, tilt, time);
        (plus(plus(haze, sheen), scale(sky.sunlight, 5.5 * glint)), glint.min(1.0))
    }

    /// The sun's road on the water: widest in the distance.
    fn path(&self, p: Point, sky: &Sky, below: f32) -> f32 {
        let wide = 0.20 + 0.34 * below;
        self.glitter * bell(p.0 - sky.sun.0, wide) * (0.35 + 0.65 * step(0.0, 0.25, below))
    }

    fn slope(&self, x: f32, z: f32, time: f32) -> f32 {
        let warp = noise::plane(x * 0.5, z * 0.5, self.seed);
        let swell = libm::sinf(2.1 * z + 0.55 * x + 1.7 * time + 2.4 * warp);
        let wave = libm::sinf(6.3 * z - 1.2 * x + 2.9 * time + 3.0 * noise::plane(x * 1.3, z * 1.1, self.seed + 1));
        let ripple = noise::moving(x * 5.5, z * 13.0, time * 2.2, self.seed + 2);
        let fine = noise::moving(x * 14.0, z * 34.0, time * 4.0, self.seed + 4);
        0.34 * swell + 0.30 * wave + 0.42 * ripple + 0.28 * fine
    }

    /// Points where a wave's facet mirrors the sun: tiny, and gone within a frame or two.
    fn glint(&self, x: f32, z: f32, below: f32, path: f32, tilt: f32, time: f32) -> f32 {
        if path < 0.02 {
            return 0.0;
        }
        let mut sum = 0.0_f32;
        for layer in 0..2_u32 {
            // Cells are squares on the picture, not on the water, so that glints stay points.
            let grid = 40.0 + 27.0 * layer as f32;
            let stretch = 1.0 / (0.35 + 2.2 * below).max(0.1);
            let (u, v) = (x / z * grid * stretch, libm::logf(z) * grid * 0.62);
            let (i, j) = (u.floor(), v.floor());
            let cell = (i as i32, j as i32);
            let slot = |salt: u32, k: i32| 0.5 + 0.5 * noise::lattice(cell.0, cell.1, k, self.seed + 31 * layer + salt);
            // A facet flashes for about one and a half frames.
            let moment = (time * 16.0 + 7.0 * slot(9, 0)).floor() as i32;
            if slot(0, moment) > 0.05 + 0.55 * path * step(-0.6, 0.5, tilt) {
                continue;
            }
            let centre = (0.2 + 0.6 * slot(1, moment), 0.2 + 0.6 * slot(2, moment));
            let d = libm::hypotf((u - i - centre.0) * 0.8, (v - j - centre.1) * 1.7);
            let size = 0.10 + 0.20 * slot(3, moment) * slot(4, moment);
            sum += step(size, 0.4 * size, d) * (0.35 + 0.65 * slot(5, moment)) * path.min(1.0);
        }
        sum
    }
}

/// The colours of a hazy day with the sun before the camera.
pub(super) fn hazy_day(sun: Point, seed: u32) -> Sky {
    Sky {
        colours: [ink(0.44, 0.53, 0.61), ink(0.63, 0.70, 0.73), ink(0.84, 0.83, 0.77)],
        sun,
        sunlight: [1.9, 1.65, 1.25],
        shade: ink(0.50, 0.54, 0.58),
        cover: 0.42,
        seed,
    }
}

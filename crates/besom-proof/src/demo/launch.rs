//! The relief launch on a glittering sea, filmed from another boat against the sun.

use super::paint::{Light, Point, Rgb, Scene, bell, boxed, handheld, ink, mix, plus, rough, scale, segment, step};
use super::sky_sea::{Sea, Sky, hazy_day};
use crate::ageing::noise;

/// The launch.
pub(super) struct Launch {
    sky: Sky,
    sea: Sea,
    seed: u32,
}

impl Launch {
    pub(super) fn new(seed: u32) -> Self {
        let sky = hazy_day((0.42, -0.62), seed);
        let sea = Sea { horizon: -0.24, deep: ink(0.15, 0.23, 0.26), chop: 0.9, glitter: 1.0, seed: seed + 50 };
        Self { sky, sea, seed }
    }
}

impl Scene for Launch {
    fn light(&self, point: Point, time: f32) -> Light {
        let sway = handheld(time, 0.012, self.seed);
        let roll = 0.010 * libm::sinf(time * 1.3);
        let p = (point.0 + sway.0 + 0.06 * time, point.1 + sway.1 + roll * point.0);
        let rise = 0.012 * libm::sinf(2.2 * time) + 0.006 * libm::sinf(3.7 * time + 1.0);
        let bow = (-0.62 + 0.13 * time, 0.165 + rise);
        if let Some(rgb) = self.boat(p, bow, time) {
            return rgb.into();
        }
        if p.1 < self.sea.horizon {
            let sky = self.sky.light(p, self.sea.horizon, time);
            return self.headland(p).map_or(sky, |(land, haze)| mix(land, sky, haze)).into();
        }
        let (water, glint) = self.sea.light(p, &self.sky, time);
        let (rgb, kept) = self.around_boat(p, bow, water, time);
        Light { rgb: plus(rgb, [0.0; 3]), belongs: glint * kept }
    }
}

impl Launch {
    /// A far headland with the light on it.
    fn headland(&self, p: Point) -> Option<(Rgb, f32)> {
        let x = p.0 + 1.42;
        let up = self.sea.horizon - p.1;
        let height = 0.15 * bell(x - 0.10, 0.62) + 0.018 * rough(p.0 * 6.0, 0.5, self.seed + 2) - 0.03;
        let tower = boxed(p, (-1.02, self.sea.horizon - 0.19), (0.016 + 0.006 * (0.27 - up).max(0.0), 0.085));
        let lamp = boxed(p, (-1.02, self.sea.horizon - 0.288), (0.012, 0.018));
        if tower < 0.0 {
            let side = step(-1.045, -0.995, p.0);
            return Some((mix(ink(0.40, 0.43, 0.45), ink(0.78, 0.74, 0.66), side), 0.42));
        }
        if lamp < 0.0 {
            return Some((ink(0.22, 0.22, 0.24), 0.4));
        }
        (up < height).then(|| {
            let grass = rough(p.0 * 17.0, p.1 * 40.0, self.seed + 3);
            (scale(ink(0.29, 0.31, 0.29), 1.0 + 0.35 * grass), 0.48)
        })
    }

    /// Hull, wheelhouse, mast and two men; `None` beside the boat.
    fn boat(&self, p: Point, bow: Point, time: f32) -> Option<Rgb> {
        let tilt = 0.045 * libm::sinf(1.9 * time + 0.6);
        let (x, y) = (p.0 - bow.0, p.1 - bow.1 + tilt * (p.0 - bow.0));
        if !(-0.6..=0.75).contains(&x) || !(-0.75..=0.2).contains(&y) {
            return None;
        }
        self.hull(x, y).or_else(|| self.crew(x, y)).or_else(|| Self::rigging(x, y)).or_else(|| self.house(x, y))
    }

    fn hull(&self, x: f32, y: f32) -> Option<Rgb> {
        let sheer = -0.085 - 0.10 * step(0.1, 0.68, x) * step(0.0, 0.9, x + 0.2) - 0.02 * step(-0.2, -0.5, x);
        let stem = 0.64 - 0.75 * (y + 0.15).max(0.0);
        let stern = -0.47 + 0.15 * (y + 0.1);
        let foot = 0.085 + 0.012 * noise::along(x * 9.0, self.seed + 5);
        if y < sheer || y > foot || x < stern || x > stem {
            return None;
        }
        let strake = step(0.012, 0.004, (y - sheer - 0.028).abs());
        let worn = 1.0 + 0.22 * rough(x * 9.0, y * 34.0, self.seed + 6);
        let upper = mix(ink(0.30, 0.36, 0.39), ink(0.62, 0.60, 0.54), strake * 0.8);
        let boot = mix(upper, ink(0.30, 0.17, 0.14), step(0.035, 0.045, y));
        let lit = 0.55 + 0.75 * step(0.1, 0.62, x);
        let rim = 1.5 * step(0.010, 0.0, y - sheer);
        Some(plus(scale(boot, worn * lit), scale([0.5, 0.43, 0.33], rim * (0.5 + x.max(0.0)))))
    }

    fn house(&self, x: f32, y: f32) -> Option<Rgb> {
        let roof = boxed((x, y), (-0.06, -0.335), (0.175, 0.011)) - 0.006;
        let wall = boxed((x, y), (-0.06, -0.20), (0.145, 0.13));
        if roof < 0.0 {
            return Some(plus(ink(0.35, 0.36, 0.35), scale([0.7, 0.6, 0.45], step(-0.338, -0.350, y))));
        }
        if wall > 0.0 {
            return None;
        }
        let pane = |cx: f32| boxed((x, y), (cx, -0.245), (0.045, 0.042)) - 0.006;
        let glass = pane(-0.145).min(pane(-0.035)).min(boxed((x, y), (0.052, -0.245), (0.018, 0.042)) - 0.004);
        if glass < 0.0 {
            // The bright sea is seen through the far windows.
            let through = 0.5 + 0.5 * rough(x * 30.0, y * 60.0, self.seed + 7);
            return Some(mix(ink(0.42, 0.47, 0.49), ink(0.80, 0.77, 0.69), through * step(-0.205, -0.29, y)));
        }
        let boards = step(0.0, 0.08, ((x * 26.0).fract().rem_euclid(1.0) - 0.5).abs());
        let lit = 0.62 + 0.55 * step(0.06, 0.085, x);
        Some(scale(ink(0.60, 0.57, 0.49), lit * (0.8 + 0.2 * boards) * (1.0 + 0.10 * rough(x * 20.0, y * 20.0, 9))))
    }

    fn rigging(x: f32, y: f32) -> Option<Rgb> {
        let mast = segment((x, y), (-0.27, -0.10), (-0.255, -0.72)).0 - 0.0085;
        let stays = [(-0.255, -0.70, 0.60, -0.19), (-0.255, -0.70, -0.45, -0.11), (-0.255, -0.62, -0.17, -0.34)];
        let stay = stays.iter().map(|s| segment((x, y), (s.0, s.1), (s.2, s.3)).0).fold(1.0, f32::min) - 0.0018;
        if mast < 0.0 {
            return Some(mix(ink(0.24, 0.19, 0.15), ink(0.72, 0.60, 0.44), step(-0.262, -0.250, x)));
        }
        (stay < 0.0).then(|| ink(0.27, 0.26, 0.25))
    }

    /// One man stands at the bow with a line in his hands, one sits at the tiller.
    fn crew(&self, x: f32, y: f32) -> Option<Rgb> {
        let bowman = Man { at: (0.30, -0.245), lean: 0.022, hands: (0.385, -0.215), coat: ink(0.43, 0.36, 0.19) };
        let helmsman = Man { at: (-0.37, -0.165), lean: 0.012, hands: (-0.435, -0.125), coat: ink(0.17, 0.19, 0.23) };
        [bowman, helmsman].iter().find_map(|man| man.light((x, y), self.seed))
    }

    /// Reflection, bow wave and wake. Also how much of the water's glints they leave.
    fn around_boat(&self, p: Point, bow: Point, water: Rgb, time: f32) -> (Rgb, f32) {
        let (x, y) = (p.0 - bow.0, p.1 - bow.1 - 0.085);
        let ripple = 0.05 * noise::moving(p.0 * 9.0, p.1 * 30.0, time * 3.0, self.seed + 9);
        let shade = step(-0.50, -0.40, x + ripple)
            * step(0.60, 0.48, x + ripple + 0.8 * y)
            * step(0.25, 0.0, y)
            * step(-0.01, 0.01, y);
        let dark = mix(water, ink(0.13, 0.17, 0.18), 0.72 * shade);
        let churn = rough(p.0 * 13.0 - 4.0 * time, p.1 * 46.0, self.seed + 10);
        let bow_wave = bell(y - 0.012 - 0.02 * churn, 0.020) * step(0.66, 0.50, x) * step(-0.1, 0.45, x);
        let wake = bell(y - 0.02, 0.035 + 0.05 * (-x - 0.4).max(0.0)) * step(-0.38, -0.50, x) * step(-2.3, -0.5, x);
        let foam = (bow_wave * step(-0.35, 0.35, churn) + 0.85 * wake * step(-0.05, 0.45, churn)).clamp(0.0, 1.0);
        (mix(dark, ink(0.86, 0.85, 0.80), 0.85 * foam), 1.0 - 0.9 * shade.max(foam))
    }
}

/// A man in a coat, seen against the light.
struct Man {
    /// Middle of his chest.
    at: Point,
    lean: f32,
    hands: Point,
    coat: Rgb,
}

impl Man {
    fn light(&self, p: Point, seed: u32) -> Option<Rgb> {
        let (cx, cy) = self.at;
        let head = libm::hypotf((p.0 - cx - self.lean) * 1.18, p.1 - cy + 0.092) - 0.0215;
        let cap = boxed(p, (cx + self.lean + 0.004, cy - 0.112), (0.018, 0.003)) - 0.006;
        let shoulder = (cx + 0.4 * self.lean, cy - 0.038);
        let elbow = (0.5 * (shoulder.0 + self.hands.0) - 0.004, 0.5 * (shoulder.1 + self.hands.1) + 0.020);
        let (upper, a) = segment(p, shoulder, elbow);
        let (lower, b) = segment(p, elbow, self.hands);
        let arm = (upper - 0.015 + 0.003 * a).min(lower - 0.012 + 0.003 * b);
        let (trunk, along) = segment(p, shoulder, (cx - 0.006, cy + 0.075));
        let body = trunk - (0.027 + 0.010 * along);
        let legs = segment(p, (cx - 0.008, cy + 0.08), (cx - 0.012, cy + 0.20)).0 - 0.028;
        let neck = segment(p, (cx + self.lean, cy - 0.08), shoulder).0 - 0.010;
        if cap < 0.0 {
            return Some(ink(0.13, 0.13, 0.15));
        }
        if head.min(neck) < 0.0 || libm::hypotf(p.0 - self.hands.0, p.1 - self.hands.1) < 0.0105 {
            let side = step(cx + self.lean - 0.006, cx + self.lean + 0.018, p.0);
            return Some(mix(ink(0.34, 0.24, 0.20), ink(0.88, 0.68, 0.53), side));
        }
        let coat = body.min(arm);
        if coat > 0.0 {
            return (legs < 0.0).then(|| ink(0.15, 0.16, 0.18));
        }
        let rim = step(-0.011, 0.0, coat) * step(cx - 0.012, cx + 0.028, p.0);
        let fold = 0.85 + 0.5 * rough(p.0 * 40.0, p.1 * 22.0, seed + 8);
        let between = 1.0 - 0.35 * bell(arm, 0.006);
        Some(plus(scale(self.coat, fold * between), scale([0.55, 0.47, 0.36], rim)))
    }
}

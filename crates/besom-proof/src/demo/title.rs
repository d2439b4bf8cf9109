//! The title: a painted slate, scuffed on purpose. The scuffs belong, and the artist laid new ones every third frame.

use super::letters::Lettering;
use super::paint::{Light, Point, Rgb, Scene, bell, boxed, handheld, ink, mix, plus, rough, scale, segment, step};
use crate::ageing::noise;

const LINES: [Lettering; 4] = [
    Lettering { text: "LAMPS OF", middle: (0.0, -0.34), height: 0.140, weight: 0.064 },
    Lettering { text: "SKERRY POINT", middle: (0.0, -0.04), height: 0.182, weight: 0.070 },
    Lettering { text: "THE LIGHT SERVICE 1961", middle: (0.0, 0.30), height: 0.062, weight: 0.062 },
    Lettering { text: "REEL 2", middle: (0.0, 0.47), height: 0.062, weight: 0.062 },
];

/// Takes of fresh scuffs that are prepared: eight a second, for the longest shot.
const TAKES: i32 = 40;

/// The slate card on its table.
pub(super) struct Title {
    seed: u32,
    old: Vec<Scuff>,
    fresh: Vec<Vec<Scuff>>,
}

/// A short bent scratch.
struct Scuff {
    from: Point,
    to: Point,
    half: f32,
    strength: f32,
    salt: u32,
}

impl Title {
    pub(super) fn new(seed: u32) -> Self {
        let take = |take: i32, count: i32| (0..count).map(|n| Scuff::of_take(n, take, seed)).collect::<Vec<_>>();
        Self { seed, old: take(0, 46), fresh: (1..=TAKES).map(|n| take(n, 13)).collect() }
    }
}

impl Scuff {
    fn of_take(n: i32, take: i32, seed: u32) -> Self {
        let r = |k: i32| noise::lattice(n, k, take, seed + 30);
        let middle = (1.05 * r(0), 0.02 + 0.72 * r(1));
        let angle = -0.5 + 0.9 * r(2) * r(2) * r(2);
        let half = 0.02 + 0.13 * r(3) * r(3);
        let (sin, cos) = libm::sincosf(angle);
        let (dx, dy) = (half * cos, half * sin);
        Self {
            from: (middle.0 - dx, middle.1 - dy),
            to: (middle.0 + dx, middle.1 + dy),
            half,
            strength: 0.35 + 0.55 * r(4).abs(),
            salt: (take * 64 + n) as u32,
        }
    }

    fn cover(&self, p: Point) -> f32 {
        let (d, along) = segment(p, self.from, self.to);
        if d > 0.008 {
            return 0.0;
        }
        let bent = d + 0.003 * noise::along(along * 5.0, self.salt + 77);
        let skip = step(-0.5, 0.1, noise::along(along * self.half * 160.0, self.salt + 99));
        step(0.0038, 0.0010, bent) * skip * self.strength
    }
}

impl Scene for Title {
    fn light(&self, point: Point, time: f32) -> Light {
        // The rostrum camera creeps in.
        let zoom = 1.03 - 0.012 * time;
        let sway = handheld(time, 0.0015, self.seed);
        let p = (point.0 * zoom + sway.0, point.1 * zoom + sway.1);
        let edge = 0.012 * rough(p.0 * 5.0, p.1 * 5.0, self.seed + 1);
        let slate = boxed(p, (0.0, 0.02), (1.12, 0.78)) + edge;
        if slate > 0.0 { self.table(p, slate).into() } else { self.slate(p, slate, time) }
    }
}

impl Title {
    /// Oiled boards under the slate, with its shadow.
    fn table(&self, p: Point, slate: f32) -> Rgb {
        let board = (p.1 * 3.4 + 40.0).floor();
        let inside = (p.1 * 3.4 + 40.0).fract();
        let shift = 13.7 * board;
        let grain =
            rough(p.0 * 1.6 + shift, p.1 * 46.0 + 2.0 * noise::plane(p.0 * 2.0, board, self.seed), self.seed + 2);
        let tone = 0.75 + 0.25 * noise::lattice(board as i32, 0, 0, self.seed) + 0.30 * grain;
        let gap = step(0.0, 0.035, inside.min(1.0 - inside));
        let wood = scale(ink(0.38, 0.28, 0.20), tone.max(0.1) * (0.25 + 0.75 * gap));
        let shadow = 1.0 - 0.75 * bell((slate - 0.01).max(0.0), 0.10 + 0.08 * step(-0.6, 0.8, p.0 + p.1));
        scale(wood, shadow * self.lamp(p))
    }

    /// A lamp at the upper left lights the card unevenly.
    fn lamp(&self, p: Point) -> f32 {
        let d = libm::hypotf(p.0 + 0.75, p.1 + 0.85);
        0.35 + 1.25 / (1.0 + 0.75 * d * d) + 0.03 * noise::plane(p.0, p.1, self.seed)
    }

    fn slate(&self, p: Point, edge: f32, time: f32) -> Light {
        let cleft = |x: f32, y: f32| rough(x * 2.1 + 0.8 * y, y * 5.5 - 0.7 * x, self.seed + 5);
        let relief = cleft(p.0, p.1) - cleft(p.0 - 0.012, p.1 - 0.012);
        let fine = rough(p.0 * 34.0, p.1 * 34.0, self.seed + 6);
        let tone = 1.0 + 1.9 * relief + 0.16 * fine + 0.30 * noise::plane(p.0 * 1.3, p.1 * 1.3, self.seed + 7);
        let stone = scale(ink(0.235, 0.265, 0.285), tone.max(0.15));
        let bevel = step(-0.035, 0.0, edge) * step(0.25, -0.6, p.0 + p.1);
        let stone = plus(stone, scale(ink(0.42, 0.45, 0.47), 0.75 * bevel));
        let (painted, cover) = self.lettering(p, fine);
        let (scuffs, fresh) = self.scuffs(p, time);
        let chalk = ink(0.74, 0.74, 0.70);
        let dusty = mix(stone, chalk, 0.05 + 0.07 * step(0.0, 0.7, rough(p.0 * 1.1, p.1 * 3.1, self.seed + 8)));
        let worn = mix(dusty, painted, cover * (1.0 - 0.75 * scuffs));
        let rgb = scale(mix(worn, chalk, (0.52 * scuffs * (1.0 - 0.6 * cover) + 0.62 * fresh).min(0.9)), self.lamp(p));
        Light { rgb, belongs: fresh.max(scuffs) }
    }

    /// Cream paint that the slate's texture shows through, with a rule and a small emblem of a lit lamp.
    fn lettering(&self, p: Point, fine: f32) -> (Rgb, f32) {
        let wobble = 0.004 * rough(p.0 * 18.0, p.1 * 18.0, self.seed + 9);
        let letters = LINES.iter().map(|line| line.distance(p)).fold(1.0, f32::min);
        let rule = boxed(p, (0.0, 0.175), (0.52, 0.0035));
        let d = letters.min(rule).min(emblem(p)) + wobble;
        let dry = step(-0.75, 0.25, fine + 0.55 * noise::plane(p.0 * 7.0, p.1 * 60.0, self.seed + 10));
        (ink(0.90, 0.85, 0.72), step(0.004, -0.004, d) * (0.42 + 0.55 * dry))
    }

    /// Scuffs that stay with the card, and short scratches and specks that change every third frame.
    fn scuffs(&self, p: Point, time: f32) -> (f32, f32) {
        let take = ((time * 8.0 + 0.01).floor() as i32).rem_euclid(TAKES);
        let deepest = |scuffs: &[Scuff]| scuffs.iter().map(|s| s.cover(p)).fold(0.0, f32::max);
        let old = deepest(&self.old).max(self.rubbed(p)).max(self.specks(p, 0, 0.60));
        let fresh = self.fresh.get(take as usize).map_or(0.0, |scuffs| deepest(scuffs));
        (old, fresh.max(self.specks(p, take + 1, 0.80)))
    }

    /// Places where a sleeve has rubbed chalk over the stone, in fine parallel streaks.
    fn rubbed(&self, p: Point) -> f32 {
        let (u, v) = (p.0 * 0.94 - p.1 * 0.34, p.0 * 0.34 + p.1 * 0.94);
        let patch = step(0.18, 0.62, rough(u * 1.5, v * 3.0, self.seed + 26));
        0.5 * patch * step(0.05, 0.75, rough(u * 4.0, v * 75.0, self.seed + 27))
    }

    /// Dabs of chalk dust in clumps: a jittered lattice of specks of two sizes.
    fn specks(&self, p: Point, take: i32, rare: f32) -> f32 {
        let mut cover = 0.0_f32;
        for (layer, grid) in [(0_i32, 13.0_f32), (1, 29.0)] {
            let (u, v) = (p.0 * grid, p.1 * grid);
            let (i, j) = (u.floor() as i32, v.floor() as i32);
            let r = |k: i32| noise::lattice(i, j, take * 16 + layer * 8 + k, self.seed + 20);
            let clump = 0.45 * noise::plane(p.0 * 1.9, p.1 * 1.9, self.seed + 25 + take as u32);
            if r(0) + clump < rare + 0.16 * layer as f32 {
                continue;
            }
            let d = libm::hypotf(u - i as f32 - 0.5 - 0.32 * r(1), v - j as f32 - 0.5 - 0.32 * r(2));
            let size = (0.04 + 0.07 * r(3).abs()) * (1.0 + 0.6 * layer as f32);
            cover = cover.max(step(size * 1.3, size * 0.6, d) * (0.55 + 0.4 * r(4).abs()));
        }
        cover
    }
}

/// A lamp's lens with rays.
fn emblem(p: Point) -> f32 {
    let q = (p.0, p.1 + 0.575);
    let ring = (libm::hypotf(q.0, q.1) - 0.038).abs() - 0.007;
    let dot = libm::hypotf(q.0, q.1) - 0.014;
    let ray = |angle: f32| {
        let (sin, cos) = libm::sincosf(angle);
        segment(q, (0.062 * cos, 0.062 * sin), (0.135 * cos, 0.135 * sin)).0 - 0.005
    };
    let half = [-0.32, 0.0, 0.32].iter().map(|a| ray(*a).min(ray(std::f32::consts::PI + a))).fold(1.0, f32::min);
    ring.min(dot).min(half)
}

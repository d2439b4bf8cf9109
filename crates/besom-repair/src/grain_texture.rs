//! The look of a frame's grain beside its strength: how neighbouring pixels and channels go together.

use besom_detect::Grain;
use besom_scan::{Plane, Rect};

/// Side of the blocks in which flat picture is looked for, pixels.
const BLOCK: i32 = 16;
/// Blocks whose variance, in units of grain, is below this many times that of the tenth flattest in a hundred count as flat:
/// the variance of grain in a block strays by about a seventh.
const FLAT: f32 = 1.5;
/// Blocks looked at, at most: they lie on a lattice over the frame.
const MOST_BLOCKS: usize = 3000;

/// Correlation of grain, and a generator of grain that has it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Texture {
    /// Correlation of a pixel with its right and lower neighbour.
    pub beside: f32,
    pub below: f32,
    /// Correlation between any two channels.
    pub between: f32,
}

impl Texture {
    /// Measures the flattest blocks of a frame that hold no candidate. Frames without any give white grain.
    pub(crate) fn measure(planes: &[Plane], skip: &Plane<u8>, grain: &Grain) -> Self {
        let mut blocks = Vec::new();
        let Some(first) = planes.first() else { return Self { beside: 0.0, below: 0.0, between: 0.0 } };
        let frame = first.rect();
        let mut step = BLOCK;
        while (frame.width() as i32 / step) as usize * (frame.height() as i32 / step) as usize > MOST_BLOCKS {
            step += BLOCK / 2;
        }
        let mut y = 0;
        while y + BLOCK <= frame.y1 {
            let mut x = 0;
            while x + BLOCK <= frame.x1 {
                if let Some(block) = Moments::of(planes, skip, Rect::new(x, y, x + BLOCK, y + BLOCK), grain) {
                    blocks.push(block);
                }
                x += step;
            }
            y += step;
        }
        blocks.sort_by(|a, b| a.roughness.total_cmp(&b.roughness));
        // Not the flattest tenth itself: blocks whose grain happens to be weak would speak for all.
        let flat = blocks.get(blocks.len() / 10).map_or(0.0, |b| FLAT * b.roughness);
        blocks.truncate(blocks.partition_point(|b| b.roughness <= flat));
        let sum = |f: fn(&Moments) -> f32| blocks.iter().map(f).sum::<f32>();
        let share = |part: f32, whole: f32| if whole > 0.0 { (part / whole).clamp(-0.2, 0.69) } else { 0.0 };
        let power = sum(|m| m.power);
        let cross = sum(|m| m.cross_power);
        Self {
            beside: share(sum(|m| m.beside), power),
            below: share(sum(|m| m.below), power),
            between: if cross > 0.0 { (sum(|m| m.cross) / cross).clamp(0.0, 1.0) } else { 0.0 },
        }
    }

    /// Grain of unit strength over a box, one layer a channel, in row order; the seed says which.
    pub(crate) fn unit_grain(&self, seed: u64, width: usize, height: usize, channels: usize) -> Vec<Vec<f32>> {
        let shared = self.layer(seed, width, height);
        let (common, own) = (self.between.sqrt(), (1.0 - self.between).sqrt());
        (0..channels)
            .map(|channel| {
                if channels == 1 {
                    return shared.clone();
                }
                let alone = self.layer(mixed(seed ^ mixed(channel as u64 + 1)), width, height);
                shared.iter().zip(alone).map(|(s, a)| common * s + own * a).collect()
            })
            .collect()
    }

    /// White noise through a separable three-tap filter whose first correlations are those measured.
    fn layer(&self, seed: u64, width: usize, height: usize) -> Vec<f32> {
        let (tx, ty) = (side_tap(self.beside), side_tap(self.below));
        let (w, h) = (width + 2, height + 2);
        let mut noise = Noise::new(seed);
        let white: Vec<f32> = (0..w * h).map(|_| noise.normal()).collect();
        let scale = 1.0 / ((1.0 + 2.0 * tx * tx) * (1.0 + 2.0 * ty * ty)).sqrt();
        let mut rows = vec![0.0; width * h];
        for y in 0..h {
            for x in 0..width {
                let at = &white[y * w + x..y * w + x + 3];
                rows[y * width + x] = at[1] + tx * (at[0] + at[2]);
            }
        }
        let mut layer = Vec::with_capacity(width * height);
        for y in 0..height {
            for x in 0..width {
                let at = |j: usize| rows[(y + j) * width + x];
                layer.push(scale * (at(1) + ty * (at(0) + at(2))));
            }
        }
        layer
    }
}

/// The outer tap `a` of a filter (a, 1, a) that gives white noise a first correlation of `r` = 2a / (1 + 2a²).
fn side_tap(r: f32) -> f32 {
    if r.abs() < 1e-3 { 0.5 * r } else { (1.0 - (1.0 - 2.0 * r * r).max(0.0).sqrt()) / (2.0 * r) }
}

/// Sums over one block, its mean taken away.
struct Moments {
    power: f32,
    beside: f32,
    below: f32,
    cross: f32,
    cross_power: f32,
    /// Variance in units of the grain expected at the block's density.
    roughness: f32,
}

impl Moments {
    fn of(planes: &[Plane], skip: &Plane<u8>, block: Rect, grain: &Grain) -> Option<Self> {
        let clean = (block.y0..block.y1)
            .all(|y| skip.row(y as usize)[block.x0 as usize..block.x1 as usize].iter().all(|&s| s == 0));
        if !clean {
            return None;
        }
        let mut m = Self { power: 0.0, beside: 0.0, below: 0.0, cross: 0.0, cross_power: 0.0, roughness: 0.0 };
        let side = BLOCK as usize;
        let mut before: Option<Vec<f32>> = None;
        for (channel, plane) in planes.iter().enumerate() {
            let values = plane.crop(&block);
            let values = values.as_slice();
            let mean = values.iter().sum::<f32>() / values.len() as f32;
            let rest: Vec<f32> = values.iter().map(|v| v - mean).collect();
            let power = rest.iter().map(|v| v * v).sum::<f32>();
            let sigma = grain.channel_at(channel, mean).max(0.1);
            m.roughness += power / (sigma * sigma);
            for y in 0..side - 1 {
                for x in 0..side - 1 {
                    let here = rest[y * side + x];
                    m.power += here * here;
                    m.beside += here * rest[y * side + x + 1];
                    m.below += here * rest[(y + 1) * side + x];
                }
            }
            if let Some(other) = before.replace(rest) {
                let rest = before.as_deref().unwrap_or(&[]);
                m.cross += rest.iter().zip(&other).map(|(a, b)| a * b).sum::<f32>();
                let other = other.iter().map(|v| v * v).sum::<f32>();
                m.cross_power += (power * other).sqrt();
            }
        }
        // Blocks without any variation are clipped or synthetic: they say nothing of grain.
        (m.power > 1e-3).then_some(m)
    }
}

/// The output function of splitmix64.
fn mixed(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// A small generator of nearly normal noise: the splitmix64 sequence (Steele, Lea, Flood, OOPSLA 2014), twelve 16-bit pieces
/// of which are added up. Only whole numbers and one scaling: the same on every machine.
pub(crate) struct Noise {
    state: u64,
}

impl Noise {
    pub(crate) fn new(seed: u64) -> Self {
        // Neighbouring seeds are mixed first: as they are, they would give one sequence shifted.
        Self { state: mixed(seed) }
    }

    fn next(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        mixed(self.state)
    }

    /// A number of mean 0 and variance 1: twelve uniform ones have the variance of one, each 1/12.
    pub(crate) fn normal(&mut self) -> f32 {
        let pieces = |v: u64| (v & 0xffff) + (v >> 16 & 0xffff) + (v >> 32 & 0xffff) + (v >> 48);
        let sum = pieces(self.next()) + pieces(self.next()) + pieces(self.next());
        (sum as f32 - 6.0 * 65535.0) / 65536.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn grain_made_anew_has_the_strength_and_the_correlations_asked_for() {
        let texture = Texture { beside: 0.5, below: 0.3, between: 0.4 };
        let (width, height) = (300, 300);
        let layers = texture.unit_grain(11, width, height, 3);
        let mean = |f: &dyn Fn(usize, usize) -> f32| {
            let sum: f64 = (0..height - 1).flat_map(|y| (0..width - 1).map(move |x| f64::from(f(x, y)))).sum();
            (sum / ((width - 1) * (height - 1)) as f64) as f32
        };
        for layer in &layers {
            let at = |x: usize, y: usize| layer[y * width + x];
            approx::assert_abs_diff_eq!(mean(&|x, y| at(x, y)), 0.0, epsilon = 0.03);
            approx::assert_abs_diff_eq!(mean(&|x, y| at(x, y) * at(x, y)), 1.0, epsilon = 0.04);
            approx::assert_abs_diff_eq!(mean(&|x, y| at(x, y) * at(x + 1, y)), 0.5, epsilon = 0.03);
            approx::assert_abs_diff_eq!(mean(&|x, y| at(x, y) * at(x, y + 1)), 0.3, epsilon = 0.03);
        }
        let cross = mean(&|x, y| layers[0][y * width + x] * layers[1][y * width + x]);
        approx::assert_abs_diff_eq!(cross, 0.4, epsilon = 0.03);
        assert_eq!(layers, texture.unit_grain(11, width, height, 3));
        assert_ne!(layers, texture.unit_grain(12, width, height, 3));
    }

    #[test]
    fn the_look_of_grain_is_measured_where_the_picture_is_flat() {
        let known = Texture { beside: 0.45, below: 0.35, between: 0.3 };
        let planes: Vec<Plane> = known
            .unit_grain(5, 256, 256, 3)
            .into_iter()
            .filter_map(|layer| Plane::from_vec(256, 256, layer.iter().map(|v| 500.0 + 7.0 * v).collect()))
            .collect();
        let measured = Texture::measure(&planes, &Plane::new(256, 256), &Grain::flat(3, 7.0));
        // A block's own mean takes a little of every correlation with it.
        approx::assert_abs_diff_eq!(measured.beside, known.beside, epsilon = 0.07);
        approx::assert_abs_diff_eq!(measured.below, known.below, epsilon = 0.07);
        approx::assert_abs_diff_eq!(measured.between, known.between, epsilon = 0.07);
    }
}

//! Dirt that lets the picture through: recovered instead of replaced, where that promises a smaller error.
//!
//! A piece of dirt of opacity `a` and code `d` over a picture `p` shows `(1 - a) p + a d` (the model of Elgharib, Pitié,
//! Kokaram, EURASIP Journal on Image and Video Processing 2013:33). Where `a` and `d` vary slowly, the picture's detail and
//! grain are there still, only fainter. Around each pixel the trend of the scan and the trend of a fill from other frames
//! are known; what the scan departs from its trend, divided by the share `1 - a` that passes through, is the picture's own
//! departure, grain included, which no other frame can give. The share is read from how strongly the scan departs beside what
//! picture and grain would. Of three ways tried on aged clips (windows of 9 x 9 and 5 x 5 pixels, one share for a whole
//! piece) this is the only one whose prediction held: most dirt is too small or its edge too soft, and is replaced.

use crate::choose::smoothed;
use crate::compose::Composed;
use crate::hole::Hole;
use crate::job::Job;
use crate::predict;

/// Reach of the window around a pixel, in which trends and strengths are measured.
const REACH: i32 = 2;
/// Smaller holes than this are all edge.
const FEWEST: usize = 60;
/// Least sum of the window's weights (17.0 for a full one) from which a trend is read.
const LEAST_WEIGHT: f32 = 6.0;
/// Less than this share passing through is not believed: what is left of the picture drowns in what is not.
const FAINTEST: f32 = 0.3;
/// Squared relative error of the share that passes through.
const SHARE_ERROR: f32 = 0.05;
/// Share of a fill's squared error beyond grain that its trend has as well.
const TREND_ERROR: f32 = 0.5;
/// Variance of the grain left in a fill's blend, in those of one frame.
const LEFT_GRAIN: f32 = 0.45;
/// Pixels are recovered where this promises less than the lower share of the fill's squared error, and not at all from the
/// upper one on.
const PROMISE: (f32, f32) = (0.45, 0.6);

/// What was recovered of a hole.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Recovered {
    /// Share of the hole's pixels, 0 to 1; one that is mixed half and half counts half.
    pub share: f32,
    /// Squared error that is expected of the hole now, in those expected of the fill.
    pub left: f32,
}

/// Replaces a fill's values by what shows through the dirt, pixel by pixel, where that promises less error. `predicted` is
/// the fill's predicted error in codes.
pub(crate) fn recover(job: &Job, hole: &Hole, fill: &mut Composed, predicted: f32) -> Recovered {
    let n = hole.inside.len();
    let kept = Recovered { share: 0.0, left: 1.0 };
    if n < FEWEST || !predicted.is_finite() {
        return kept;
    }
    let ground = Ground::new(job, hole, &fill.base);
    let views: Vec<Option<View>> = (0..n).map(|i| ground.view(i)).collect();
    let pooled = Strengths::pooled(hole, &views);
    let promises: Vec<Option<Promise>> =
        pooled.iter().map(|s| s.as_ref()?.promise(predicted, job.planes.len())).collect();
    // A single pixel promises much by chance: its surroundings must agree.
    let around =
        smoothed(hole, &promises.iter().map(|p| p.as_ref().map_or(f32::NAN, |p| p.error.min(4.0))).collect::<Vec<_>>());
    let (mut share, mut left) = (0.0f32, 0.0f32);
    for (i, (view, promise)) in views.iter().zip(&promises).enumerate() {
        let (Some(view), Some(promise)) = (view, promise) else { continue };
        let error = around[i].max(promise.error);
        let weight = ((PROMISE.1 - error) / (PROMISE.1 - PROMISE.0)).clamp(0.0, 1.0);
        if weight > 0.0 {
            for ((values, base), (scan, filled)) in fill.values.iter_mut().zip(&fill.base).zip(&view.trends) {
                let recovered = base[i] + filled - scan / promise.passing;
                values[i] += weight * (recovered - values[i]);
            }
            share += weight;
            left += weight * around[i];
        }
    }
    let n = n as f32;
    Recovered { share: share / n, left: 1.0 - share / n + left / n }
}

/// What is seen in the window around a pixel.
struct View {
    /// For each channel the trends of scan and fill at the pixel, from their own codes there.
    trends: Vec<(f32, f32)>,
    strengths: Strengths,
}

/// How strongly scan and fill depart from their trends, and together: means of products, summed over the channels, and
/// what the grain of one frame would make of them. Squared codes.
#[derive(Clone, Copy, Default)]
struct Strengths {
    scans: f32,
    fills: f32,
    both: f32,
    grain: f32,
    /// Variance of one frame's grain, all of it.
    sigmas: f32,
    /// Variance of a trend at the pixel, of independent values of variance one.
    noise: f32,
}

/// What recovering a pixel promises.
struct Promise {
    /// The share of the picture that passes through the dirt.
    passing: f32,
    /// Expected squared error in those of the fill.
    error: f32,
}

impl Strengths {
    /// Means over the pixels around each: one window alone tells a strength to a third.
    fn pooled(hole: &Hole, views: &[Option<View>]) -> Vec<Option<Self>> {
        let field = |of: &dyn Fn(&View) -> f32| {
            smoothed(hole, &views.iter().map(|v| v.as_ref().map_or(f32::NAN, of)).collect::<Vec<_>>())
        };
        let (scans, fills) = (field(&|v| v.strengths.scans), field(&|v| v.strengths.fills));
        let (both, grain) = (field(&|v| v.strengths.both), field(&|v| v.strengths.grain));
        let pooled = |(i, view): (usize, &Option<View>)| {
            let view = view.as_ref()?;
            let (scans, fills, both, grain) = (scans[i], fills[i], both[i], grain[i]);
            Some(Self { scans, fills, both, grain, ..view.strengths })
        };
        views.iter().enumerate().map(pooled).collect()
    }

    /// What to expect beside a fill of this predicted error; `None` where too little passes through.
    fn promise(&self, predicted: f32, channels: usize) -> Option<Promise> {
        let left = (LEFT_GRAIN * self.grain).min(self.fills);
        let passing = (self.scans / (self.fills - left + self.grain).max(1e-3)).sqrt().min(1.0);
        if passing < FAINTEST {
            return None;
        }
        let square = passing * passing;
        // What neither picture nor grain explains: edges of the dirt, or a fill that shows something else.
        let strange = self.scans - 2.0 * passing * self.both + square * (self.fills - self.grain - left);
        let beyond = (predicted * predicted * channels as f32 - predict::GRAIN * self.sigmas).max(0.0);
        let error = self.sigmas * (1.5 * self.noise + SHARE_ERROR) + TREND_ERROR * beyond + strange.max(0.0) / square;
        Some(Promise { passing, error: error / (predict::GRAIN * self.sigmas + beyond).max(1e-6) })
    }
}

/// What views of a hole are made of.
struct Ground<'a> {
    job: &'a Job<'a>,
    hole: &'a Hole,
    base: &'a [Vec<f32>],
    /// Scanned codes of the hole's pixels, a list a channel.
    scan: Vec<Vec<f32>>,
    /// For each pixel of the hole's box its place among the hole's pixels; `None` outside and where the fill has no value.
    known: Vec<Option<usize>>,
    taps: Vec<(i32, i32, f32)>,
}

/// A window's pixels (place in the hole, position from the middle, weight) and their moments of position.
struct Window {
    pixels: Vec<(usize, f32, f32, f32)>,
    total: f32,
    /// The inverse of the moments: 11, 1x, 1y, xx, xy, yy.
    inverse: [f32; 6],
    /// Variance of a trend at the middle, of independent values of variance one.
    noise: f32,
    /// Share of such values' variance that the trend leaves.
    rest: f32,
}

/// Sums of one field over a window, with its trend: a plane fitted by weighted least squares.
#[derive(Clone, Copy, Default)]
struct Trend {
    sums: [f32; 3],
    plane: [f32; 3],
}

impl Trend {
    fn of(window: &Window, value: impl Fn(usize) -> f32) -> Self {
        let mut sums = [0.0f32; 3];
        for &(k, x, y, w) in &window.pixels {
            let v = w * value(k);
            sums[0] += v;
            sums[1] += v * x;
            sums[2] += v * y;
        }
        let ([p, q, r], [a, b, c, d, e, f]) = (sums, window.inverse);
        Self { sums, plane: [a * p + b * q + c * r, b * p + d * q + e * r, c * p + e * q + f * r] }
    }

    /// What two fields' trends have of the sum of their products.
    fn shared(&self, other: &Self) -> f32 {
        self.plane.iter().zip(&other.sums).map(|(a, b)| a * b).sum()
    }
}

impl<'a> Ground<'a> {
    fn new(job: &'a Job<'a>, hole: &'a Hole, base: &'a [Vec<f32>]) -> Self {
        let mut known = vec![None; hole.state.as_slice().len()];
        for (i, spot) in hole.inside.iter().enumerate() {
            known[spot.index] = base.iter().all(|b| b[i].is_finite()).then_some(i);
        }
        let codes = |p: &besom_scan::Plane| hole.inside.iter().map(|s| p.at(s.x as usize, s.y as usize)).collect();
        let scan = job.planes.iter().map(codes).collect();
        let reach = ((REACH + 1) * (REACH + 1)) as f32;
        let around = (-REACH..=REACH).flat_map(|y| (-REACH..=REACH).map(move |x| (x, y)));
        let bell = around.map(|(x, y)| (x, y, 1.0 - (x * x + y * y) as f32 / reach));
        let taps = bell.filter(|t| t.2 > 0.0).map(|(x, y, w)| (x, y, w * w)).collect();
        Self { job, hole, base, scan, known, taps }
    }

    fn window(&self, i: usize) -> Option<Window> {
        let (width, height) = (self.hole.state.width() as i32, self.hole.state.height() as i32);
        let index = self.hole.inside[i].index as i32;
        let (cx, cy) = (index % width, index / width);
        let mut pixels = Vec::with_capacity(self.taps.len());
        let (mut m, mut squares) = ([0.0f32; 6], [0.0f32; 6]);
        for &(x, y, w) in &self.taps {
            let (px, py) = (cx + x, cy + y);
            if px < 0 || py < 0 || px >= width || py >= height {
                continue;
            }
            let Some(k) = self.known[(py * width + px) as usize] else { continue };
            let (x, y) = (x as f32, y as f32);
            pixels.push((k, x, y, w));
            for ((m, s), v) in m.iter_mut().zip(&mut squares).zip([1.0, x, y, x * x, x * y, y * y]) {
                *m += w * v;
                *s += w * w * v;
            }
        }
        if m[0] < LEAST_WEIGHT {
            return None;
        }
        let inverse = inverted(m)?;
        let [a, b, c, ..] = inverse;
        let [s0, sx, sy, sxx, sxy, syy] = squares;
        let noise = a * a * s0 + 2.0 * a * (b * sx + c * sy) + b * b * sxx + 2.0 * b * c * sxy + c * c * syy;
        // Three numbers are fitted.
        let rest = (1.0 - 3.0 * s0 / (m[0] * m[0])).max(0.2);
        Some(Window { pixels, total: m[0], inverse, noise, rest })
    }

    /// What pixel `i` would be if its dirt were looked through; `None` where that cannot be said.
    fn view(&self, i: usize) -> Option<View> {
        self.known[self.hole.inside[i].index]?;
        let window = self.window(i)?;
        let mut all = Strengths::default();
        let mut trends = Vec::with_capacity(self.base.len());
        for (channel, (scan, base)) in self.scan.iter().zip(self.base).enumerate() {
            // From the pixel's own code: sums of squares of large numbers would lose the small differences.
            let (here, filled) = (scan[i], base[i]);
            let (s, f) = (Trend::of(&window, |k| scan[k] - here), Trend::of(&window, |k| base[k] - filled));
            let (mut ss, mut ff, mut sf) = (0.0f32, 0.0f32, 0.0f32);
            for &(k, _, _, w) in &window.pixels {
                let (a, b) = (scan[k] - here, base[k] - filled);
                ss += w * a * a;
                ff += w * b * b;
                sf += w * a * b;
            }
            all.scans += (ss - s.shared(&s)).max(0.0) / window.total;
            all.fills += (ff - f.shared(&f)).max(0.0) / window.total;
            all.both += (sf - s.shared(&f)) / window.total;
            let sigma = self.job.grain.channel_at(channel, filled);
            all.sigmas += sigma * sigma;
            trends.push((s.plane[0], f.plane[0]));
        }
        (all.grain, all.noise) = (all.sigmas * window.rest, window.noise);
        Some(View { trends, strengths: all })
    }
}

/// The inverse of a symmetric 3 x 3 matrix (11, 12, 13, 22, 23, 33); `None` when it all but has none.
fn inverted(m: [f32; 6]) -> Option<[f32; 6]> {
    let [a, b, c, d, e, f] = m.map(f64::from);
    let (p, q, r) = (d * f - e * e, c * e - b * f, b * e - c * d);
    let determinant = a * p + b * q + c * r;
    if determinant <= 1e-6 * a * d * f {
        return None;
    }
    Some([p, q, r, a * f - c * c, b * c - a * e, a * d - b * b].map(|v| (v / determinant) as f32))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;
    use besom_detect::Grain;
    use besom_scan::{Plane, Rect, RunMask};

    use crate::grain_texture::Noise;
    use crate::job::Choice;

    const SIGMA: f32 = 8.0;

    /// A slope with grain of its own.
    fn grainy(seed: u64) -> Plane {
        let mut noise = Noise::new(seed);
        let mut plane = Plane::from_fn(64, 64, |x, y| (400 + 2 * x + y) as f32);
        plane.as_mut_slice().iter_mut().for_each(|v| *v += SIGMA * noise.normal());
        plane
    }

    /// Root mean square error of a hole's fill and of what is recovered, and what was recovered, for dirt of an opacity
    /// (by position) and code 150 over one frame, with a fill whose blend is the mean of two other
    /// frames and whose grain is one's.
    fn tried(opacity: impl Fn(i32, i32) -> f32) -> (f32, f32, Recovered) {
        let (truth, other) = (grainy(1), grainy(2));
        let mask = RunMask::from_rect(&Rect::new(20, 20, 44, 44));
        let skip = Plane::<u8>::new(64, 64);
        let scanned = Plane::from_fn(64, 64, |x, y| {
            let a = opacity(x as i32, y as i32);
            if mask.contains(x as u32, y as u32) { (1.0 - a) * truth.at(x, y) + a * 150.0 } else { truth.at(x, y) }
        });
        let planes = [scanned];
        let grain = Grain::flat(1, SIGMA);
        let job = Job {
            planes: &planes,
            skip: &skip,
            mask: &mask,
            sources: &[],
            grain: &grain,
            choice: Choice::Automatic,
            seed: 1,
        };
        let hole = Hole::new(&mask, &skip).unwrap();
        let values: Vec<f32> = hole.inside.iter().map(|s| other.at(s.x as usize, s.y as usize)).collect();
        let third = grainy(3);
        let base = hole.inside.iter().zip(&values).map(|(s, v)| 0.5 * (v + third.at(s.x as usize, s.y as usize)));
        let mut fill = Composed { base: vec![base.collect()], values: vec![values] };
        let error = |fill: &Composed| {
            let off = hole.inside.iter().zip(&fill.values[0]).map(|(s, v)| v - truth.at(s.x as usize, s.y as usize));
            (off.map(|d| d * d).sum::<f32>() / hole.inside.len() as f32).sqrt()
        };
        let before = error(&fill);
        let recovered = recover(&job, &hole, &mut fill, (1.5f32).sqrt() * SIGMA);
        (before, error(&fill), recovered)
    }

    #[test]
    fn a_veil_is_looked_through_and_gives_back_the_frames_own_grain() {
        let (before, after, recovered) = tried(|_, _| 0.4);
        assert!(recovered.share > 0.7, "{recovered:?}");
        assert!(after < 0.7 * before, "{before} to {after}");
        assert!(recovered.left < 0.6, "{recovered:?}");
    }

    #[test]
    fn a_veil_that_thins_out_slowly_is_followed() {
        let (before, after, recovered) = tried(|x, y| 0.2 + 0.01 * (x + y - 40) as f32);
        assert!(recovered.share > 0.4 && after < 0.85 * before, "{before} to {after}, {recovered:?}");
    }

    #[test]
    fn what_lets_nothing_through_is_replaced() {
        let (before, after, recovered) = tried(|_, _| 1.0);
        assert_eq!((before, recovered.share), (after, 0.0));
    }

    #[test]
    fn torn_dirt_is_replaced() {
        let (before, after, recovered) = tried(|x, y| if (x / 2 + y / 2) % 2 == 0 { 0.5 } else { 0.1 });
        assert!(recovered.share < 0.02 && after <= before * 1.01, "{before} to {after}, {recovered:?}");
    }
}

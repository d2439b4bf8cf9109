//! Infrared as a prior: dirt on the film blocks it, the dyes of most colour film let it pass.
//!
//! It speaks up for a mark that the visible picture shows already, and a little against one that it does not show, never for
//! one that it alone shows: dirt that was printed in from an earlier generation, sparkle and dug-out dye are in the picture
//! and not on the film, and infrared passes there. Silver black-and-white film shows its picture in infrared too, and some
//! dyes leak; [`likeness`] measures that, and a plane that is too like the picture carries no weight.

use besom_motion::order::middle;
use besom_scan::{Plane, Rect, RunMask};
use rayon::prelude::*;

use crate::components::{Component, Thresholds, components};
use crate::evidence::Evidence;
use crate::prepare::{luma, smoothed};

/// The infrared of a frame, ready to be asked about marks.
#[derive(Clone, Debug)]
pub struct Infrared {
    /// Lightly smoothed, as the luma that marks are looked for on.
    plane: Plane,
    /// Standard deviation of the smoothed plane's own grain, in codes.
    sigma: f32,
    /// How much it counts, 0 to 1.
    weight: f32,
}

/// Pixels by which infrared may stand beside the visible picture: the lens does not focus both at one place.
const REACH: i32 = 2;
/// Width of the rim that a mark is held against, and its distance from the mark, which keeps the blur and the displacement out.
const RIM: (u32, u32) = (3, 4);
/// Least grain that is believed, in codes: a plane smoother than its own rounding is no measure of anything.
const LEAST_GRAIN: f32 = 0.25;

impl Infrared {
    /// Takes in an infrared plane of analysis codes with a weight from 0 to 1 (see [`Likeness::weight`]). `None` when the
    /// weight is 0, or the plane is empty or the same almost everywhere, as an opaque alpha channel is.
    pub fn new(plane: &Plane, weight: f32) -> Option<Self> {
        if weight.is_nan() || weight <= 0.0 || plane.width() == 0 || plane.height() == 0 {
            return None;
        }
        let plane = smoothed(plane);
        let spread = spread(&plane)?;
        (spread > 0.0).then(|| Self { plane, sigma: spread.max(LEAST_GRAIN), weight: weight.min(1.0) })
    }

    /// Columns and rows.
    pub fn size(&self) -> (usize, usize) {
        (self.plane.width(), self.plane.height())
    }

    /// How much darker than its rim the infrared is at a mark, in sigmas of its own grain: the darkest mean over the mark's
    /// pixels at any displacement of up to two pixels. `None` when the mark has no rim inside the frame.
    pub fn depth(&self, mask: &RunMask) -> Option<f32> {
        self.rim(mask).map(|rim| self.depth_below(rim, mask))
    }

    /// [`Infrared::depth`] where the rim is known.
    fn depth_below(&self, rim: f32, mask: &RunMask) -> f32 {
        let (mut darkest, area) = (f32::INFINITY, mask.area() as f32);
        for dy in -REACH..=REACH {
            for dx in -REACH..=REACH {
                let mut sum = 0.0;
                for run in mask.runs() {
                    let y = (run.y as i32 + dy).clamp(0, self.plane.height() as i32 - 1) as usize;
                    let row = self.plane.row(y);
                    let (x0, x1) = (run.x0 as i32 + dx, run.x1 as i32 + dx);
                    if x0 >= 0 && x1 as usize <= row.len() {
                        sum += row[x0 as usize..x1 as usize].iter().sum::<f32>();
                    } else {
                        sum += (x0..x1).map(|x| row[x.clamp(0, row.len() as i32 - 1) as usize]).sum::<f32>();
                    }
                }
                darkest = darkest.min(sum / area);
            }
        }
        (rim - darkest) / self.sigma
    }

    /// The median around a mark.
    fn rim(&self, mask: &RunMask) -> Option<f32> {
        let (width, height) = (self.plane.width() as u32, self.plane.height() as u32);
        let near = mask.grown(RIM.1, width, height);
        let mut around: Vec<f32> = Vec::new();
        for run in mask.grown(RIM.0 + RIM.1, width, height).minus(&near).runs() {
            if let Some(part) = self.plane.row(run.y as usize).get(run.x0 as usize..run.x1 as usize) {
                around.extend_from_slice(part);
            }
        }
        median(&mut around)
    }

    /// True when infrared is plainly blocked at a mark and hardly beyond it, and counts enough to say so by itself. What
    /// infrared shows must have about the mark's own size: a speck on its own lamp or sensor lies over some trace of grain
    /// or other, and that trace is smaller.
    pub fn blocked(&self, mask: &RunMask) -> bool {
        if self.weight < 0.5 {
            return false;
        }
        let Some(rim) = self.rim(mask) else { return false };
        let depth = self.depth_below(rim, mask);
        if depth < DEPTHS.1 {
            return false;
        }
        let (width, height) = (self.plane.width() as u32, self.plane.height() as u32);
        let level = rim - 0.5 * depth * self.sigma;
        let dark =
            |mask: &RunMask| mask.pixels().filter(|(x, y)| self.plane.at(*x as usize, *y as usize) < level).count();
        let (near, all) =
            (dark(&mask.grown(REACH as u32, width, height)), dark(&mask.grown(RIM.1 + RIM.0, width, height)));
        4 * near >= 3 * all && 5 * mask.area() >= 2 * all
    }

    /// False where a mark can hardly be blocked: no sample near it is far below the brightest of the four at the corners around.
    /// Costs little, and thousands of traces of grain are asked about.
    fn perhaps_blocked(&self, bounds: &Rect) -> bool {
        let away = (RIM.0 + RIM.1) as i32;
        let (left, right, top, bottom) =
            (bounds.x0 - away, bounds.x1 - 1 + away, bounds.y0 - away, bounds.y1 - 1 + away);
        let corners = [(left, top), (right, top), (left, bottom), (right, bottom)];
        let around = corners.map(|(x, y)| self.plane.clamped(x, y)).into_iter().fold(f32::MIN, f32::max);
        let limit = around - 0.7 * DEPTHS.1 * self.sigma;
        let mut near = (bounds.y0 - REACH..bounds.y1 + REACH)
            .flat_map(|y| (bounds.x0 - REACH..bounds.x1 + REACH).map(move |x| (x, y)));
        near.any(|(x, y)| self.plane.clamped(x, y) < limit)
    }

    /// What the infrared says about a mark.
    pub fn says(&self, mask: &RunMask) -> Opinion {
        let Some(depth) = self.depth(mask) else { return Opinion::default() };
        Opinion { log_odds: self.weight * log_odds(depth) }
    }
}

/// Joins to the marks found on the picture those that the test sees too weakly to begin with (down to the response at which
/// a mark ends), where infrared is plainly blocked. What the picture does not show at all is never joined.
pub fn join_weaker(infrared: &Infrared, evidence: &Evidence, t: &Thresholds, found: &mut Vec<Component>) {
    let first = |c: &Component| c.mask.first_pixel();
    let known: Vec<_> = found.iter().map(first).collect();
    // Growth from a weaker seed ends where growth from a strong one ends: what is found already is found again as it is.
    let weaker = components(evidence, &Thresholds { seed: t.grow, rank: 0.0, ..*t });
    let news: Vec<Component> = weaker
        .into_par_iter()
        .filter(|c| known.binary_search(&first(c)).is_err())
        .filter(|c| infrared.perhaps_blocked(&c.bounds) && infrared.blocked(&c.mask))
        .collect();
    found.extend(news);
    found.sort_by_key(first);
}

/// What infrared adds to a mark's log-odds of being dirt.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Opinion {
    /// From [`PASSES`] to [`BLOCKED`]; 0 when it knows nothing.
    pub log_odds: f32,
}

/// Log-odds of a mark where infrared is not darker than around it: little, because much dirt is printed in.
pub const PASSES: f32 = -0.15;
/// Log-odds of a mark where infrared is plainly blocked. On aged clips (`besom-proof infrared`) they came to 3.5 and more;
/// a film may hold more that blocks infrared and is no dirt than is made there.
pub const BLOCKED: f32 = 3.0;
/// Depths in sigmas between which the log-odds rise from the one to the other. Measured alike: about -0.1 below 2.5, 0.3 at 2.75,
/// 1 at 3.5, 2 at 5, 3 and more from 7 on, at marks of little confidence.
pub const DEPTHS: (f32, f32) = (2.5, 7.0);

/// Log-odds for a depth in sigmas.
pub fn log_odds(depth: f32) -> f32 {
    let part = ((depth - DEPTHS.0) / (DEPTHS.1 - DEPTHS.0)).clamp(0.0, 1.0);
    PASSES + (BLOCKED - PASSES) * part
}

impl Opinion {
    /// The reason in words, when it says enough to be told; in the manner of [`crate::Model::reasons`].
    pub fn words(self) -> Option<&'static str> {
        if self.log_odds > 0.5 {
            return Some("for: infrared is blocked here");
        }
        (self.log_odds < 0.5 * PASSES).then_some("against: infrared passes here")
    }

    /// The reasons with this one among the three: blocked infrared first, passing infrared last, where there is room.
    #[must_use]
    pub fn among(self, mut reasons: Vec<String>) -> Vec<String> {
        if let Some(words) = self.words() {
            let place = if self.log_odds > 0.0 { 0 } else { reasons.len() };
            reasons.insert(place, words.to_owned());
            reasons.truncate(3);
        }
        reasons
    }

    /// A probability after this opinion.
    pub fn shifted(self, probability: f32) -> f32 {
        if self.log_odds == 0.0 {
            return probability;
        }
        let p = probability.clamp(1e-6, 1.0 - 1e-6);
        let odds = p / (1.0 - p) * libm::expf(self.log_odds);
        odds / (1.0 + odds)
    }
}

/// Robust standard deviation of a plane against what stands five pixels away: its grain, and what else it shows at the size
/// of marks. `None` for a plane too small to tell.
fn spread(plane: &Plane) -> Option<f32> {
    const AWAY: usize = 5;
    const STEP: usize = 3;
    let (width, height) = (plane.width(), plane.height());
    let mut apart: Vec<f32> = Vec::new();
    for y in (AWAY..height.saturating_sub(AWAY)).step_by(STEP) {
        let (up, row, down) = (plane.row(y - AWAY), plane.row(y), plane.row(y + AWAY));
        for x in (AWAY..width.saturating_sub(AWAY)).step_by(STEP) {
            apart.push((row[x] - 0.25 * (up[x] + down[x] + row[x - AWAY] + row[x + AWAY])).abs());
        }
    }
    // The four others' mean adds a quarter to the variance; 1.4826 turns a median deviation into a standard deviation.
    median(&mut apart).map(|m| 1.4826 * m / 1.25f32.sqrt())
}

/// How much of the visible picture an infrared plane shows.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Likeness {
    /// Correlation of both planes' detail, from -1 to 1.
    pub correlation: f32,
    /// Contrast of the picture's detail in infrared against its contrast in the light.
    pub contrast: f32,
    /// How deep a detail of [`DETAIL`] codes of the picture is in infrared, in sigmas of the infrared's own grain.
    pub depth: f32,
}

/// Contrast of picture detail that is easily taken for a mark, in analysis codes.
pub const DETAIL: f32 = 100.0;

/// Depth of such a detail up to which infrared counts in full, and from which it does not count at all: from there what the
/// picture shows would be taken for something that blocks it (see [`DEPTHS`]).
pub const SHOWS: (f32, f32) = (1.5, 3.0);

/// Share of the picture's contrast up to which infrared counts in full, and from which it does not count at all, whatever its
/// grain: where fine detail fills the frame, a displacement makes detail look like grain.
pub const CONTRAST: (f32, f32) = (0.07, 0.15);

/// Correlation up to which infrared counts in full whatever its contrast, and from which the contrast decides: on a smooth and
/// dirty film the contrast is measured on grain and dirt alone.
pub const ALIKE: (f32, f32) = (0.12, 0.25);

impl Likeness {
    /// How much infrared counts that is this like the picture, from 0 to 1.
    pub fn weight(&self) -> f32 {
        let falls = |value: f32, (full, none): (f32, f32)| ((none - value) / (none - full)).clamp(0.0, 1.0);
        falls(self.depth, SHOWS).min(falls(self.contrast.abs(), CONTRAST)).max(falls(self.correlation.abs(), ALIKE))
    }
}

/// How much of the picture's planes (one, or red, green, blue) an infrared plane shows.
///
/// Detail of five to fifteen pixels is compared, too coarse for a displacement of a pixel or two to matter, in small areas, whose
/// median counts: dirt, which blocks both, spoils its own areas and not the median while less than half of them are dirty.
/// The channel (or luma) that is most alike counts: dyes that leak, leak in one layer. `None` when the planes differ in size,
/// are too small, or when the infrared is the same almost everywhere.
pub fn likeness(infrared: &Plane, picture: &[Plane]) -> Option<Likeness> {
    let size = |p: &Plane| (p.width(), p.height());
    if picture.is_empty() || picture.iter().any(|p| size(p) != size(infrared)) {
        return None;
    }
    let sigma = Infrared::new(infrared, 1.0)?.sigma;
    let band = detail(infrared);
    let luma = if picture.len() == 3 { vec![luma(picture)] } else { Vec::new() };
    let all = picture.iter().chain(&luma).filter_map(|plane| alike(&band, &detail(plane)));
    let (correlation, contrast) = all.max_by(|a, b| a.0.abs().total_cmp(&b.0.abs()))?;
    // A picture full of detail makes its own infrared look grainy: only what it does not explain is the infrared's own.
    let own = sigma * (1.0 - correlation * correlation).max(0.01).sqrt();
    Some(Likeness { correlation, contrast, depth: DETAIL * contrast.abs() / own })
}

/// Median correlation, and contrast of the first against the second, over areas of two bands.
fn alike(infrared: &Plane, visible: &Plane) -> Option<(f32, f32)> {
    const AREA: usize = 16;
    let mut areas: Vec<(f32, f32)> = Vec::new();
    for y0 in (0..(visible.height() + 1).saturating_sub(AREA)).step_by(AREA) {
        for x0 in (0..(visible.width() + 1).saturating_sub(AREA)).step_by(AREA) {
            let rows = (y0..y0 + AREA).map(|y| (&infrared.row(y)[x0..x0 + AREA], &visible.row(y)[x0..x0 + AREA]));
            let (mut i1, mut v1, mut ii, mut vv, mut iv) = (0.0f64, 0.0f64, 0.0f64, 0.0f64, 0.0f64);
            for (i, v) in rows.flat_map(|(i, v)| i.iter().zip(v)) {
                let (i, v) = (f64::from(*i), f64::from(*v));
                (i1, v1, ii, vv, iv) = (i1 + i, v1 + v, ii + i * i, vv + v * v, iv + i * v);
            }
            let n = (AREA * AREA) as f64;
            let (ii, vv, iv) = (ii - i1 * i1 / n, vv - v1 * v1 / n, iv - i1 * v1 / n);
            if ii > 0.0 && vv > 0.0 {
                areas.push(((iv / (ii * vv).sqrt()) as f32, (iv / vv) as f32));
            }
        }
    }
    let middle = |pick: fn(&(f32, f32)) -> f32| median(&mut areas.iter().map(pick).collect::<Vec<_>>());
    Some((middle(|a| a.0)?, middle(|a| a.1)?))
}

/// A plane's detail of five to fifteen pixels: the difference of two box means.
fn detail(plane: &Plane) -> Plane {
    let (fine, coarse) = (boxed(plane, 2), boxed(plane, 7));
    let mut out = fine;
    out.as_mut_slice().iter_mut().zip(coarse.as_slice()).for_each(|(f, c)| *f -= c);
    out
}

/// Mean over a square of `2 * radius + 1` pixels, the border's samples repeated.
fn boxed(plane: &Plane, radius: i32) -> Plane {
    let across = box_rows(plane, radius);
    let turned = Plane::from_fn(plane.height(), plane.width(), |x, y| across.at(y, x));
    let down = box_rows(&turned, radius);
    Plane::from_fn(plane.width(), plane.height(), |x, y| down.at(y, x))
}

fn box_rows(plane: &Plane, radius: i32) -> Plane {
    let mut out = Plane::new(plane.width(), plane.height());
    let last = plane.width() as i32 - 1;
    let share = 1.0 / f64::from(2 * radius + 1);
    for y in 0..plane.height() {
        let row = plane.row(y);
        let at = |x: i32| f64::from(row[x.clamp(0, last) as usize]);
        let mut sum: f64 = (-radius..=radius).map(at).sum();
        for (x, out) in out.row_mut(y).iter_mut().enumerate() {
            *out = (sum * share) as f32;
            sum += at(x as i32 + radius + 1) - at(x as i32 - radius);
        }
    }
    out
}

fn median(values: &mut [f32]) -> Option<f32> {
    (!values.is_empty()).then(|| middle(values))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use proptest::prelude::*;

    use super::*;

    /// Repeatable noise of a standard deviation, near enough to normal.
    fn noise(seed: u32) -> impl FnMut(f32) -> f32 {
        let mut s = seed;
        move |sigma| {
            let mut sum = 0.0;
            for _ in 0..4 {
                s = s.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                sum += (s >> 8) as f32 / 16_777_216.0 - 0.5;
            }
            sum * sigma * 3f32.sqrt()
        }
    }

    /// Even infrared with a block of 6x5 pixels at `(at.0, at.1)` that is `darker` codes darker.
    fn plane(at: (usize, usize), darker: f32) -> Plane {
        let mut noise = noise(3);
        Plane::from_fn(96, 80, |x, y| {
            let inside = (at.0..at.0 + 6).contains(&x) && (at.1..at.1 + 5).contains(&y);
            700.0 + noise(6.0) - if inside { darker } else { 0.0 }
        })
    }

    fn mark() -> RunMask {
        RunMask::from_rect(&Rect::new(40, 30, 46, 35))
    }

    #[test]
    fn a_blocked_mark_is_believed_up_to_two_pixels_beside_it() {
        for at in [(40, 30), (41, 31), (38, 31), (42, 28)] {
            let infrared = Infrared::new(&plane(at, 120.0), 1.0).unwrap();
            assert_eq!(infrared.says(&mark()).log_odds, BLOCKED, "{at:?}");
        }
        let far = Infrared::new(&plane((50, 30), 120.0), 1.0).unwrap();
        assert!(far.says(&mark()).log_odds < 0.0);
        let bright = Infrared::new(&plane((40, 30), -300.0), 1.0).unwrap();
        assert_eq!(bright.says(&mark()).log_odds, PASSES);
    }

    #[test]
    fn the_depth_is_in_sigmas_of_the_smoothed_grain() {
        // White noise of 6 codes under a binomial 3x3 has a standard deviation of 6 * 3/8 (the kernel's squares sum to 9/64).
        let infrared = Infrared::new(&plane((40, 30), 0.0), 1.0).unwrap();
        assert!((infrared.sigma / 2.25 - 1.0).abs() < 0.12, "{}", infrared.sigma);
    }

    #[test]
    fn a_plane_that_says_nothing_is_left_out() {
        assert!(Infrared::new(&Plane::filled(96, 80, 1023.0), 1.0).is_none(), "an opaque alpha channel");
        assert!(Infrared::new(&plane((40, 30), 120.0), 0.0).is_none());
        assert!(Infrared::new(&plane((40, 30), 120.0), f32::NAN).is_none());
        assert!(Infrared::new(&Plane::new(0, 0), 1.0).is_none());
        assert!(Infrared::new(&Plane::new(3, 3), 1.0).is_none());
    }

    #[test]
    fn an_opinion_moves_a_probability_by_its_odds_and_no_opinion_leaves_it() {
        assert_eq!(Opinion::default().shifted(0.237), 0.237);
        let twice = Opinion { log_odds: 2f32.ln() };
        approx::assert_relative_eq!(twice.shifted(0.2), 1.0 / 3.0, epsilon = 1e-5);
        assert!(Opinion { log_odds: BLOCKED }.shifted(0.0) < 1e-4, "never sole evidence");
        let reasons = vec!["for: a".to_owned(), "for: b".to_owned(), "against: c".to_owned()];
        let blocked = Opinion { log_odds: BLOCKED }.among(reasons.clone());
        assert_eq!(blocked, ["for: infrared is blocked here", "for: a", "for: b"]);
        assert_eq!(Opinion { log_odds: PASSES }.among(reasons.clone()), reasons);
        assert_eq!(Opinion { log_odds: PASSES }.among(Vec::new()), ["against: infrared passes here"]);
    }

    proptest! {
        #[test]
        fn the_log_odds_are_bounded_and_rise_with_the_depth(a in -50f32..50.0, b in -50f32..50.0) {
            let (low, high) = (a.min(b), a.max(b));
            prop_assert!(log_odds(low) <= log_odds(high));
            prop_assert!((PASSES..=BLOCKED).contains(&log_odds(a)));
        }

        #[test]
        fn marks_anywhere_are_measured_without_a_panic(x in 0i32..96, y in 0i32..80, w in 1i32..96, h in 1i32..80) {
            let infrared = Infrared::new(&plane((40, 30), 120.0), 1.0).unwrap();
            let mask = RunMask::from_rect(&Rect::new(x, y, (x + w).min(96), (y + h).min(80)));
            prop_assert!(infrared.depth(&mask).is_none_or(f32::is_finite));
        }
    }

    /// A picture with detail, and infrared with a share of it, displaced by `beside` pixels.
    fn pair(share: f32, beside: usize) -> (Plane, Plane) {
        let code = |x: usize, y: usize| {
            let (x, y) = (x as f32, y as f32);
            500.0 + 90.0 * (x / 2.7 + y / 9.0).sin() + 70.0 * (y / 2.1 - x / 11.0).cos()
        };
        let (mut a, mut b) = (noise(11), noise(12));
        let picture = Plane::from_fn(240, 192, |x, y| code(x, y) + a(7.0));
        (picture, Plane::from_fn(240, 192, |x, y| 300.0 + share * code(x + beside, y) + b(6.0)))
    }

    #[test]
    fn a_picture_in_the_infrared_is_noticed_even_beside_itself() {
        for beside in [0, 1, 2] {
            let (picture, silver) = pair(0.9, beside);
            let seen = likeness(&silver, &[picture]).unwrap();
            // Two pixels are a ninth of the shorter period here, and cost a part of the contrast.
            let least = [0.85, 0.7, 0.3][beside];
            assert!(seen.correlation > least && seen.contrast > least && seen.weight() == 0.0, "{seen:?}");
        }
        let (picture, leaking) = pair(0.25, 1);
        let flat = Plane::filled(240, 192, 400.0);
        let red = likeness(&leaking, &[picture.clone(), flat.clone(), flat]).unwrap();
        assert!(red.contrast > 0.15 && red.weight() == 0.0, "{red:?}");
        let (picture, dyes) = pair(0.02, 1);
        let hardly = likeness(&dyes, &[picture]).unwrap();
        assert!(hardly.contrast < 0.05 && hardly.weight() == 1.0, "{hardly:?}");
        // A smooth and dirty film: what blocks both is dirt. With what the means spread it lies in a third of the areas.
        let dirt = |x: usize, y: usize| if x % 67 < 6 && y % 61 < 6 { 400.0 } else { 0.0 };
        let (mut a, mut b) = (noise(21), noise(22));
        let smooth = Plane::from_fn(240, 192, |x, y| 500.0 + 0.5 * x as f32 - dirt(x, y) + a(7.0));
        let blocked = Plane::from_fn(240, 192, |x, y| 700.0 - dirt(x, y) + b(6.0));
        let dirty = likeness(&blocked, &[smooth]).unwrap();
        assert_eq!(dirty.weight(), 1.0, "{dirty:?}");
        let (picture, _) = pair(0.0, 0);
        assert!(
            likeness(&Plane::filled(240, 192, 1023.0), std::slice::from_ref(&picture)).is_none(),
            "an opaque alpha channel"
        );
        assert!(likeness(&Plane::new(10, 10), &[picture]).is_none());
    }

    #[test]
    fn only_what_the_picture_shows_is_joined() {
        let infrared = Infrared::new(&plane((40, 30), 150.0), 1.0).unwrap();
        let thresholds = Thresholds::default();
        let joined = |response: f32| {
            let spike = Plane::from_fn(96, 80, |x, y| {
                let mark = (40..46).contains(&x) && (30..35).contains(&y);
                let other = (70..76).contains(&x) && (50..55).contains(&y);
                if mark || other { response } else { 0.0 }
            });
            let evidence = Evidence { rank: Plane::new(96, 80), spike };
            let mut found = components(&evidence, &thresholds);
            assert!(found.is_empty());
            join_weaker(&infrared, &evidence, &thresholds, &mut found);
            found.iter().map(|c| (c.bounds.x0, c.bounds.y0)).collect::<Vec<_>>()
        };
        assert_eq!(joined(2.5), [(40, 30)], "too weak for the test, blocked in infrared; the other one passes");
        assert_eq!(joined(2.2), [], "not seen in the picture at all");
    }

    #[test]
    fn infrared_that_is_blocked_far_beyond_a_trace_is_not_of_its_making() {
        let mut noise = noise(3);
        let blob = |size: usize| {
            Plane::from_fn(96, 80, |x, y| {
                let inside = (40..40 + size).contains(&x) && (30..30 + size).contains(&y);
                700.0 + noise(6.0) - if inside { 150.0 } else { 0.0 }
            })
        };
        let [like, larger] = [5, 14].map(blob).map(|plane| Infrared::new(&plane, 1.0).unwrap());
        let trace = RunMask::from_rect(&Rect::new(41, 31, 45, 34));
        assert!(like.blocked(&trace) && !larger.blocked(&trace));
        assert!(larger.blocked(&RunMask::from_rect(&Rect::new(41, 31, 53, 44))));
    }

    #[test]
    fn what_is_found_already_is_not_joined_twice() {
        let infrared = Infrared::new(&plane((40, 30), 150.0), 1.0).unwrap();
        let spike = Plane::from_fn(96, 80, |x, y| {
            if (40..46).contains(&x) && (30..35).contains(&y) { if x == 44 { 5.0 } else { 2.5 } } else { 0.0 }
        });
        let evidence = Evidence { rank: spike.map(|v| 0.5 * v), spike };
        let mut found = components(&evidence, &Thresholds::default());
        let before = found.iter().map(|c| c.mask.clone()).collect::<Vec<_>>();
        assert_eq!(before.len(), 1);
        join_weaker(&infrared, &evidence, &Thresholds::default(), &mut found);
        assert_eq!(found.iter().map(|c| c.mask.clone()).collect::<Vec<_>>(), before);
    }
}

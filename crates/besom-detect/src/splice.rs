//! Splice marks: a line, the edge of tape or cement, a flash or a jump of the picture at the end of a shot.
//!
//! A splice lies at the frame line, so its marks lie near the upper or the lower edge, cross the frame from side to side and
//! are in one frame only. At a cut there is one neighbour to say so; what stands in the same rows of it, give or take a
//! few, is the scene's.

use besom_motion::order::middle;
use besom_scan::{Plane, Run, RunMask};

use crate::candidate::{Polarity, Risk};
use crate::whole::{Five, Link, Odd, STRIPS, Sketch, What};

/// Rows that a scene's own edge may be elsewhere in the neighbour, as a share of the height.
const STRAY: f32 = 0.004;
/// Difference in codes from which a strip is marked; where grain is strong, more.
const MARKED: f32 = 18.0;
/// Share of the strips that must be marked in a row, give or take the waver of an edge.
const ACROSS: f32 = 0.7;

/// A splice's mark on the middle frame, against the frames of its shot beside it: one at a cut, two inside a shot.
///
/// `links` lead from it to the frame before and to the one after.
pub(crate) fn mark(five: &Five, links: [Option<&Link>; 2]) -> Option<Odd> {
    let current = five[2]?;
    let (width, height) = current.size();
    let beside: Vec<(&Sketch, &Link)> =
        [five[1], five[3]].into_iter().zip(links).filter_map(|(s, l)| Some((s?, l?))).collect();
    if beside.is_empty() {
        return None;
    }
    let stray = ((STRAY * height as f32).round() as usize).max(2);
    let mut best: Option<Odd> = None;
    for (edge, own) in current.edges()?.iter().enumerate() {
        let mut excess = Plane::filled(STRIPS, own.height(), f32::INFINITY);
        for (other, link) in &beside {
            let there = &other.edges()?[edge];
            let pixels = current.cell() as f32;
            let moved = (link.motion.dx * pixels * STRIPS as f32 / width as f32, link.motion.dy * pixels);
            lower(&mut excess, own, there, (moved.0.round() as i32, moved.1.round() as i32), stray, edge == 0);
        }
        let top = if edge == 0 { 0 } else { height - own.height() };
        if let Some(found) = band(&excess, (top, width), stray, beside.len() == 1)
            && best.as_ref().is_none_or(|b| b.confidence < found.confidence)
        {
            best = Some(found);
        }
    }
    best
}

/// Keeps the smaller signed excess: how far a strip's row lies beyond everything in nearby rows of a neighbour.
fn lower(excess: &mut Plane, own: &Plane, there: &Plane, (shift, dy): (i32, i32), stray: usize, upper: bool) {
    let levels = levels(own, there, upper);
    let rows = own.height() as i32;
    for y in 0..rows {
        for s in 0..STRIPS as i32 {
            let (offset, gain) = levels[s as usize];
            let seen = own.at(s as usize, y as usize);
            let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
            for v in y + dy - stray as i32..=y + dy + stray as i32 {
                for u in s + shift - 1..=s + shift + 1 {
                    let value = there.clamped(u, v);
                    (low, high) = (low.min(value), high.max(value));
                }
            }
            let beyond = |here: f32| (here - high).max(0.0) + (here - low).min(0.0);
            // Light may have added or multiplied: what either explains is no mark.
            let (added, multiplied) = (beyond(seen - offset), beyond(seen * gain));
            let beyond = if added.abs() < multiplied.abs() { added } else { multiplied };
            let at = (s as usize, y as usize);
            let kept = excess.at(at.0, at.1);
            let least = if kept.is_infinite() {
                beyond
            } else if kept * beyond <= 0.0 {
                0.0
            } else if beyond.abs() < kept.abs() {
                beyond
            } else {
                kept
            };
            excess.set(at.0, at.1, least);
        }
    }
}

/// Each strip's difference of level, from the rows of the zone that lie farthest from the frame's edge and the strips
/// around it: light and lens differ over the frame, and a mark lies nearer to the edge.
fn levels(own: &Plane, there: &Plane, upper: bool) -> Vec<(f32, f32)> {
    let rows = own.height();
    let inner = if upper { rows - rows / 3..rows } else { 0..rows / 3 };
    (0..STRIPS)
        .map(|s| {
            let strips = s.saturating_sub(3)..(s + 4).min(STRIPS);
            let usual = |pick: &dyn Fn(usize, usize) -> f32| {
                let places = inner.clone().flat_map(|y| strips.clone().map(move |s| (s, y)));
                middle(&mut places.map(|(s, y)| pick(s, y)).collect::<Vec<_>>())
            };
            let offset = usual(&|s, y| own.at(s, y) - there.at(s, y));
            (offset, usual(&|s, y| there.at(s, y).max(1.0) / own.at(s, y).max(1.0)))
        })
        .collect()
}

/// The rows in which most strips are marked with one sign.
fn band(excess: &Plane, place: (usize, usize), stray: usize, one_sided: bool) -> Option<Odd> {
    let rows = excess.height();
    // What the picture's own unrest leaves in a strip: a mark must be clear of it.
    let unrest = middle(excess.map(f32::abs).as_mut_slice());
    let bound = MARKED.max(4.0 * unrest);
    let strong = |s: usize, y: usize, sign: f32| excess.at(s, y) * sign > bound;
    let near = |s: usize, y: usize, sign: f32| {
        (y.saturating_sub(stray)..=(y + stray).min(rows - 1)).any(|v| strong(s, v, sign))
    };
    let mut marked: Option<(usize, f32, usize)> = None;
    for sign in [1.0, -1.0] {
        for y in 0..rows {
            let count = (0..STRIPS).filter(|s| near(*s, y, sign)).count();
            if count as f32 >= ACROSS * STRIPS as f32 && marked.is_none_or(|(_, _, c)| c < count) {
                marked = Some((y, sign, count));
            }
        }
    }
    let (row, sign, count) = marked?;
    let (region, contrast) = region(excess, place, (row, bound), stray);
    let share = count as f32 / STRIPS as f32;
    let clear = (contrast / bound - 1.0).clamp(0.0, 1.0);
    let sure = 0.45 + 0.3 * clear + 0.8 * (share - ACROSS);
    let mut reasons = vec![
        format!("for: it crosses {:.0} % of the frame near its edge", 100.0 * share),
        "for: the frame beside it shows nothing of it".to_owned(),
    ];
    if one_sided {
        reasons.push("against: only one neighbouring frame can say so".to_owned());
    }
    Some(Odd {
        what: What::Splice,
        confidence: sure.min(0.9) * if one_sided { 0.9 } else { 1.0 },
        region: Some(region),
        polarity: if sign > 0.0 { Polarity::Bright } else { Polarity::Dark },
        contrast,
        risk: Risk { one_sided, ..Risk::default() },
        reasons,
    })
}

/// The marked rows of each strip around a row, joined as long as they touch; and their mean contrast.
fn region(excess: &Plane, (top, width): (usize, usize), (row, bound): (usize, f32), stray: usize) -> (RunMask, f32) {
    let rows = excess.height();
    let (mut runs, mut sum, mut count) = (Vec::new(), 0.0, 0.0);
    for s in 0..STRIPS {
        let on = |y: usize| excess.at(s, y).abs() > 0.5 * bound;
        let from = row.saturating_sub(2 * stray);
        let to = (row + 2 * stray).min(rows - 1);
        let (mut first, mut last) = (rows, 0);
        for y in (from..=to).filter(|y| on(*y)) {
            (first, last) = (first.min(y), last.max(y));
            sum += excess.at(s, y).abs();
            count += 1.0;
        }
        if first > last {
            continue;
        }
        while first > 0 && on(first - 1) {
            first -= 1;
        }
        while last + 1 < rows && on(last + 1) {
            last += 1;
        }
        let (x0, x1) = (s * width / STRIPS, (s + 1) * width / STRIPS);
        for y in first.saturating_sub(1)..=(last + 1).min(rows - 1) {
            runs.push(Run { y: (top + y) as u32, x0: x0 as u32, x1: x1 as u32 });
        }
    }
    (RunMask::from_runs(runs), sum / f32::max(count, 1.0))
}

/// What the first or the last frame of a shot does as a whole: a flash or a jump that the splice made.
pub(crate) fn at_end(five: &Five, [back, ahead]: [Option<&Link>; 2]) -> Option<Odd> {
    let [before_last, previous, current, next, after_next] = *five;
    let current = current?;
    let (beside, beyond, link) = match (previous, next) {
        (None, Some(next)) => (next, after_next?, ahead?),
        (Some(previous), None) => (previous, before_last?, back?),
        _ => return None,
    };
    flash(current, beside, beyond, link).or_else(|| jump(current, beside, beyond, link))
}

fn flash(current: &Sketch, beside: &Sketch, beyond: &Sketch, link: &Link) -> Option<Odd> {
    let step = current.level() - beside.level();
    if step.abs() < 40.0 || (beside.level() - beyond.level()).abs() > 0.2 * step.abs() {
        return None;
    }
    // Another picture altogether is a cut in the wrong place, not a flash.
    let structured = || link.blocks.iter().filter(|b| b.structured());
    if 2 * structured().filter(|b| b.shape < 0.7 * b.contrast).count() < structured().count() {
        return None;
    }
    Some(at_cut(
        What::FlashAtCut,
        0.4,
        step,
        format!("for: the frame at the cut is {} than the next two", if step > 0.0 { "brighter" } else { "darker" }),
        "against: a light in the scene could do the same",
    ))
}

/// Rows that the picture must jump, as a share of the height.
const JUMP: f32 = 0.012;

fn jump(current: &Sketch, beside: &Sketch, beyond: &Sketch, link: &Link) -> Option<Odd> {
    let near = link.motion;
    let least = JUMP * current.luma().height() as f32;
    if near.dy.abs() < least.max(0.7) || near.dx.abs() > 0.4 * near.dy.abs() {
        return None;
    }
    // The two frames beside it stand still against each other.
    if Link::new(beside, beyond)?.motion.length() >= 0.25 * near.dy.abs() {
        return None;
    }
    let rows = near.dy.abs() * current.cell() as f32;
    Some(at_cut(
        What::Jump,
        0.35,
        0.0,
        format!(
            "for: the picture stands {rows:.0} rows {} than in the next two frames",
            if near.dy > 0.0 { "higher" } else { "lower" }
        ),
        "against: the camera may have jerked",
    ))
}

fn at_cut(what: What, confidence: f32, step: f32, reason: String, against: &str) -> Odd {
    Odd {
        what,
        confidence,
        region: None,
        polarity: if step > 0.0 { Polarity::Bright } else { Polarity::Dark },
        contrast: step.abs(),
        risk: Risk { one_sided: true, ..Risk::default() },
        reasons: vec![reason, against.to_owned()],
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use besom_scan::Plane;

    use super::*;
    use crate::whole::all;

    const W: usize = 512;
    const H: usize = 384;

    /// A scene with a horizon near the lower edge, `down` rows lower than usual, with grain.
    fn frame(seed: u32, down: f32) -> Plane {
        let mut state = seed.wrapping_mul(747_796_405).wrapping_add(7);
        Plane::from_fn(W, H, |x, y| {
            let mut next = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / 16_777_216.0 - 0.5
            };
            let noise = 12.0 * (next() + next() + next());
            let (x, y) = (x as f32, y as f32 - down);
            let ground = if y > 360.0 { 200.0 } else { 560.0 };
            ground + 60.0 * (0.041 * x).sin() * (0.037 * y).cos() + 40.0 * (0.09 * x + 0.05 * y).sin() + noise
        })
    }

    fn found(first: Plane) -> Vec<Odd> {
        let frames = [first, frame(2, 0.0), frame(3, 0.0)].map(|p| Sketch::new(&[p]).unwrap());
        all(&[None, None, Some(&frames[0]), Some(&frames[1]), Some(&frames[2])])
    }

    #[test]
    fn a_scene_with_a_horizon_has_no_splice() {
        assert_eq!(found(frame(1, 0.0)), []);
        assert_eq!(found(frame(1, 1.0)), [], "the gate weaves by a row");
    }

    #[test]
    fn a_line_or_band_across_the_upper_edge_is_a_splice_and_masked() {
        for (from, to, code) in [(9, 12, 900.0), (0, 14, 250.0)] {
            let mut marked = frame(1, 0.0);
            for y in from..to {
                marked.row_mut(y).iter_mut().for_each(|v| *v += 0.6 * (code - *v));
            }
            let found = found(marked);
            assert_eq!(found.iter().map(|o| o.what).collect::<Vec<_>>(), [What::Splice], "{code}");
            let bounds = found[0].region.as_ref().unwrap().bounds();
            assert_eq!((bounds.x0, bounds.x1), (0, W as i32));
            assert!((bounds.y0 - from as i32).abs() <= 2 && (bounds.y1 - to as i32).abs() <= 2, "{bounds:?} {code}");
            assert!(found[0].risk.one_sided && found[0].confidence > 0.4);
        }
    }

    #[test]
    fn half_a_line_is_no_splice() {
        let mut marked = frame(1, 0.0);
        for y in 9..12 {
            marked.row_mut(y)[..W / 2].iter_mut().for_each(|v| *v = 900.0);
        }
        assert_eq!(found(marked), []);
    }

    #[test]
    fn a_flash_and_a_jump_at_the_cut_are_told_and_a_fade_is_not() {
        let what = |odd: Vec<Odd>| odd.iter().map(|o| o.what).collect::<Vec<_>>();
        assert_eq!(what(found(frame(1, 0.0).map(|v| 1.25 * v))), [What::FlashAtCut]);
        assert!(what(found(frame(1, 12.0))).contains(&What::Jump));
        let fade = [0.55, 0.7, 0.85].map(|g| Sketch::new(&[frame((g * 100.0) as u32, 0.0).map(|v| g * v)]).unwrap());
        assert_eq!(all(&[None, None, Some(&fade[0]), Some(&fade[1]), Some(&fade[2])]), []);
    }
}

//! Detection rules on the current picture and its two motion-compensated neighbours.

use besom_scan::Plane;

/// A published rule with its thresholds in analysis codes (0..1023): an 8-bit threshold is a quarter of ours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// Spike detection index a: both differences exceed the threshold in size.
    ///
    /// Kokaram, Morris, Fitzgerald, Rayner, IEEE Trans. Image Processing 4(11):1496-1508, 1995 (formula from memory).
    Sdia(f32),
    /// Spike detection index p: as [`Rule::Sdia`], and both differences have the same sign, so that the pixel lies
    /// outside what its neighbours span.
    ///
    /// The same paper (formula from memory); the sign comparison agrees with Storey, UK patent application
    /// GB 2 139 039 A, 1984.
    Sdip(f32),
    /// Rank-order differences with thresholds `[t1, t2, t3]`.
    ///
    /// Six references: three vertically adjacent pixels of each neighbour, sorted `r1 <= .. <= r6`. Above their median
    /// the differences are `i - r6, i - r5, i - r4`, else `r1 - i, r2 - i, r3 - i`; any above its threshold marks the
    /// pixel. Nadenau & Mitra, "Blotch and scratch detection in image sequences based on rank ordered differences",
    /// in Time-Varying Image Processing and Moving Object Recognition 4, 1997 (from memory).
    Rod([f32; 3]),
}

impl Rule {
    /// Rank-order differences as they are usually swept: the first threshold varies, the others stay at 39 and 55 of
    /// 255 (from memory), scaled to 1023.
    pub fn rod(first: f32) -> Self {
        Self::Rod([first, 39.0 * 1023.0 / 255.0, 55.0 * 1023.0 / 255.0])
    }

    /// The pixels that the rule marks, as ones.
    ///
    /// All three planes are of one size; `previous` and `next` are as seen from `current`. At the ends of a shot give
    /// the one neighbour twice. A neighbour's sample that is not a number (nothing known there) marks nothing.
    pub fn mark(self, current: &Plane, previous: &Plane, next: &Plane) -> Plane<u8> {
        Plane::from_fn(current.width(), current.height(), |x, y| {
            let marked = match self {
                Self::Sdia(t) => spike(current, previous, next, (x, y), t, false),
                Self::Sdip(t) => spike(current, previous, next, (x, y), t, true),
                Self::Rod(t) => rank_order(current, previous, next, (x, y), t),
            };
            u8::from(marked)
        })
    }
}

fn spike(current: &Plane, previous: &Plane, next: &Plane, (x, y): (usize, usize), t: f32, same_sign: bool) -> bool {
    let (back, forth) = (current.at(x, y) - previous.at(x, y), current.at(x, y) - next.at(x, y));
    back.abs() > t && forth.abs() > t && (!same_sign || (back > 0.0) == (forth > 0.0))
}

fn rank_order(current: &Plane, previous: &Plane, next: &Plane, (x, y): (usize, usize), t: [f32; 3]) -> bool {
    let i = current.at(x, y);
    let mut r = [0.0; 6];
    for (k, dy) in (-1..=1).enumerate() {
        r[k] = previous.clamped(x as i32, y as i32 + dy);
        r[k + 3] = next.clamped(x as i32, y as i32 + dy);
    }
    if r.iter().any(|v| v.is_nan()) {
        return false;
    }
    r.sort_unstable_by(f32::total_cmp);
    let above = i > f32::midpoint(r[2], r[3]);
    let e = if above { [i - r[5], i - r[4], i - r[3]] } else { [r[0] - i, r[1] - i, r[2] - i] };
    e.iter().zip(t).any(|(e, t)| *e > t)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(values: [f32; 3]) -> Plane {
        Plane::from_fn(1, 3, |_, y| values[y])
    }

    fn middle(rule: Rule, current: f32, previous: [f32; 3], next: [f32; 3]) -> bool {
        rule.mark(&column([0.0, current, 0.0]), &column(previous), &column(next)).at(0, 1) == 1
    }

    #[test]
    fn spikes_by_hand() {
        let both = |current, p, n| {
            let at = |rule| middle(rule, current, [0.0, p, 0.0], [0.0, n, 0.0]);
            (at(Rule::Sdia(40.0)), at(Rule::Sdip(40.0)))
        };
        assert_eq!(both(500.0, 400.0, 420.0), (true, true), "above both");
        assert_eq!(both(300.0, 400.0, 420.0), (true, true), "below both");
        assert_eq!(both(410.0, 300.0, 500.0), (true, false), "between the two: motion, not a mark");
        assert_eq!(both(450.0, 400.0, 420.0), (false, false), "one difference is too small");
        assert_eq!(both(440.0, 400.0, 400.0), (false, false), "the threshold itself does not mark");
        assert_eq!(both(500.0, f32::NAN, 400.0), (false, false), "nothing known");
    }

    #[test]
    fn rank_orders_by_hand() {
        let (p, n) = ([400.0, 410.0, 420.0], [405.0, 415.0, 425.0]);
        let at = |t, i| middle(Rule::Rod(t), i, p, n);
        // Sorted 400 405 410 415 420 425, median 412.5. For i = 450: 25, 30, 35.
        assert!(at([24.0, 99.0, 99.0], 450.0));
        assert!(!at([25.0, 30.0, 35.0], 450.0));
        assert!(at([99.0, 29.0, 99.0], 450.0));
        assert!(at([99.0, 99.0, 34.0], 450.0));
        // For i = 380, from below: 20, 25, 30.
        assert!(at([19.0, 99.0, 99.0], 380.0));
        assert!(at([99.0, 99.0, 29.0], 380.0));
        assert!(!at([20.0, 25.0, 30.0], 380.0));
        assert!(!middle(Rule::rod(10.0), 900.0, [f32::NAN; 3], n));
    }

    #[test]
    fn the_usual_sweep_scales_from_eight_bits() {
        let Rule::Rod(t) = Rule::rod(50.0) else { unreachable!() };
        approx::assert_abs_diff_eq!(t[1], 156.46, epsilon = 0.01);
        approx::assert_abs_diff_eq!(t[2], 220.65, epsilon = 0.01);
    }
}

//! How a mark stands out along its outline in its own frame.
//!
//! Dirt is a thing of its own: it steps away from the picture all around, and right outside of it the frame is what its
//! neighbours are. What only motion tears out of the picture goes on beyond its mask on one side or another.

use besom_scan::Plane;

/// A pixel of a mark's edge and the unit vector that points out of the mark there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct EdgePoint {
    pub(crate) x: usize,
    pub(crate) y: usize,
    pub(crate) normal: (f32, f32),
}

/// How far outside the edge the picture is read, in pixels: beyond the soft edge of a mark.
const OUT: f32 = 3.5;
/// A step of at least this many grain sigmas, and of this share of the mean step, closes the outline.
const STEP: f32 = 1.5;
const STEP_SHARE: f32 = 0.35;
/// The frame is quiet where it lies within so many grain sigmas of one of its neighbours.
const QUIET: f32 = 2.5;

/// What is measured along an outline.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Outline {
    /// Share of the edge that steps out of the picture, 0 to 1.
    pub(crate) closed: f32,
    /// The step that a sixth of the edge stays below, over the mean step.
    pub(crate) weakest: f32,
    /// Share of the edge outside of which the frame is what one of the neighbours is, 0 to 1.
    pub(crate) quiet: f32,
    /// The neighbour's mean step across the same edge, the larger of both, in grain sigmas.
    pub(crate) in_neighbours: f32,
}

/// Direction out of a mark at a place of its field of distances (0 inside), `w` wide: away from the mark's pixels in the
/// 5x5 around. `None` where they balance, as on a line of one pixel.
pub(crate) fn normal(distance: &[u8], w: usize, at: usize) -> Option<(f32, f32)> {
    let (column, row) = (at % w, at / w);
    let (mut nx, mut ny) = (0.0f32, 0.0f32);
    for dy in -2i32..=2 {
        for dx in -2i32..=2 {
            let (i, j) = (column as i32 + dx, row as i32 + dy);
            let inside = i >= 0
                && (i as usize) < w
                && j >= 0
                && distance.get(j as usize * w + i as usize).is_some_and(|d| *d == 0);
            if inside {
                nx -= dx as f32;
                ny -= dy as f32;
            }
        }
    }
    let length = (nx * nx + ny * ny).sqrt();
    (length > 0.5).then(|| (nx / length, ny / length))
}

/// Measures the outline of a mark of polarity `sign` (1 bright, -1 dark) in `luma`, held against both compensated
/// neighbours. All zero for a mark without an edge.
pub(crate) fn measure(edge: &[EdgePoint], luma: &Plane, seen: [&Plane; 2], sigma: f32, sign: f32) -> Outline {
    if edge.is_empty() {
        return Outline::default();
    }
    let mut steps = Vec::with_capacity(edge.len());
    let mut there = [0.0f32; 2];
    let mut quiet = 0usize;
    for point in edge {
        let at = |from: usize, normal: f32| (from as f32 + OUT * normal).round() as i32;
        let (x, y) = (at(point.x, point.normal.0), at(point.y, point.normal.1));
        let outside = luma.clamped(x, y);
        steps.push(sign * (luma.at(point.x, point.y) - outside) / sigma);
        let mut apart = f32::INFINITY;
        for (plane, step) in seen.iter().zip(&mut there) {
            let beyond = plane.clamped(x, y);
            *step += sign * (plane.at(point.x, point.y) - beyond) / sigma;
            apart = apart.min((outside - beyond).abs() / sigma);
        }
        quiet += usize::from(apart < QUIET);
    }
    let count = steps.len() as f32;
    let mean = steps.iter().sum::<f32>() / count;
    let enough = STEP.max(STEP_SHARE * mean);
    let closed = steps.iter().filter(|s| **s > enough).count();
    let sixth = steps.len() / 6;
    let (_, weak, _) = steps.select_nth_unstable_by(sixth, f32::total_cmp);
    Outline {
        closed: closed as f32 / count,
        weakest: *weak / mean.abs().max(1.0),
        quiet: quiet as f32 / count,
        in_neighbours: there[0].max(there[1]) / count,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Edge points of a disc, with the normals that geometry gives.
    fn circle(centre: (usize, usize), radius: f32) -> Vec<EdgePoint> {
        (0..24)
            .map(|k| {
                let angle = k as f32 * std::f32::consts::TAU / 24.0;
                let normal = (angle.cos(), angle.sin());
                let at = |c: usize, n: f32| (c as f32 + radius * n).round() as usize;
                EdgePoint { x: at(centre.0, normal.0), y: at(centre.1, normal.1), normal }
            })
            .collect()
    }

    fn disc(radius: f32) -> impl Fn(usize, usize) -> bool {
        move |x, y| (x as f32 - 20.0).hypot(y as f32 - 20.0) <= radius
    }

    #[test]
    fn normals_point_out_of_a_disc() {
        let inside = disc(6.0);
        let (w, h) = (41, 41);
        let distance: Vec<u8> = (0..w * h).map(|k| u8::from(!inside(k % w, k / w))).collect();
        for point in circle((20, 20), 5.6) {
            let found = normal(&distance, w, point.y * w + point.x).unwrap_or_default();
            assert!(found.0 * point.normal.0 + found.1 * point.normal.1 > 0.95, "{point:?} {found:?}");
        }
        assert_eq!(normal(&distance, w, 20 * w + 20), None, "the middle has no side");
    }

    #[test]
    fn a_mark_of_its_own_is_closed_and_quiet_outside() {
        let inside = disc(6.0);
        let now = Plane::from_fn(41, 41, |x, y| if inside(x, y) { 200.0 } else { 500.0 });
        let neighbour = Plane::filled(41, 41, 500.0);
        let found = measure(&circle((20, 20), 5.6), &now, [&neighbour, &neighbour], 7.0, -1.0);
        assert_eq!((found.closed, found.quiet, found.in_neighbours), (1.0, 1.0, 0.0));
        approx::assert_relative_eq!(found.weakest, 1.0, epsilon = 1e-3);
    }

    #[test]
    fn a_piece_of_a_moving_edge_is_open_on_its_side() {
        // The picture goes on to the left of the mark: half of its outline is no step, and the neighbours are elsewhere.
        let inside = disc(6.0);
        let now = Plane::from_fn(41, 41, |x, y| if inside(x, y) || x < 20 { 200.0 } else { 500.0 });
        let neighbour = Plane::filled(41, 41, 500.0);
        let found = measure(&circle((20, 20), 5.6), &now, [&neighbour, &neighbour], 7.0, -1.0);
        assert!((0.3..0.7).contains(&found.closed), "{found:?}");
        assert!(found.quiet < 0.7 && found.weakest < 0.1, "{found:?}");
    }
}

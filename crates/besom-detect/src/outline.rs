//! How a mark stands out along its outline in its own frame.
//!
//! Dirt is a thing of its own: it steps away from the picture all around, and right outside of it the frame is what its
//! neighbours are. What only motion tears out of the picture goes on beyond its mask on one side or another.

use besom_scan::{Plane, RunMask};

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

/// Margin around a mark's rectangle in its map, so that 5x5 pixels around any of its own lie inside.
const MARGIN: i32 = 2;

/// The pixels of a mark's `edge` with the direction out of it: away from its pixels in the 5x5 around. Left out is an edge
/// whose pixels balance, as on a line of one pixel.
pub(crate) fn edge_points(mask: &RunMask, edge: &[(usize, usize)]) -> Vec<EdgePoint> {
    let area = mask.bounds().grown(MARGIN);
    let width = area.width();
    let mut inside = vec![0u8; width * area.height()];
    for run in mask.runs() {
        let start = (run.y as i32 - area.y0) as usize * width;
        inside[start + (run.x0 as i32 - area.x0) as usize..start + (run.x1 as i32 - area.x0) as usize].fill(1);
    }
    let normal = |&(x, y): &(usize, usize)| {
        let (left, top) = (x as i32 - area.x0 - MARGIN, y as i32 - area.y0 - MARGIN);
        let (mut nx, mut ny) = (0i32, 0i32);
        for (dy, j) in (-MARGIN..=MARGIN).zip(top..) {
            let row = inside.get(j as usize * width + left as usize..)?.get(..2 * MARGIN as usize + 1)?;
            for (dx, inside) in (-MARGIN..=MARGIN).zip(row) {
                nx -= dx * i32::from(*inside);
                ny -= dy * i32::from(*inside);
            }
        }
        let length = ((nx * nx + ny * ny) as f32).sqrt();
        (length > 0.5).then(|| EdgePoint { x, y, normal: (nx as f32 / length, ny as f32 / length) })
    };
    edge.iter().filter_map(normal).collect()
}

impl Outline {
    /// Measures the outline of a mark of polarity `sign` (1 bright, -1 dark) in `luma`, held against both compensated
    /// neighbours. All zero for a mark without an edge.
    pub(crate) fn measure(edge: &[EdgePoint], luma: &Plane, seen: [&Plane; 2], sigma: f32, sign: f32) -> Self {
        if edge.is_empty() {
            return Self::default();
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
        Self {
            closed: closed as f32 / count,
            weakest: *weak / mean.abs().max(1.0),
            quiet: quiet as f32 / count,
            in_neighbours: there[0].max(there[1]) / count,
        }
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
        let mask = RunMask::from_plane(&Plane::from_fn(41, 41, |x, y| u8::from(inside(x, y))), 0, 0);
        let round = circle((20, 20), 5.6);
        let places: Vec<(usize, usize)> = round.iter().map(|p| (p.x, p.y)).collect();
        let found = edge_points(&mask, &places);
        assert_eq!(found.len(), round.len());
        for (found, wanted) in found.iter().zip(&round) {
            let along = found.normal.0 * wanted.normal.0 + found.normal.1 * wanted.normal.1;
            assert!(along > 0.95, "{found:?} {wanted:?}");
        }
        assert_eq!(edge_points(&mask, &[(20, 20)]), vec![], "the middle has no side");
    }

    #[test]
    fn a_mark_at_the_frames_corner_has_an_outline() {
        let mask = RunMask::from_plane(&Plane::from_fn(9, 9, |x, y| u8::from(x < 3 && y < 3)), 0, 0);
        let found = edge_points(&mask, &[(0, 0), (2, 2)]);
        approx::assert_relative_eq!(found[1].normal.0, 0.5f32.sqrt());
        approx::assert_relative_eq!(found[0].normal.1, -(0.5f32.sqrt()));
    }

    #[test]
    fn a_mark_of_its_own_is_closed_and_quiet_outside() {
        let inside = disc(6.0);
        let now = Plane::from_fn(41, 41, |x, y| if inside(x, y) { 200.0 } else { 500.0 });
        let neighbour = Plane::filled(41, 41, 500.0);
        let found = Outline::measure(&circle((20, 20), 5.6), &now, [&neighbour, &neighbour], 7.0, -1.0);
        assert_eq!((found.closed, found.quiet, found.in_neighbours), (1.0, 1.0, 0.0));
        approx::assert_relative_eq!(found.weakest, 1.0, epsilon = 1e-3);
    }

    #[test]
    fn a_piece_of_a_moving_edge_is_open_on_its_side() {
        // The picture goes on to the left of the mark: half of its outline is no step, and the neighbours are elsewhere.
        let inside = disc(6.0);
        let now = Plane::from_fn(41, 41, |x, y| if inside(x, y) || x < 20 { 200.0 } else { 500.0 });
        let neighbour = Plane::filled(41, 41, 500.0);
        let found = Outline::measure(&circle((20, 20), 5.6), &now, [&neighbour, &neighbour], 7.0, -1.0);
        assert!((0.3..0.7).contains(&found.closed), "{found:?}");
        assert!(found.quiet < 0.7 && found.weakest < 0.1, "{found:?}");
    }
}

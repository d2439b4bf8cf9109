//! Masks over the picture, pixel by pixel: their edge on a dark casing, and inside a tint (a mark) or hatching (a region).

use besom_reel::drawn::Point;
use besom_scan::{Run, RunMask};
use egui::epaint::PathShape;
use egui::{Color32, Mesh, Painter, Pos2, Rect, Shape, Stroke, pos2, vec2};

use crate::glyph::{CASING, LINE};
use crate::picture::Placed;
use crate::tokens;

/// Distance of hatching lines, and height of the bands they are drawn in where rows are lower.
const HATCH: f32 = 14.0;
const BAND: f32 = 3.0;
/// How much of the picture a tint leaves.
const TINT: f32 = 0.38;

/// A mark that is being drawn: tinted, with a cased edge.
pub(super) fn tinted(painter: &Painter, placed: &Placed, mask: &RunMask, hue: Color32) {
    let rows = Rows::new(mask, placed, painter.clip_rect());
    let mut tint = Mesh::default();
    for run in rows.runs() {
        tint.add_colored_rect(rows.rect(run), hue.gamma_multiply(TINT));
    }
    painter.add(Shape::mesh(tint));
    edge(painter, &rows, hue);
}

/// A protected shape: hatched, with a cased edge.
pub(super) fn hatched(painter: &Painter, placed: &Placed, mask: &RunMask) {
    let rows = Rows::new(mask, placed, painter.clip_rect());
    let clip = painter.clip_rect();
    for (width, colour) in [(3.0, Color32::from_black_alpha(70)), (1.0, tokens::over::PROTECTED.gamma_multiply(0.45))] {
        for run in rows.runs() {
            let rect = rows.rect(run).intersect(clip);
            // Lines on which column and row have the same sum, so that they go on from band to band.
            let mut sum = ((rect.left() + rect.top()) / HATCH).ceil() * HATCH;
            while sum < rect.right() + rect.bottom() {
                let (top, bottom) = (rect.top().max(sum - rect.right()), rect.bottom().min(sum - rect.left()));
                painter.line_segment([pos2(sum - top, top), pos2(sum - bottom, bottom)], Stroke::new(width, colour));
                sum += HATCH;
            }
        }
    }
    edge(painter, &rows, tokens::over::PROTECTED);
}

/// An outline that is not closed yet: its line up to the ring, where it began, and faintly the way home.
pub(super) fn open_outline(painter: &Painter, placed: &Placed, points: &[Point], at: Option<Point>, hue: Color32) {
    let place = |(x, y): &Point| placed.window(*x as f32, *y as f32);
    let mut line: Vec<Pos2> = points.iter().map(place).collect();
    line.extend(at.as_ref().map(place));
    let (Some(first), Some(last)) = (line.first().copied(), line.last().copied()) else { return };
    for (width, colour) in [(CASING, tokens::over::CASING), (LINE, hue)] {
        painter.add(Shape::dashed_line(&[last, first], Stroke::new(width, colour.gamma_multiply(0.6)), 4.0, 5.0));
        painter.add(PathShape::line(line.clone(), Stroke::new(width, colour)));
    }
    painter.rect_filled(Rect::from_center_size(first, vec2(7.0, 7.0)), 0.0, tokens::over::LIGHT);
}

/// The brush at its place, as broad as it paints; a cross where it would be too small to be seen.
pub(super) fn ring(painter: &Painter, placed: &Placed, at: Point, breadth: f64, takes: bool) {
    let centre = placed.window(at.0 as f32, at.1 as f32);
    let radius = breadth as f32 / 2.0 * placed.scale;
    for (width, colour) in [(CASING, tokens::over::CASING), (LINE, tokens::over::LIGHT)] {
        let stroke = Stroke::new(width, colour);
        if radius >= 3.0 {
            painter.circle_stroke(centre, radius, stroke);
        }
        let reach = if radius >= 3.0 { radius.min(5.0) * 0.6 } else { 6.0 };
        // A plus paints, a minus takes away.
        painter.line_segment([centre - vec2(reach, 0.0), centre + vec2(reach, 0.0)], stroke);
        if !takes {
            painter.line_segment([centre - vec2(0.0, reach), centre + vec2(0.0, reach)], stroke);
        }
    }
}

/// The rows of a mask that are seen; where rows are lower than a band, one row stands for as many as fill it.
struct Rows<'a> {
    runs: &'a [Run],
    placed: Placed,
    /// Rows a band.
    step: u32,
}

impl<'a> Rows<'a> {
    fn new(mask: &'a RunMask, placed: &Placed, clip: Rect) -> Self {
        let (top, bottom) = (placed.picture(clip.left_top()).1, placed.picture(clip.right_bottom()).1);
        let all = mask.runs();
        let from = all.partition_point(|r| r.y as f32 + 1.0 < top);
        let to = all.partition_point(|r| (r.y as f32) < bottom);
        let runs = all.get(from..to.max(from)).unwrap_or_default();
        let step = (BAND / placed.scale.max(1e-3)).floor().max(1.0) as u32;
        // A small mask is drawn whole whatever the zoom.
        let step = if runs.len() < 2_000 { 1 } else { step };
        Self { runs, placed: *placed, step }
    }

    fn runs(&self) -> impl Iterator<Item = &'a Run> + use<'a> {
        let step = self.step;
        self.runs.iter().filter(move |r| r.y % step == 0)
    }

    fn rect(&self, run: &Run) -> Rect {
        let y1 = run.y + self.step;
        Rect::from_min_max(
            self.placed.window(run.x0 as f32, run.y as f32),
            self.placed.window(run.x1 as f32, y1 as f32),
        )
    }
}

/// The line between the pixels of a mask and those around it.
fn edge(painter: &Painter, rows: &Rows<'_>, hue: Color32) {
    let runs: Vec<Run> = rows.runs().copied().collect();
    let sides = sides(&runs, rows.step);
    for (width, colour) in [(CASING, tokens::over::CASING), (LINE, hue)] {
        let mut mesh = Mesh::default();
        for [from, to] in &sides {
            let line = Rect::from_two_pos(
                rows.placed.window(from.0 as f32, from.1 as f32),
                rows.placed.window(to.0 as f32, to.1 as f32),
            );
            mesh.add_colored_rect(line.expand(width / 2.0), colour);
        }
        painter.add(Shape::mesh(mesh));
    }
}

/// The sides between pixels inside and pixels outside, `step` rows apart, upright ones and level ones, each from its left or upper end.
fn sides(runs: &[Run], step: u32) -> Vec<[(u32, u32); 2]> {
    let mut sides = Vec::new();
    for run in runs {
        for x in [run.x0, run.x1] {
            sides.push([(x, run.y), (x, run.y + step)]);
        }
    }
    let row = |y: u32| {
        let from = runs.partition_point(|r| r.y < y);
        let to = runs.partition_point(|r| r.y <= y);
        runs.get(from..to).unwrap_or_default()
    };
    let mut level = |y: u32, here: &[Run], there: &[Run]| {
        for run in here {
            let mut x = run.x0;
            for other in there.iter().filter(|o| o.x0 < run.x1 && run.x0 < o.x1) {
                if other.x0 > x {
                    sides.push([(x, y), (other.x0, y)]);
                }
                x = x.max(other.x1);
            }
            if x < run.x1 {
                sides.push([(x, y), (run.x1, y)]);
            }
        }
    };
    let mut last = None;
    for y in runs.iter().map(|r| r.y) {
        if last == Some(y) {
            continue;
        }
        last = Some(y);
        let above = y.checked_sub(step).map_or(&[][..], row);
        level(y, row(y), above);
        level(y + step, row(y), row(y + step));
    }
    sides
}

#[cfg(test)]
mod tests {
    use super::*;
    use besom_reel::drawn;
    use std::collections::BTreeSet;

    /// Each unit of the edge lies between a pixel inside and one outside, and none is missing or drawn twice.
    #[test]
    fn the_edge_is_where_inside_meets_outside() {
        let ring = drawn::stroke(&[(9.0, 8.0), (14.0, 11.0)], 9.0, 24, 20);
        let mask =
            ring.minus(&drawn::stroke(&[(10.0, 9.0)], 3.0, 24, 20)).union(&drawn::stroke(&[(20.5, 3.5)], 1.0, 24, 20));
        let mut drawn_units = Vec::new();
        for [(x0, y0), (x1, y1)] in sides(mask.runs(), 1) {
            assert!((x0 == x1) != (y0 == y1));
            drawn_units.extend((x0..x1).map(|x| (x, y0, false)).chain((y0..y1).map(|y| (x0, y, true))));
        }
        let mut expected = BTreeSet::new();
        for (x, y) in mask.pixels() {
            let outside = |dx: u32, dy: u32| !mask.contains(x.wrapping_add(dx), y.wrapping_add(dy));
            let minus = u32::MAX;
            expected.extend(outside(minus, 0).then_some((x, y, true)));
            expected.extend(outside(1, 0).then_some((x + 1, y, true)));
            expected.extend(outside(0, minus).then_some((x, y, false)));
            expected.extend(outside(0, 1).then_some((x, y + 1, false)));
        }
        assert_eq!(drawn_units.len(), expected.len());
        assert_eq!(drawn_units.into_iter().collect::<BTreeSet<_>>(), expected);
    }
}

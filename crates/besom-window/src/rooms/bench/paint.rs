//! What lies over the picture: outlines, protected regions, tags.

use besom_reel::{CandidateId, Decision, Region};
use egui::epaint::PathShape;
use egui::{Color32, CornerRadius, Painter, Pos2, Rect, Stroke, StrokeKind, vec2};

use super::mask_paint;
use super::protect::Form;
use crate::desk::Desk;
use crate::picture::Placed;
use crate::{glyph, tokens};

/// One candidate on the canvas.
pub(super) struct Outline {
    pub(super) id: CandidateId,
    /// Where it is drawn.
    pub(super) rect: Rect,
    /// Where it can be clicked.
    pub(super) hit: Rect,
    pub(super) decision: Decision,
    pub(super) in_hand: bool,
    /// What it is proposed as.
    pub(super) proposed: Option<Decision>,
}

/// All outlines, the one in hand last.
pub(super) fn candidates(painter: &Painter, outlines: &[Outline]) {
    for outline in outlines {
        glyph::outline(painter, outline.rect, outline.decision, outline.in_hand);
        if let Some(decision) = outline.proposed {
            glyph::proposal_badge(painter, outline.rect, tokens::over::decision(decision));
        }
    }
}

/// A light line around the members of the group that the candidate in hand belongs to, as far as they are on this frame;
/// brighter once the group is in hand whole.
pub(super) fn group(painter: &Painter, desk: &Desk, placed: &Placed) {
    let Some(group) = desk.group() else { return };
    let frame = desk.frame();
    let here = group.members.iter().filter(|id| id.frame == frame && desk.shows(**id));
    let corners: Vec<Pos2> = here
        .filter_map(|id| desk.reel().candidate(*id))
        .map(|candidate| placed.rect(&candidate.bounds()).expand(12.0))
        .flat_map(|r| [r.left_top(), r.right_top(), r.right_bottom(), r.left_bottom()])
        .collect();
    let hull = hull(corners);
    if hull.is_empty() {
        return;
    }
    let whole = desk.together().is_some();
    let light = if whole { tokens::over::LIGHT } else { tokens::over::LIGHT.gamma_multiply(0.55) };
    let width = if whole { 2.0 } else { 1.0 };
    painter.add(PathShape::closed_line(hull.clone(), Stroke::new(width + 2.0, tokens::over::CASING)));
    painter.add(PathShape::closed_line(hull, Stroke::new(width, light)));
}

/// The convex outline of points (Andrew, "Another efficient algorithm for convex hulls in two dimensions", 1979).
fn hull(mut points: Vec<Pos2>) -> Vec<Pos2> {
    points.sort_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    points.dedup();
    if points.len() < 3 {
        return points;
    }
    let half = |points: &mut dyn Iterator<Item = Pos2>| {
        let mut line: Vec<Pos2> = Vec::new();
        for point in points {
            while let [.., a, b] = line[..]
                && (b - a).x * (point - a).y - (b - a).y * (point - a).x <= 0.0
            {
                line.pop();
            }
            line.push(point);
        }
        // The last point begins the other half.
        line.pop();
        line
    };
    let mut outline = half(&mut points.iter().copied());
    outline.extend(half(&mut points.iter().rev().copied()));
    outline
}

/// Protected regions of the current frame: hatched, with a solid edge.
///
/// The one that `form` changes is left to the form.
pub(super) fn regions(painter: &Painter, desk: &Desk, placed: &Placed, form: Option<&Form>) {
    let changed = |region: &&Region| form.is_some_and(|form| form.changes(&region.id));
    for region in desk.reel().regions().iter().filter(|r| r.covers(desk.frame())).filter(|r| !changed(r)) {
        match &region.mask {
            Some(mask) => mask_paint::hatched(painter, placed, mask),
            None => region_shape(painter, placed.rect(&region.rect)),
        }
    }
}

fn region_shape(painter: &Painter, rect: Rect) {
    glyph::hatch(painter, rect, 14.0, Stroke::new(3.0, Color32::from_black_alpha(70)));
    glyph::hatch(painter, rect, 14.0, Stroke::new(1.0, tokens::over::PROTECTED.gamma_multiply(0.45)));
    painter.rect_stroke(rect, CornerRadius::ZERO, Stroke::new(3.5, tokens::over::CASING), StrokeKind::Middle);
    painter.rect_stroke(rect, CornerRadius::ZERO, Stroke::new(1.5, tokens::over::PROTECTED), StrokeKind::Middle);
}

/// The rectangle being drawn.
pub(super) fn new_region(painter: &Painter, rect: Rect) {
    region_shape(painter, rect);
    for corner in [rect.left_top(), rect.right_top(), rect.left_bottom(), rect.right_bottom()] {
        painter.rect_filled(Rect::from_center_size(corner, vec2(7.0, 7.0)), CornerRadius::ZERO, tokens::over::LIGHT);
    }
}

/// A line of text on the picture, on a dark ground.
pub(super) fn tag(painter: &Painter, at: Pos2, text: &str, colour: Color32, width: f32) {
    let galley = painter.layout(text.to_owned(), tokens::small(), colour, width);
    let rect = Rect::from_min_size(at, galley.size() + vec2(16.0, 8.0));
    painter.rect_filled(rect, tokens::RADIUS, tokens::over::CASING);
    painter.galley(at + vec2(8.0, 4.0), galley, colour);
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::pos2;

    #[test]
    fn the_line_around_a_group_has_all_points_inside_and_only_corners() {
        let square = [pos2(0.0, 0.0), pos2(4.0, 0.0), pos2(4.0, 4.0), pos2(0.0, 4.0)];
        let mut points = square.to_vec();
        points.extend([pos2(2.0, 0.0), pos2(1.0, 3.0), pos2(4.0, 4.0), pos2(3.0, 2.0)]);
        assert_eq!(hull(points), square);
        assert_eq!(hull(Vec::new()), []);
        assert_eq!(hull(vec![pos2(1.0, 2.0)]), [pos2(1.0, 2.0)]);
    }
}

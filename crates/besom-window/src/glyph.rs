//! Shapes that speak: outlines of candidates on the picture, marks in lists, icons on buttons, and the broom.
//!
//! Each decision has a shape of its own, so that nothing depends on hue: *undecided* is open at its sides (an open
//! question), *accepted* is closed and rounded with a tick, *rejected* is dashed with a cross, *intended* has cut corners
//! with a dot. The candidate in hand wears a second, white ring.

use besom_reel::Decision;
use egui::epaint::PathShape;
use egui::{Color32, Painter, Pos2, Rect, Shape, Stroke, Vec2, pos2, vec2};

use crate::tokens;

/// Width of the coloured line.
pub(crate) const LINE: f32 = 1.5;
/// Width of the dark casing under it.
pub(crate) const CASING: f32 = 3.5;

/// Paints the outline of a candidate: casing first, then the hue.
pub(crate) fn outline(painter: &Painter, rect: Rect, decision: Decision, in_hand: bool) {
    let lines = outline_lines(rect, decision);
    for (stroke, badge) in [
        (Stroke::new(CASING, tokens::over::CASING), Stroke::new(CASING + 0.5, tokens::over::CASING)),
        (
            Stroke::new(LINE, tokens::over::decision(decision)),
            Stroke::new(LINE + 0.5, tokens::over::decision(decision)),
        ),
    ] {
        for line in &lines {
            painter.add(PathShape::line(line.clone(), stroke));
        }
        paint_badge(painter, rect.right_top() + vec2(5.0, -5.0), 3.5, decision, badge);
    }
    if in_hand {
        let ring = rect.expand(5.0);
        let corners = |at: Rect| vec![at.left_top(), at.right_top(), at.right_bottom(), at.left_bottom()];
        painter.add(PathShape::closed_line(corners(ring), Stroke::new(CASING, tokens::over::CASING)));
        painter.add(PathShape::closed_line(corners(ring), Stroke::new(LINE, tokens::over::LIGHT)));
    }
}

/// The lines around a rectangle that stand for a decision.
fn outline_lines(r: Rect, decision: Decision) -> Vec<Vec<Pos2>> {
    match decision {
        Decision::Undecided => {
            let reach = (r.size().min_elem() * 0.34).clamp(3.0, 14.0);
            [(r.left_top(), 1.0, 1.0), (r.right_top(), -1.0, 1.0), (r.right_bottom(), -1.0, -1.0)]
                .into_iter()
                .chain([(r.left_bottom(), 1.0, -1.0)])
                .map(|(c, x, y)| vec![c + vec2(reach * x, 0.0), c, c + vec2(0.0, reach * y)])
                .collect()
        }
        Decision::Accepted => vec![closed(rounded(r, 4.0))],
        Decision::Rejected => {
            let corners = closed(vec![r.left_top(), r.right_top(), r.right_bottom(), r.left_bottom()]);
            corners.windows(2).flat_map(|side| dashes(side[0], side[1])).collect()
        }
        Decision::Intended => {
            let cut = (r.size().min_elem() * 0.3).clamp(2.0, 8.0);
            vec![closed(chamfered(r, cut))]
        }
    }
}

fn closed(mut points: Vec<Pos2>) -> Vec<Pos2> {
    points.extend(points.first().copied());
    points
}

fn rounded(r: Rect, radius: f32) -> Vec<Pos2> {
    let radius = radius.min(r.size().min_elem() * 0.5);
    let inner = r.shrink(radius);
    let centres = [inner.right_top(), inner.right_bottom(), inner.left_bottom(), inner.left_top()];
    let quarter = std::f32::consts::FRAC_PI_2;
    centres
        .into_iter()
        .enumerate()
        .flat_map(|(i, c)| (0..=4).map(move |s| c + Vec2::angled(quarter * (i as f32 - 1.0 + s as f32 / 4.0)) * radius))
        .collect()
}

fn chamfered(r: Rect, c: f32) -> Vec<Pos2> {
    vec![
        r.left_top() + vec2(c, 0.0),
        r.right_top() - vec2(c, 0.0),
        r.right_top() + vec2(0.0, c),
        r.right_bottom() - vec2(0.0, c),
        r.right_bottom() - vec2(c, 0.0),
        r.left_bottom() + vec2(c, 0.0),
        r.left_bottom() - vec2(0.0, c),
        r.left_top() + vec2(0.0, c),
    ]
}

fn dashes(from: Pos2, to: Pos2) -> Vec<Vec<Pos2>> {
    let length = (to - from).length();
    let count = (length / 7.0).round().max(1.0);
    let at = |part: f32| from + (to - from) * part.min(1.0);
    (0..count as usize).map(|i| vec![at(i as f32 / count), at((i as f32 + 0.6) / count)]).collect()
}

/// The sign beside an outline: a tick, a cross or a dot; nothing for the undecided.
fn paint_badge(painter: &Painter, at: Pos2, size: f32, decision: Decision, stroke: Stroke) {
    match decision {
        Decision::Undecided => {}
        Decision::Accepted => {
            let tick = vec![at + vec2(-size, 0.0), at + vec2(-size * 0.25, size * 0.8), at + vec2(size, -size)];
            painter.add(PathShape::line(tick, stroke));
        }
        Decision::Rejected => {
            painter.line_segment([at + vec2(-size, -size), at + vec2(size, size)], stroke);
            painter.line_segment([at + vec2(-size, size), at + vec2(size, -size)], stroke);
        }
        Decision::Intended => {
            painter.circle_filled(at, size * 0.45 + stroke.width * 0.5, stroke.color);
        }
    }
}

/// The mark of a decision in a list or on a button: the outline small, with its sign inside.
pub(crate) fn mark(painter: &Painter, centre: Pos2, decision: Decision, colour: Color32) {
    let rect = Rect::from_center_size(centre, Vec2::splat(14.0));
    for line in outline_lines(rect, decision) {
        painter.add(PathShape::line(line, Stroke::new(1.5, colour)));
    }
    paint_badge(painter, centre, 3.2, decision, Stroke::new(1.5, colour));
}

/// The mark of a proposal in a list: the open corners of the undecided about a ring, where the decision has a sign.
pub(crate) fn proposal(painter: &Painter, centre: Pos2, colour: Color32) {
    let rect = Rect::from_center_size(centre, Vec2::splat(14.0));
    for line in outline_lines(rect, Decision::Undecided) {
        painter.add(PathShape::line(line, Stroke::new(1.5, tokens::tones(painter).decision(Decision::Undecided))));
    }
    painter.circle_stroke(centre, 3.2, Stroke::new(1.5, colour));
}

/// The sign of a proposal beside an outline on the picture.
pub(crate) fn proposal_badge(painter: &Painter, rect: Rect, colour: Color32) {
    let at = rect.right_top() + vec2(5.0, -5.0);
    for (width, colour) in [(CASING + 0.5, tokens::over::CASING), (LINE + 0.5, colour)] {
        painter.circle_stroke(at, 3.5, Stroke::new(width, colour));
    }
}

/// A picture on a button.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Icon {
    /// One step back.
    Back,
    /// One step on.
    On,
    /// Back to something flagged.
    BackFlag,
    /// On to something flagged.
    OnFlag,
    /// Take back.
    Undo,
    /// Do again.
    Redo,
    /// How things are set.
    Settings,
}

/// Paints an icon about a centre.
pub(crate) fn icon(painter: &Painter, centre: Pos2, icon: Icon, colour: Color32) {
    let back = matches!(icon, Icon::Back | Icon::BackFlag | Icon::Undo);
    let way = if back { -1.0 } else { 1.0 };
    let stroke = Stroke::new(1.8, colour);
    let head = |x: f32| {
        vec![
            centre + vec2((x - 2.5) * way, -5.0),
            centre + vec2((x + 2.5) * way, 0.0),
            centre + vec2((x - 2.5) * way, 5.0),
        ]
    };
    match icon {
        Icon::Settings => {
            for (y, knob) in [(-4.5, -3.0), (0.0, 4.0), (4.5, -1.0)] {
                painter.line_segment([centre + vec2(-8.0, y), centre + vec2(8.0, y)], Stroke::new(1.4, colour));
                let slot = Rect::from_center_size(centre + vec2(knob, y), vec2(3.0, 5.0));
                painter.rect_filled(slot, egui::CornerRadius::same(1), colour);
            }
        }
        Icon::Back | Icon::On => {
            painter.add(PathShape::line(head(0.0), stroke));
        }
        Icon::BackFlag | Icon::OnFlag => {
            painter.add(PathShape::line(head(-3.0), stroke));
            let corner = Rect::from_center_size(centre + vec2(4.0 * way, 0.0), vec2(7.0, 9.0));
            for line in outline_lines(corner, Decision::Undecided) {
                painter.add(PathShape::line(line, Stroke::new(1.5, colour)));
            }
        }
        Icon::Undo | Icon::Redo => {
            let arc: Vec<Pos2> = (0..=12)
                .map(|i| {
                    let angle = -std::f32::consts::PI * (i as f32 / 12.0);
                    centre + vec2(angle.cos() * 5.5 * -way, angle.sin() * 5.5 + 2.0)
                })
                .collect();
            let end = centre + vec2(5.5 * way, 2.0);
            painter.add(PathShape::line(arc, stroke));
            painter.add(PathShape::line(vec![end + vec2(-3.5, -3.0), end, end + vec2(3.5, -3.0)], stroke));
        }
    }
}

/// Besom's sign: a broom of twigs, standing, with the sweep of its stroke beneath. `size` is its height.
pub(crate) fn broom(painter: &Painter, centre: Pos2, size: f32, colour: Color32) {
    let at = |x: f32, y: f32| pos2(centre.x + x * size, centre.y + y * size);
    let width = (size * 0.07).max(1.2);
    painter.line_segment([at(0.0, -0.5), at(0.0, -0.08)], Stroke::new(width * 1.2, colour));
    painter.line_segment([at(-0.13, -0.02), at(0.13, -0.02)], Stroke::new(width * 1.4, colour));
    for spread in [-1.0, -0.5, 0.0, 0.5, 1.0] {
        let line = vec![at(spread * 0.11, 0.02), at(spread * 0.17, 0.2), at(spread * 0.3, 0.44)];
        painter.add(Shape::Path(PathShape::line(line, Stroke::new(width * 0.8, colour))));
    }
}

/// Diagonal hatching inside a rectangle: protected regions and frames not yet looked at.
pub(crate) fn hatch(painter: &Painter, rect: Rect, gap: f32, stroke: Stroke) {
    let painter = painter.with_clip_rect(rect.intersect(painter.clip_rect()));
    let mut x = (rect.left() / gap).floor() * gap - rect.height();
    while x < rect.right() {
        painter.line_segment([pos2(x, rect.bottom()), pos2(x + rect.height(), rect.top())], stroke);
        x += gap;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_decision_has_a_shape_of_its_own() {
        let rect = Rect::from_min_size(pos2(10.0, 10.0), vec2(40.0, 30.0));
        let shapes = Decision::ALL.map(|d| outline_lines(rect, d));
        for (i, a) in shapes.iter().enumerate() {
            for b in &shapes[i + 1..] {
                assert_ne!(a, b);
            }
            for point in a.iter().flatten() {
                assert!(rect.expand(0.01).contains(*point), "{point:?} leaves the rectangle");
            }
        }
        assert_eq!(shapes[0].len(), 4, "open: four corners");
    }
}

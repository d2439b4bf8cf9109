//! What lies over the picture: outlines, protected regions, tags.

use besom_reel::{CandidateId, Decision};
use egui::{Color32, CornerRadius, Painter, Pos2, Rect, Stroke, StrokeKind, vec2};

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
}

/// All outlines, the one in hand last.
pub(super) fn candidates(painter: &Painter, outlines: &[Outline]) {
    for outline in outlines {
        glyph::outline(painter, outline.rect, outline.decision, outline.in_hand);
    }
}

/// Protected regions of the current frame: hatched, with a solid edge.
pub(super) fn regions(painter: &Painter, desk: &Desk, placed: &Placed) {
    let frame = desk.frame();
    for region in desk.reel().regions().iter().filter(|r| r.first <= frame && frame <= r.last) {
        region_shape(painter, placed.rect(&region.rect));
    }
}

fn region_shape(painter: &Painter, rect: Rect) {
    glyph::hatch(painter, rect, 14.0, Stroke::new(3.0, Color32::from_black_alpha(70)));
    glyph::hatch(painter, rect, 14.0, Stroke::new(1.0, tokens::PROTECTED.gamma_multiply(0.45)));
    painter.rect_stroke(rect, CornerRadius::ZERO, Stroke::new(3.5, tokens::CASING), StrokeKind::Middle);
    painter.rect_stroke(rect, CornerRadius::ZERO, Stroke::new(1.5, tokens::PROTECTED), StrokeKind::Middle);
}

/// The rectangle being drawn.
pub(super) fn new_region(painter: &Painter, rect: Rect) {
    region_shape(painter, rect);
    for corner in [rect.left_top(), rect.right_top(), rect.left_bottom(), rect.right_bottom()] {
        painter.rect_filled(Rect::from_center_size(corner, vec2(7.0, 7.0)), CornerRadius::ZERO, tokens::LIGHT);
    }
}

/// A line of text on the picture, on a dark ground.
pub(super) fn tag(painter: &Painter, at: Pos2, text: &str, colour: Color32, width: f32) {
    let galley = painter.layout(text.to_owned(), tokens::small(), colour, width);
    let rect = Rect::from_min_size(at, galley.size() + vec2(16.0, 8.0));
    painter.rect_filled(rect, tokens::RADIUS, tokens::CASING);
    painter.galley(at + vec2(8.0, 4.0), galley, colour);
}

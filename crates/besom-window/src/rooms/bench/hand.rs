//! The right column: the candidate in hand with its evidence, and the four decisions.

use besom_detect::{Candidate, GroupKind, Origin, Polarity};
use besom_reel::{CandidateGroup, CandidateId, Decision, FillChoice};
use egui::{
    Align, Align2, Button, Color32, CornerRadius, Frame, Layout, Margin, Panel, Rect, RichText, ScrollArea, Sense,
    TextureHandle, Ui, Vec2, pos2, vec2,
};

use super::model::{Bench, around};
use crate::action::Action;
use crate::background::evidence::{CROPS, REACH};
use crate::background::tasks::plural;
use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

/// Gap between pictures.
const GAP: f32 = 6.0;
/// Height of everything in the column but the two large pictures, with five lines of reasons.
const ROOM_FOR_WORDS: f32 = 304.0;

/// Draws the column.
pub(super) fn ui(ui: &mut Ui, bench: &Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let frame = Frame::new().fill(tokens::tones(ui).panel).inner_margin(Margin::same(12));
    // While many are asked about, no button decides one: nobody shall mistake the one for the other.
    if bench.bulk.is_none() {
        Panel::bottom("decisions").resizable(false).frame(frame).show(ui, |ui| decisions(ui, desk, commands));
    }
    egui::CentralPanel::default().frame(frame).show(ui, |ui| {
        let (Some(id), Some(candidate)) = (desk.hand(), desk.candidate()) else {
            widgets::heading(ui, "Nothing in hand");
            let text = "Take a candidate from the list or the picture. Down takes the next one, over frames too.";
            ui.add(egui::Label::new(RichText::new(text).color(tokens::tones(ui).quiet)).wrap());
            return;
        };
        let room = ui.available_height();
        ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
            title(ui, desk, id, candidate);
            crops(ui, bench, desk, id);
            pair(ui, bench, desk, id, room);
            fill(ui, bench, desk, id, commands);
            if desk.shaped().is_some() {
                shape(ui, commands);
            }
            evidence(ui, desk, id, candidate);
        });
    });
}

fn title(ui: &mut Ui, desk: &Desk, id: CandidateId, candidate: &Candidate) {
    let place = desk.list().iter().position(|other| *other == id).map_or(0, |at| at + 1);
    let polarity = if candidate.polarity == Polarity::Dark { "dark" } else { "bright" };
    ui.horizontal(|ui| {
        widgets::heading(ui, &format!("{}, {polarity}", crate::app::capital(candidate.kind.word())));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            widgets::caption(ui, &format!("{place} of {} in this frame", desk.list().len()));
        });
    });
}

/// Five aligned crops, the frame's own in the middle and marked.
fn crops(ui: &mut Ui, bench: &Bench, desk: &Desk, id: CandidateId) {
    let width = ui.available_width();
    let side = ((width - GAP * (CROPS - 1) as f32) / CROPS as f32).floor();
    let gap = (width - side * CROPS as f32) / (CROPS - 1) as f32;
    let frames = around(desk);
    let current = bench.crops_of == Some(id);
    let (rect, _) = ui.allocate_exact_size(vec2(width, side + tokens::grown(ui, 18.0)), Sense::hover());
    for (index, (crop, frame)) in bench.crops.iter().zip(frames).enumerate() {
        let at = rect.min + vec2((index as f32 * (side + gap)).round(), 0.0);
        let square = Rect::from_min_size(at, Vec2::splat(side));
        let texture = crop.as_ref().filter(|_| current);
        let missing = if frame.is_none() { "none" } else { "" };
        picture(ui, square, texture, missing);
        if index == REACH {
            ui.painter().rect_stroke(
                square.expand(1.5),
                CornerRadius::ZERO,
                egui::Stroke::new(1.5, tokens::tones(ui).here),
                egui::StrokeKind::Middle,
            );
        }
        let offset = index as i64 - REACH as i64;
        let label = if offset == 0 { "this".to_owned() } else { format!("{offset:+}") };
        let colour = if offset == 0 { tokens::tones(ui).text } else { tokens::tones(ui).quiet };
        let below = pos2(square.center().x, square.bottom() + 3.0);
        ui.painter().text(below, Align2::CENTER_TOP, label, tokens::small(), colour);
        let name = match frame {
            Some(frame) => format!("Crop of frame {frame}"),
            None => format!("No frame {offset:+} in this shot"),
        };
        let response = ui.interact(square, ui.scope_id().with(("crop", index)), Sense::HOVER);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::Image, true, &name));
        response.on_hover_text(format!("{name}, aligned by the motion of the picture"));
    }
}

/// As scanned, and as it would be after repair.
fn pair(ui: &mut Ui, bench: &Bench, desk: &Desk, id: CandidateId, room: f32) {
    let width = ui.available_width();
    let half = ((width - GAP) / 2.0).floor();
    // On a low screen the pictures give way, so that reasons and risk are read without scrolling.
    let side = half.min((room - tokens::grown(ui, ROOM_FOR_WORDS)).max(96.0)).floor();
    let (rect, _) = ui.allocate_exact_size(vec2(width, side + tokens::grown(ui, 18.0)), Sense::hover());
    let inset = ((half - side) / 2.0).floor();
    let left = Rect::from_min_size(rect.min + vec2(inset, 0.0), Vec2::splat(side));
    let right = Rect::from_min_size(rect.min + vec2(half + GAP + inset, 0.0), Vec2::splat(side));
    let scanned = bench.crops.get(REACH).and_then(Option::as_ref).filter(|_| bench.crops_of == Some(id));
    picture(ui, left, scanned, "");
    let fresh = bench.after_crop_of == Some((Some(id), desk.revision()));
    let decision = desk.reel().decision(id);
    let stays = matches!(decision, Decision::Rejected | Decision::Intended);
    let repaired = bench.after_crop.as_ref().filter(|_| fresh && !stays);
    let words = if stays { "stays as scanned" } else { "" };
    picture(ui, right, repaired, words);
    for (square, label) in [(left, "as scanned"), (right, "after repair")] {
        let below = pos2(square.center().x, square.bottom() + 3.0);
        ui.painter().text(below, Align2::CENTER_TOP, label, tokens::small(), tokens::tones(ui).quiet);
    }
}

fn picture(ui: &Ui, rect: Rect, texture: Option<&TextureHandle>, words: &str) {
    let painter = ui.painter();
    painter.rect_filled(rect, CornerRadius::ZERO, tokens::SURROUND);
    if let Some(texture) = texture {
        let uv = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
        painter.image(texture.id(), rect, uv, Color32::WHITE);
    } else {
        painter.text(rect.center(), Align2::CENTER_CENTER, words, tokens::small(), tokens::over::TEXT);
    }
}

/// Where the fill comes from, and what it would come from elsewhere.
fn fill(ui: &mut Ui, bench: &Bench, desk: &Desk, id: CandidateId, commands: &mut Vec<Command>) {
    let standing = desk.reel().fill_choice(id);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        let width = (ui.available_width() - 6.0) / FillChoice::ALL.len() as f32;
        for choice in FillChoice::ALL {
            let (label, tooltip) = words(choice);
            let on = choice == standing;
            let text = RichText::new(label).font(tokens::small());
            let response = ui.add_sized(vec2(width, 24.0), Button::selectable(on, text));
            let name = format!("Fill {label}");
            response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, on, &name));
            let tooltip = format!("{tooltip}. Key: {} goes round", Action::NextSource.key_text(ui.ctx()));
            if response.on_hover_text(tooltip).clicked() && !on {
                commands.push(Command::SetFill(id, choice));
            }
        }
    });
    let fresh = bench.after_crop_of == Some((Some(id), desk.revision()));
    let text = match (&bench.after_problem, &bench.fill) {
        _ if !fresh => String::new(),
        (Some(problem), _) => problem.clone(),
        (None, Some(fill)) => match fill.error {
            Some(error) => format!("Filled {}, expected error {error:.1} codes", fill.method),
            None => format!("Filled {}", fill.method),
        },
        (None, None) => String::new(),
    };
    widgets::caption(ui, &text);
}

const fn words(choice: FillChoice) -> (&'static str, &'static str) {
    match choice {
        FillChoice::Automatic => ("automatic", "Fill from where it fits best"),
        FillChoice::Previous => ("before", "Fill from the frames before"),
        FillChoice::Next => ("after", "Fill from the frames after"),
        FillChoice::Spatial => ("around", "Fill from this frame's own surroundings"),
    }
}

/// The ways to give the candidate another shape.
fn shape(ui: &mut Ui, commands: &mut Vec<Command>) {
    let ways = [
        (Action::Grow, "Grow"),
        (Action::Shrink, "Shrink"),
        (Action::Part, "Part"),
        (Action::Join, "Join"),
        (Action::PaintShape, "Edit"),
    ];
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        ui.spacing_mut().button_padding.x = 4.0;
        let size = vec2((ui.available_width() - 8.0) / ways.len() as f32, 26.0);
        for (action, word) in ways {
            widgets::small_button(ui, action, word, size, commands);
        }
    });
}

/// Confidence, origin, reasons and risk in words.
fn evidence(ui: &mut Ui, desk: &Desk, id: CandidateId, candidate: &Candidate) {
    ui.spacing_mut().item_spacing.y = 3.0;
    let bounds = candidate.bounds();
    ui.horizontal(|ui| {
        let (rect, _) = ui.allocate_exact_size(vec2(72.0, 18.0), Sense::hover());
        let bar = Rect::from_center_size(rect.center(), vec2(72.0, 4.0));
        let confidence = desk.reel().confidence(id);
        let parts = [(confidence, tokens::tones(ui).text), (candidate.confidence - confidence, tokens::tones(ui).edge)];
        widgets::share_bar(ui.painter(), bar, &parts);
        ui.label(format!("{:.0} % likely damage", confidence * 100.0));
        widgets::caption(ui, &format!("{} x {} px", bounds.width(), bounds.height()));
    });
    if let Some(words) = desk.lowered(id) {
        line(ui, &words, tokens::tones(ui).text);
    }
    let line_over = desk.group().filter(|g| g.id.kind == GroupKind::Line).map_or(1, |g| g.frames());
    line(ui, &origin(candidate.origin, line_over), tokens::tones(ui).quiet);
    for reason in &candidate.reasons {
        line(ui, &crate::app::capital(reason), tokens::tones(ui).quiet);
    }
    for risk in candidate.risk.words() {
        line(ui, &format!("At risk: {risk}"), tokens::tones(ui).attention);
    }
}

/// Where a mark comes from, in words. `line_over` is over how many frames it was linked as a line scratch: the one mark on the
/// film that runs through many.
fn origin(origin: Origin, line_over: u64) -> String {
    match origin {
        Origin::Film if line_over > 1 => format!("On the film: along {line_over} frames"),
        Origin::Film => "On the film: in this frame only".to_owned(),
        Origin::Gate => "In the gate: at the same place in many frames".to_owned(),
        Origin::Scene => "In the scene: it moves with the picture".to_owned(),
    }
}

fn line(ui: &mut Ui, text: &str, colour: Color32) {
    ui.add(egui::Label::new(RichText::new(text).font(tokens::small()).color(colour)).wrap());
}

/// The group that the candidate in hand belongs to, and the switch that lets the next decision take all of it.
fn whole_group(ui: &mut Ui, desk: &Desk, group: &CandidateGroup, commands: &mut Vec<Command>) {
    let on = desk.together().is_some();
    let counts = desk.reel().group_counts(group);
    let risk = if counts.at_risk > 0 { format!(", {} at risk", counts.at_risk) } else { String::new() };
    let text = match (on, group.id.kind) {
        (true, GroupKind::Cloud) => format!("Deciding all {}{risk}", counts.candidates),
        (true, _) => {
            let frames = group.frames() as usize;
            format!("Deciding {frames} {}{risk}", plural(frames, "frame", "frames"))
        }
        (false, GroupKind::Cloud) => format!("One of {} in a cloud{risk}", counts.candidates),
        (false, _) => crate::app::capital(&format!("{}{risk}", desk.reel().group_words(group))),
    };
    ui.horizontal(|ui| {
        widgets::lone_toggle(ui, Action::WholeGroup, on, true, commands);
        let colour = if on { tokens::tones(ui).here } else { tokens::tones(ui).quiet };
        ui.add(egui::Label::new(RichText::new(text).font(tokens::small()).color(colour)).wrap());
    });
}

fn decisions(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let standing = desk.hand().map(|id| desk.reel().decision(id));
    let gap = GAP;
    if let Some(group) = desk.group() {
        whole_group(ui, desk, &group, commands);
    }
    let half = ((ui.available_width() - gap) / 2.0).floor();
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = gap;
        for action in [Action::SameAgain, Action::AllAlike] {
            ui.allocate_ui_with_layout(
                vec2(half, tokens::grown(ui, tokens::CONTROL)),
                Layout::top_down_justified(Align::Min),
                |ui| {
                    widgets::action_button(ui, action, standing.is_some(), commands);
                },
            );
        }
    });
    let size = vec2(half, 34.0);
    ui.spacing_mut().item_spacing = Vec2::splat(gap);
    for row in [[Decision::Accepted, Decision::Rejected], [Decision::Intended, Decision::Undecided]] {
        ui.horizontal(|ui| {
            for decision in row {
                let stands = standing == Some(decision);
                widgets::decision_button(ui, size, decision, stands, standing.is_some(), commands);
            }
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_linked_line_lies_on_more_than_its_own_frame() {
        assert_eq!(origin(Origin::Film, 1), "On the film: in this frame only");
        assert_eq!(origin(Origin::Film, 18), "On the film: along 18 frames");
        assert!(origin(Origin::Gate, 1).contains("same place"));
    }
}

//! The question before many are decided at once: how many, how many of them at risk, and as what.

use besom_reel::Decision;
use egui::{Align2, Button, Frame, Margin, Panel, Role, Ui, WidgetInfo, vec2};

use super::model::Bench;
use crate::background::tasks::plural;
use crate::command::Command;
use crate::desk::Desk;
use crate::desk::bulk::{Count, Scope};
use crate::{glyph, tokens, widgets};

/// The question, over the evidence of the candidate in hand.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(bulk) = &mut bench.bulk else { return };
    let frame = Frame::new().fill(tokens::tones(ui).raised).inner_margin(Margin::same(12));
    Panel::top("bulk").resizable(false).frame(frame).show(ui, |ui| {
        widgets::heading(ui, match bulk.scope {
            Scope::Alike => "All its kin in this shot",
            Scope::Above => "All above the slider in this shot",
        });
        let (scope, with_risk) = (bulk.scope, bulk.with_risk);
        let count = bulk.count(desk).cloned();
        let words = match &count {
            None if scope == Scope::Alike => "Looking for what is like the candidate in hand…".to_owned(),
            None => "This shot is still learning from the marks you decided last…".to_owned(),
            Some(count) => words(count, scope, bulk.shot),
        };
        ui.add(egui::Label::new(words).wrap());
        let count = count.unwrap_or_default();
        if count.at_risk > 0 {
            let words = risk_words(count.at_risk, with_risk);
            widgets::check(ui, &mut bulk.with_risk, &words).on_hover_text(
                "What may be part of the picture is left out of anything decided in bulk, unless you say otherwise here",
            );
        }
        ui.add_space(4.0);
        ui.spacing_mut().item_spacing.y = 6.0;
        for decision in [Decision::Accepted, Decision::Rejected, Decision::Intended] {
            decide_button(ui, decision, count.ids.len(), commands);
        }
        ui.add_space(2.0);
        ui.horizontal(|ui| {
            if widgets::plain_button(ui, "Not now", "Decide nothing. Key: Esc", true) {
                commands.push(Command::LeaveBulk);
            }
            widgets::caption(ui, "One step; undo takes all of it back.");
        });
    });
}

fn words(count: &Count, scope: Scope, shot: usize) -> String {
    let (n, frames) = (count.ids.len(), count.frames);
    let what = match scope {
        Scope::Alike => "like the one in hand",
        Scope::Above => "at this sensitivity",
    };
    match n {
        0 => format!("No undecided candidate {what} is left to decide in shot {}.", shot + 1),
        n => format!(
            "{n} undecided {} {what}, on {frames} {} of shot {}.",
            plural(n, "candidate", "candidates"),
            plural(frames, "frame", "frames"),
            shot + 1
        ),
    }
}

fn risk_words(at_risk: usize, taken: bool) -> String {
    match (taken, at_risk) {
        (true, n) => format!("{n} at risk among them"),
        (false, 1) => "1 at risk left out: take it too".to_owned(),
        (false, n) => format!("{n} at risk left out: take them too"),
    }
}

/// Mark, words and key of a decision, for all of them.
fn decide_button(ui: &mut Ui, decision: Decision, many: usize, commands: &mut Vec<Command>) {
    let action = widgets::action_of(decision);
    let enabled = many > 0;
    let size = vec2(ui.available_width(), 34.0);
    let response = ui.add_enabled(enabled, Button::new("").min_size(size));
    let tones = tokens::tones(ui);
    let (ink, hue) = if enabled { (tones.text, tones.decision(decision)) } else { (tones.edge, tones.edge) };
    let rect = response.rect;
    let name = match (enabled, decision) {
        (false, _) => action.label().to_owned(),
        (true, Decision::Intended) => format!("Call all {many} intended"),
        (true, _) => format!("{} all {many}", action.label()),
    };
    let painter = ui.painter();
    glyph::mark(painter, rect.left_center() + vec2(19.0, 0.0), decision, hue);
    painter.text(rect.left_center() + vec2(36.0, 0.0), Align2::LEFT_CENTER, &name, tokens::body(), ink);
    let key = action.key_text(ui.ctx());
    painter.text(rect.right_center() - vec2(10.0, 0.0), Align2::RIGHT_CENTER, &key, tokens::small(), tones.quiet);
    response.widget_info(|| WidgetInfo::labeled(Role::Button, enabled, &name));
    let tooltip = format!("{name} in one step. Key: {key}");
    if response.on_hover_text(&tooltip).on_disabled_hover_text(&tooltip).clicked() {
        commands.push(Command::DecideBulk(decision));
    }
}

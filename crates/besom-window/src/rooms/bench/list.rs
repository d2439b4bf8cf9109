//! The left column: the shot's sensitivity and what it shows, this frame's candidates, protected regions.

use besom_reel::{CandidateId, Decision};
use egui::{Align, Align2, CornerRadius, Frame, Layout, Margin, Panel, Rect, ScrollArea, Slider, Ui, pos2, vec2};

use super::model::Bench;
use super::regions;
use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::{glyph, tokens, widgets};

/// Height of a candidate's row with letters of the usual size.
const LIST_ROW: f32 = tokens::ROW + 12.0;

/// Draws the column.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let frame = Frame::new().fill(tokens::tones(ui).panel).inner_margin(Margin::same(12));
    Panel::top("sensitivity").resizable(false).frame(frame).show(ui, |ui| sensitivity(ui, bench, desk, commands));
    if desk.learning().is_some() {
        Panel::top("learning").resizable(false).frame(frame).show(ui, |ui| learning(ui, desk, commands));
    }
    if !desk.reel().regions().is_empty() {
        Panel::bottom("regions").resizable(false).frame(frame).show(ui, |ui| regions::ui(ui, bench, desk, commands));
    }
    egui::CentralPanel::default().frame(frame).show(ui, |ui| candidates(ui, desk, commands));
}

fn sensitivity(ui: &mut Ui, bench: &mut Bench, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(shot) = desk.shot() else { return };
    let index = shot.index;
    let frames = desk.reel().frames();
    let from = frames.partition_point(|f| f.number < shot.first);
    let to = frames.partition_point(|f| f.number <= shot.last);
    let shown = desk.tallies().sum(from, to).shown;
    let all = desk.reel().shot_counts(index).candidates;
    let mut value = desk.sensitivity(index);
    ui.horizontal(|ui| {
        widgets::heading(ui, "Sensitivity");
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            widgets::caption(ui, &format!("shot {}", index + 1));
        });
    });
    bench.histogram.refresh(desk, index);
    bench.histogram.paint(ui, value);
    ui.spacing_mut().interact_size.y = 20.0;
    ui.spacing_mut().item_spacing.y = 4.0;
    ui.spacing_mut().slider_width = ui.available_width();
    let slider = Slider::new(&mut value, 0.0..=1.0).show_value(false).step_by(0.01);
    let response = ui.add(slider);
    response.widget_info(|| egui::WidgetInfo::slider(true, f64::from(value), "Sensitivity"));
    let response = response.on_hover_text(format!(
        "Candidates from this confidence on are shown. Nothing is searched anew, no decision is lost. Keys: {} shows more, {} less",
        Action::ShowMore.key_text(ui.ctx()),
        Action::ShowFewer.key_text(ui.ctx())
    ));
    bench.slider_focus = response.has_focus();
    if response.drag_stopped() || (response.changed() && !response.dragged()) {
        commands.push(Command::SetSensitivity(index, value));
    } else if response.changed() {
        commands.push(Command::TrySensitivity(index, value));
    }
    ui.horizontal(|ui| {
        widgets::caption(ui, &format!("from {value:.2}"));
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            widgets::caption(ui, &format!("{shown} of {all} shown"));
        });
    });
    ui.add_space(2.0);
    widgets::action_button(ui, Action::AllAbove, shown > 0, commands);
}

/// What the shot has learned from its decisions: the switch, what it found, and the button that takes it.
fn learning(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let Some(learning) = desk.learning() else { return };
    ui.horizontal(|ui| {
        widgets::heading(ui, "Proposals");
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            widgets::lone_toggle(ui, Action::Learn, learning.on, false, commands);
        });
    });
    if let Some(words) = learning.words() {
        let text = egui::RichText::new(format!("{words}.")).font(tokens::small()).color(tokens::tones(ui).quiet);
        ui.add(egui::Label::new(text).wrap());
    }
    if learning.on && !learning.proposals.is_empty() {
        ui.add_space(2.0);
        widgets::action_button(ui, Action::TakeProposals, !learning.due, commands);
    }
}

fn candidates(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    ui.horizontal(|ui| {
        widgets::heading(ui, "This frame");
        ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
            widgets::lone_toggle(ui, Action::WorstFirst, desk.worst_first(), false, commands);
        });
    });
    if desk.list().is_empty() {
        let text = if desk.tallies().at(desk.place()).detected {
            "Nothing is shown here at this sensitivity.".to_owned()
        } else {
            let key = Action::Detect.key_text(ui.ctx());
            format!("Not searched yet. Find candidates in the Survey, or press {key}.")
        };
        ui.add(egui::Label::new(egui::RichText::new(text).color(tokens::tones(ui).quiet)).wrap());
        return;
    }
    ui.spacing_mut().item_spacing.y = 2.0;
    let list = desk.list();
    let mut area = ScrollArea::vertical().auto_shrink(false);
    if let Some(offset) = offset_for_hand(ui, desk) {
        area = area.vertical_scroll_offset(offset);
    }
    area.show_rows(ui, tokens::grown(ui, LIST_ROW), list.len(), |ui, rows| {
        for id in list.get(rows).unwrap_or_default() {
            candidate_row(ui, desk, *id, commands);
        }
    });
}

/// Where to scroll to when another candidate came to hand: its row a third down the list. `show_rows` makes only the rows
/// that are seen, so a row cannot ask for it itself.
fn offset_for_hand(ui: &Ui, desk: &Desk) -> Option<f32> {
    let id = egui::Id::unique("list hand");
    let hand = desk.hand()?;
    let room = ui.available_height();
    // A panel that comes or goes above the list changes its room, and must not hide the row.
    let before: Option<(CandidateId, bool, usize, u32)> = ui.data(|d| d.get_temp(id));
    let now = (hand, desk.worst_first(), desk.list().len(), room as u32);
    if before == Some(now) {
        return None;
    }
    ui.data_mut(|d| d.insert_temp(id, now));
    let at = desk.list().iter().position(|other| *other == hand)? as f32;
    let pitch = tokens::grown(ui, LIST_ROW) + 2.0;
    let most = (desk.list().len() as f32 * pitch - 2.0 - room).max(0.0);
    Some((at * pitch - room / 3.0).clamp(0.0, most))
}

fn candidate_row(ui: &mut Ui, desk: &Desk, id: CandidateId, commands: &mut Vec<Command>) {
    let Some(candidate) = desk.reel().candidate(id) else { return };
    let decision = desk.reel().decision(id);
    let chosen = desk.hand() == Some(id);
    let risk = if candidate.risk.any() { ", at risk" } else { "" };
    let belonging = desk.belonging(id);
    let belongs = belonging.as_ref().map_or_else(String::new, |words| format!(", {words}"));
    let proposed = desk.learning().filter(|_| desk.proposed(id)).map(|learning| learning.proposes);
    let proposal = proposed.map_or_else(String::new, |as_what| format!(", proposed as {}", as_what.word()));
    let name = format!("{} {}, {}{risk}{belongs}{proposal}", candidate.kind.word(), id.index + 1, decision.word());
    let (response, rect) = widgets::row(ui, tokens::grown(ui, LIST_ROW), chosen, &name);
    let painter = ui.painter();
    let mark_at = rect.left_center() + vec2(15.0, 0.0);
    if let Some(as_what) = proposed {
        glyph::proposal(painter, mark_at, tokens::tones(ui).decision(as_what));
    } else {
        glyph::mark(painter, mark_at, decision, tokens::tones(ui).decision(decision));
    }
    let title = crate::app::capital(candidate.kind.word());
    let text = rect.left_top() + vec2(32.0, 3.0);
    let written = painter.text(text, Align2::LEFT_TOP, title, tokens::body(), tokens::tones(ui).text);
    let bounds = candidate.bounds();
    let size = format!("{} x {} px{risk}", bounds.width(), bounds.height());
    let line = proposed.map_or(size, |as_what| format!("proposed: {}", as_what.word()));
    let line_at = rect.left_bottom() + vec2(32.0, -3.0);
    let bar = Rect::from_min_max(rect.right_bottom() + vec2(-52.0, -12.0), rect.right_bottom() + vec2(-8.0, -9.0));
    let colour = if chosen { tokens::tones(ui).text } else { tokens::tones(ui).quiet };
    widgets::cut_text(ui, line_at, Align2::LEFT_BOTTOM, &line, tokens::small(), colour, bar.left() - 6.0 - line_at.x);
    if let Some(words) = belonging {
        // Of a line, the row has said already that it is one.
        let words = words.strip_prefix(candidate.kind.word()).map_or(words.as_str(), str::trim_start);
        let at = written.right_center() + vec2(6.0, 1.0);
        let room = rect.right() - 46.0 - at.x;
        widgets::cut_text(ui, at, Align2::LEFT_CENTER, words, tokens::small(), colour, room);
    }
    let painter = ui.painter();
    let confidence = desk.reel().confidence(id);
    let percent = format!("{:.0} %", confidence * 100.0);
    painter.text(rect.right_top() + vec2(-8.0, 4.0), Align2::RIGHT_TOP, percent, tokens::small(), colour);
    // What the detector gave and the shot's examples took away stays as a trace.
    widgets::share_bar(
        painter,
        bar,
        &[(confidence, tokens::tones(ui).text), (candidate.confidence - confidence, tokens::tones(ui).edge)],
    );
    let tooltip =
        desk.lowered(id).map_or_else(|| "Take it in hand".to_owned(), |words| format!("Take it in hand. {words}"));
    if response.on_hover_text(tooltip).clicked() {
        commands.push(Command::Take(id));
    }
}

/// How many candidates of a shot have which confidence: shows what a setting would show.
#[derive(Default)]
pub(super) struct Histogram {
    of: Option<(usize, u64)>,
    bins: Vec<[u32; 2]>,
}

/// Bars of the histogram.
const BINS: usize = 42;

impl Histogram {
    /// Counts anew when shot or decisions changed.
    fn refresh(&mut self, desk: &Desk, shot: usize) {
        let key = (shot, desk.revision());
        if self.of == Some(key) {
            return;
        }
        self.of = Some(key);
        self.bins = vec![[0; 2]; BINS];
        let Some(shot) = desk.reel().shots().get(shot) else { return };
        for entry in desk.reel().frames().iter().filter(|f| shot.contains(f.number)) {
            for (confidence, decision) in desk.reel().confidences(entry.number) {
                let decided = usize::from(decision != Decision::Undecided);
                let bin = ((confidence * BINS as f32) as usize).min(BINS - 1);
                if let Some(slot) = self.bins.get_mut(bin) {
                    slot[decided] += 1;
                }
            }
        }
    }

    fn paint(&self, ui: &mut Ui, value: f32) {
        let (rect, response) = ui.allocate_exact_size(vec2(ui.available_width(), 44.0), egui::Sense::hover());
        response.on_hover_text("Candidates of this shot by confidence; the bright ones are shown");
        let painter = ui.painter();
        painter.rect_filled(rect, CornerRadius::same(2), tokens::tones(ui).well);
        let most = self.bins.iter().map(|b| b[0] + b[1]).max().unwrap_or(0).max(1) as f32;
        let width = rect.width() / BINS as f32;
        for (index, [open, decided]) in self.bins.iter().enumerate() {
            let height = |count: u32| (rect.height() - 4.0) * (count as f32 / most).sqrt();
            let x = rect.left() + index as f32 * width;
            let shown = (index as f32 + 0.5) / BINS as f32 >= value;
            let column = |h: f32| Rect::from_min_max(pos2(x, rect.bottom() - h), pos2(x + width - 1.0, rect.bottom()));
            let bright = if shown { tokens::tones(ui).waiting } else { tokens::tones(ui).line };
            painter.rect_filled(column(height(open + decided)), CornerRadius::ZERO, bright);
            painter.rect_filled(column(height(*decided)), CornerRadius::ZERO, tokens::tones(ui).swept);
        }
        let x = rect.left() + rect.width() * value;
        painter.vline(x, rect.y_range(), egui::Stroke::new(1.5, tokens::tones(ui).here));
    }
}

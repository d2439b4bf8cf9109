//! The bar over the picture: how large, which state, which tool; and the viewing controls.

use egui::{Align, Button, Frame, Layout, Margin, Panel, Slider, Ui, vec2};

use super::model::Bench;
use crate::action::Action;
use crate::command::Command;
use crate::desk::Desk;
use crate::picture::{Channel, Viewing};
use crate::preferences::{FLASH_CAUTION, FLIP_RATES};
use crate::{tokens, widgets};

/// From this width on the bar has room for the keys beside the words.
const WITH_KEYS: f32 = 960.0;
/// Below this one the words stand closer, and the zoom is told by the buttons alone.
const NARROW: f32 = 690.0;

/// Draws the bar.
pub(super) fn ui(ui: &mut Ui, bench: &mut Bench, _desk: &Desk, commands: &mut Vec<Command>) {
    ui.spacing_mut().item_spacing.x = 2.0;
    let keys = ui.available_width() > tokens::grown(ui, WITH_KEYS);
    let narrow = ui.available_width() < tokens::grown(ui, NARROW);
    if narrow {
        ui.spacing_mut().button_padding.x = 6.0;
    }
    let toggle = |ui: &mut Ui, action, on, commands: &mut Vec<Command>| {
        widgets::toggle_button(ui, action, on, keys, commands);
    };
    let zoom = bench.view.goal_zoom();
    let at = |z: f32| !bench.view.is_fit() && (zoom - z).abs() < 0.01;
    for (action, on) in [
        (Action::Fit, bench.view.is_fit()),
        (Action::OneToOne, at(1.0)),
        (Action::TwoToOne, at(2.0)),
        (Action::FourToOne, at(4.0)),
    ] {
        toggle(ui, action, on, commands);
    }
    if !narrow {
        ui.add_space(4.0);
        zoom_figure(ui, zoom);
    }
    ui.add_space(4.0);
    for (action, short, on) in [
        (Action::Flip, "Flip", bench.flipped),
        (Action::AutoFlip, "By itself", bench.auto.is_some()),
        (Action::Split, "Split", bench.split.is_some()),
    ] {
        widgets::short_toggle(ui, action, short, on, keys, commands);
    }
    if bench.auto.is_some() {
        let mut rate = bench.rate;
        let drag = egui::DragValue::new(&mut rate).speed(0.05).range(FLIP_RATES).fixed_decimals(1).suffix(" a second");
        let response = ui.add(drag);
        response.widget_info(|| egui::WidgetInfo::labeled(egui::Role::SpinButton, true, "Flips a second"));
        response.on_hover_text(FLASH_CAUTION);
        bench.rate = rate;
    }
    ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        // Their whole names would crowd the bar; buttons answer to them all the same.
        for (action, short, on) in [
            (Action::Protect, "Protect", bench.form.is_some()),
            (Action::Mark, "Mark", bench.mark.as_ref().is_some_and(|mark| !mark.is_of_candidate())),
        ] {
            widgets::short_toggle(ui, action, short, on, keys, commands);
        }
        toggle(ui, Action::Viewing, bench.viewing_open, commands);
        toggle(ui, Action::Outlines, bench.outlines, commands);
    });
}

fn zoom_figure(ui: &mut Ui, zoom: f32) {
    let text = if zoom >= 1.0 { format!("{zoom:.1}:1") } else { format!("1:{:.1}", 1.0 / zoom.max(1e-3)) };
    let width = tokens::grown(ui, 44.0);
    ui.allocate_ui_with_layout(vec2(width, tokens::CONTROL), Layout::left_to_right(Align::Center), |ui| {
        ui.set_width(width);
        widgets::caption(ui, &text.replace(".0:", ":").replace(".0", ""));
    });
}

/// Exposure, contrast, channel, balance: over the evidence of the candidate in hand while open.
pub(super) fn viewing_ui(ui: &mut Ui, bench: &mut Bench) {
    let frame = Frame::new().fill(tokens::tones(ui).raised).inner_margin(Margin::same(12));
    Panel::top("viewing").resizable(false).frame(frame).show(ui, |ui| {
        widgets::heading(ui, "Viewing");
        widgets::caption(ui, "For the eye only: the scans stay as they are.");
        ui.add_space(4.0);
        let viewing = &mut bench.viewing;
        slider(ui, "Exposure in stops", &mut viewing.exposure, -4.0..=4.0, "Brighter or darker by doublings of light");
        slider(ui, "Contrast", &mut viewing.contrast, 0.5..=3.0, "Steeper or flatter about mid grey");
        widgets::caption(ui, "Channel");
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 2.0;
            for channel in Channel::ALL {
                let on = viewing.channel == channel;
                let button = ui.add(Button::selectable(on, channel.word()).min_size(vec2(72.0, tokens::CONTROL)));
                if button.on_hover_text(format!("Show {} channels", channel.word().to_lowercase())).clicked() {
                    viewing.channel = channel;
                }
            }
        });
        ui.add_space(4.0);
        ui.horizontal(|ui| {
            let mut on = viewing.balance.is_some() || bench.balance_wanted;
            let response = widgets::check(ui, &mut on, "Balance a faded scan");
            let response =
                response.on_hover_text("Bring each channel's dark and bright ends together, as measured on this frame");
            if response.changed() {
                (viewing.balance, bench.balance_wanted) = (None, on);
            }
            ui.with_layout(Layout::right_to_left(Align::Center), |ui| {
                if widgets::plain_button(ui, "Reset", "Back to the plain view", *viewing != Viewing::default()) {
                    (*viewing, bench.balance_wanted) = (Viewing::default(), false);
                }
            });
        });
    });
}

fn slider(ui: &mut Ui, name: &str, value: &mut f32, range: std::ops::RangeInclusive<f32>, tooltip: &str) {
    let caption = widgets::caption(ui, name);
    ui.spacing_mut().slider_width = ui.available_width() - 64.0;
    let slider = Slider::new(value, range).fixed_decimals(2).step_by(0.05);
    ui.add(slider).labelled_by(caption.id).on_hover_text(tooltip);
}

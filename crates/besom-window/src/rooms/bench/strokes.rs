//! Drawing on the picture: what the pointer does there, what of it is shown, and the controls that all drawing shares.

use egui::{Button, Color32, DragValue, Event, Painter, PointerButton, Slider, Ui, vec2};

use super::mask_paint;
use super::sketch::{BREADTHS, Sketch};
use crate::action::Action;
use crate::command::Command;
use crate::picture::Placed;
use crate::{tokens, widgets};

/// Way in points up to which a press counts as a click.
const SLACK: f32 = 4.0;

/// Takes what the pointer did on the canvas since the last frame.
pub(super) fn pointer(ui: &Ui, sketch: &mut Sketch, placed: &Placed, response: &egui::Response) {
    let place = |at: egui::Pos2| {
        let (x, y) = placed.picture(at);
        (f64::from(x), f64::from(y))
    };
    // All places since the last frame, so that a quick stroke keeps its curve.
    let (down, takes, moves, at) = ui.input(|i| {
        let moves = i.events.iter().filter_map(|e| if let Event::PointerMoved(at) = e { Some(*at) } else { None });
        let down = i.pointer.button_down(PointerButton::Primary);
        (down, i.modifiers.shift, moves.collect::<Vec<_>>(), i.pointer.interact_pos())
    });
    // Where the pointer rests, keys move the ring.
    if let Some(at) = response.hover_pos().filter(|_| !sketch.held() && !moves.is_empty()) {
        sketch.go(place(at));
    }
    if response.is_pointer_button_down_on() && down && !sketch.held() {
        let from = ui.input(|i| i.pointer.press_origin()).or(at);
        if let Some(from) = from {
            sketch.press(place(from), takes);
        }
    }
    // A press and its release may both fall between two frames.
    if response.clicked()
        && !sketch.held()
        && let Some(at) = response.interact_pointer_pos()
    {
        sketch.press(place(at), takes);
    }
    if sketch.held() {
        for at in moves.into_iter().chain(at) {
            sketch.drag(place(at));
        }
        if !down {
            sketch.release(f64::from(SLACK / placed.scale));
        }
    }
}

/// What is drawn so far, and the ring. `paint` shows pixels that will be recorded.
pub(super) fn show(
    painter: &Painter,
    sketch: &Sketch,
    placed: &Placed,
    takes: bool,
    hue: Color32,
    paint: fn(&Painter, &Placed, &besom_scan::RunMask, Color32),
) {
    let mask = match sketch.line_so_far() {
        Some((line, true)) => sketch.mask().minus(&line),
        Some((line, false)) => sketch.mask().union(&line),
        None => sketch.mask().clone(),
    };
    if !mask.is_empty() {
        paint(painter, placed, &mask, hue);
    }
    let takes = sketch.begun().map_or(takes, |(_, begun)| begun);
    if !sketch.tool().has_breadth() {
        let points = sketch.begun().map_or(&[][..], |(points, _)| points);
        mask_paint::open_outline(painter, placed, points, (!sketch.held()).then_some(sketch.at()), tokens::over::LIGHT);
    }
    let breadth = if sketch.tool().has_breadth() { sketch.breadth() } else { 0.0 };
    mask_paint::ring(painter, placed, sketch.at(), breadth, takes);
}

/// Which way of drawing, and what to do with it.
pub(super) fn tools(ui: &mut Ui, sketch: &mut Sketch) {
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 2.0;
        let each = (ui.available_width() - 4.0) / sketch.tools().len().max(1) as f32;
        for tool in sketch.tools() {
            let on = sketch.tool() == *tool;
            let response = ui.add_sized(vec2(each, tokens::CONTROL), Button::selectable(on, tool.word()));
            response.widget_info(|| egui::WidgetInfo::selected(egui::Role::Button, true, on, tool.word()));
            let tooltip = format!("{} Key: {} goes round", tool.hint(), Action::NextTool.key_text(ui.ctx()));
            if response.on_hover_text(tooltip).clicked() {
                sketch.set_tool(*tool);
            }
        }
    });
    let hint = egui::RichText::new(sketch.tool().hint()).font(tokens::small()).color(tokens::tones(ui).quiet);
    ui.add(egui::Label::new(hint).wrap());
}

/// How broad, and where the ring is: by number too, so that no pointer is needed. True while the slider has the keyboard.
pub(super) fn place(ui: &mut Ui, sketch: &mut Sketch, commands: &mut Vec<Command>) -> bool {
    let mut focus = false;
    if sketch.tool().has_breadth() {
        let caption = widgets::caption(ui, "Breadth in pixels");
        ui.spacing_mut().slider_width = ui.available_width() - 64.0;
        let mut breadth = sketch.breadth();
        let slider = Slider::new(&mut breadth, BREADTHS).logarithmic(true).fixed_decimals(0).step_by(1.0);
        let tooltip = format!(
            "How broad the brush is, in pixels of the scan. Keys: {} narrower, {} broader",
            Action::Narrower.key_text(ui.ctx()),
            Action::Broader.key_text(ui.ctx())
        );
        let response = ui.add(slider).labelled_by(caption.id).on_hover_text(tooltip);
        focus = response.has_focus();
        if response.changed() {
            sketch.set_breadth(breadth);
        }
    }
    let (mut across, mut down) = sketch.at();
    let size = sketch.size();
    ui.horizontal(|ui| {
        for (value, name, most) in [(&mut across, "Ring, across", size.0), (&mut down, "Ring, down", size.1)] {
            ui.vertical(|ui| {
                let caption = widgets::caption(ui, name);
                let drag = DragValue::new(value).range(0.0..=f64::from(most)).max_decimals(1).speed(1.0);
                let response = ui.add_sized(vec2(84.0, tokens::CONTROL), drag).labelled_by(caption.id);
                response.on_hover_text("Where the ring is, in pixels of the scan. Keys: Alt and the arrows");
            });
        }
        ui.vertical(|ui| {
            widgets::caption(ui, "At the ring");
            ui.horizontal(|ui| {
                ui.spacing_mut().item_spacing.x = 2.0;
                ui.spacing_mut().button_padding.x = 6.0;
                widgets::short_button(ui, Action::PutDown, "Add", commands);
                widgets::short_button(ui, Action::TakeAway, "Take away", commands);
            });
        });
    });
    if (across, down) != sketch.at() {
        sketch.go((across, down));
    }
    focus
}

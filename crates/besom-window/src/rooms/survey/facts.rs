//! The facts about the reel and what is amiss with it.

use std::path::{Component, Path, PathBuf};

use besom_reel::{InfraredInfo, Reel};
use egui::{Align2, RichText, Ui, vec2};

use crate::command::Command;
use crate::desk::Desk;
use crate::{tokens, widgets};

/// Draws the column.
pub(super) fn ui(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let reel = desk.reel();
    widgets::heading(ui, "What arrived");
    ui.add_space(2.0);
    for (name, value) in arrived(reel) {
        fact(ui, name, &value);
    }
    ui.add_space(14.0);
    problems(ui, desk, commands);
    odd_frames(ui, desk, commands);
    let facts = &reel.info().facts;
    if !facts.is_empty() {
        ui.add_space(14.0);
        widgets::heading(ui, "The first scan's header");
        ui.add_space(2.0);
        for (name, value) in facts {
            fact(ui, name, value);
        }
    }
}

/// Name and value pairs of what arrived.
fn arrived(reel: &Reel) -> Vec<(&'static str, String)> {
    let info = reel.info();
    let frames = reel.frames().len();
    let seconds = info.rate.duration_secs(frames as u64);
    let feet = info.gauge.feet(frames as u64);
    let channels = match info.channels {
        1 => "grey".to_owned(),
        2 => "grey and alpha".to_owned(),
        3 => "red, green, blue".to_owned(),
        _ => "red, green, blue and one more".to_owned(),
    };
    let gaps = if info.gaps.is_empty() {
        "none".to_owned()
    } else {
        let text: Vec<String> =
            info.gaps.iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a} to {b}") }).collect();
        text.join(", ")
    };
    vec![
        ("Frames", format!("{frames}, numbered {} to {}", info.first, info.last)),
        ("Missing", gaps),
        ("Running time", format!("{} at {} frames a second", clock(seconds), info.rate)),
        ("Length", format!("{feet:.1} feet of {}", info.gauge)),
        ("Size", format!("{} x {} pixels", info.width, info.height)),
        ("Format", format!("{}, {} bits, {}", info.format, info.bits, info.transfer)),
        ("Channels", channels),
        ("Infrared", info.infrared.as_ref().map_or_else(|| "none".to_owned(), InfraredInfo::words)),
        ("Repairs", info.guarantee.clone()),
        ("Shots", reel.shots().len().to_string()),
        ("Scans", plain_path(&info.scans_folder(reel.folder()))),
        ("Named", format!("{}{}{}", info.pattern.prefix, "#".repeat(info.pattern.padding.max(1)), info.pattern.suffix)),
        ("Reel folder", reel.folder().display().to_string()),
    ]
}

/// Minutes and seconds; hours where there are any, tenths of a second where there are no minutes.
pub(crate) fn clock(seconds: f64) -> String {
    if seconds < 59.95 {
        return format!("{:.1} s", seconds.max(0.0));
    }
    let whole = seconds.round().max(0.0) as u64;
    let (hours, minutes, seconds) = (whole / 3600, whole / 60 % 60, whole % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

/// The path without the detours that a relative folder of scans brings in.
fn plain_path(path: &Path) -> String {
    let mut plain = PathBuf::new();
    for part in path.components() {
        let climbs = part == Component::ParentDir && plain.file_name().is_some();
        if climbs {
            plain.pop();
        } else {
            plain.push(part);
        }
    }
    plain.display().to_string()
}

fn fact(ui: &mut Ui, name: &str, value: &str) {
    let names = tokens::grown(ui, 112.0);
    ui.horizontal_top(|ui| {
        ui.spacing_mut().item_spacing.x = 0.0;
        ui.allocate_ui_with_layout(vec2(names, 20.0), egui::Layout::top_down(egui::Align::Min), |ui| {
            ui.set_width(names);
            ui.label(RichText::new(name).color(tokens::tones(ui).quiet));
        });
        let width = ui.available_width();
        ui.allocate_ui_with_layout(vec2(width, 20.0), egui::Layout::top_down(egui::Align::Min), |ui| {
            ui.set_width(width);
            ui.add(egui::Label::new(value).wrap());
        });
    });
}

fn problems(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let reel = desk.reel();
    let found = &reel.info().problems;
    let orphans = reel.orphans();
    widgets::heading(ui, "Problems");
    ui.add_space(2.0);
    if found.is_empty() && reel.problems().is_empty() && orphans.is_empty() {
        ui.label(RichText::new("None: every scan is there, of one size and readable.").color(tokens::tones(ui).quiet));
        return;
    }
    for problem in found {
        let text = match problem.frame {
            Some(frame) => format!("Frame {frame}: {}", problem.text),
            None => problem.text.clone(),
        };
        let place = problem.frame.and_then(|f| reel.position(f));
        problem_row(ui, &text, place, commands);
    }
    for problem in reel.problems() {
        problem_row(ui, problem, None, commands);
    }
    for orphan in orphans {
        let (frame, artist) = (orphan.spot.frame, &orphan.artist);
        let text = format!("Frame {frame}: a decision by {artist} has no candidate any more and is kept");
        problem_row(ui, &text, reel.position(frame), commands);
    }
}

/// Frames damaged whole and splice marks, as the survey saw them; nothing when there are none.
fn odd_frames(ui: &mut Ui, desk: &Desk, commands: &mut Vec<Command>) {
    let reel = desk.reel();
    let mut odd = reel.shots().iter().flat_map(|shot| &shot.odd).peekable();
    if odd.peek().is_none() {
        return;
    }
    ui.add_space(14.0);
    widgets::heading(ui, "Odd frames");
    ui.add_space(2.0);
    for odd in odd {
        let text = format!("Frame {}: {} ({:.0} % sure)", odd.frame, odd.what.sentence(), 100.0 * odd.confidence);
        problem_row(ui, &text, reel.position(odd.frame), commands);
    }
}

fn problem_row(ui: &mut Ui, text: &str, place: Option<usize>, commands: &mut Vec<Command>) {
    ui.horizontal_top(|ui| {
        let (rect, _) = ui.allocate_exact_size(vec2(16.0, 20.0), egui::Sense::hover());
        ui.painter().text(rect.center(), Align2::CENTER_CENTER, "!", tokens::strong(), tokens::tones(ui).attention);
        let label = egui::Label::new(text).wrap();
        if let Some(place) = place {
            let response = ui.add(label.sense(egui::Sense::click())).on_hover_text("Go to this frame on the Bench");
            if response.clicked() {
                commands.push(Command::GoToBench(place));
            }
        } else {
            ui.add(label);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_shown_without_detours() {
        assert_eq!(plain_path(Path::new("jobs/r2.besom/../scans")), "jobs/scans");
        assert_eq!(plain_path(Path::new("../scans")), "../scans");
    }

    #[test]
    fn running_times_read_like_a_clock() {
        assert_eq!(clock(0.44), "0.4 s");
        assert_eq!(clock(59.97), "1:00");
        assert_eq!(clock(61.6), "1:02");
        assert_eq!(clock(3723.0), "1:02:03");
    }
}

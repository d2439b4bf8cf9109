//! `score`: one table from folders.

use std::fmt::Write as _;
use std::io::Write;
use std::path::PathBuf;

use besom_proof::score::{ClipScore, Detection, Recall, Repair, score_folders};

use super::Failure;

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// The aged clip: a folder with `truth`, `scans` and `clean` in it.
    folder: PathBuf,
    /// Masks to score: grey PNG files, not 0 where something was detected and may have been repaired.
    #[arg(long)]
    masks: PathBuf,
    /// Repaired frames to score.
    #[arg(long)]
    repaired: Option<PathBuf>,
}

pub(crate) fn run(arguments: &Arguments, out: &mut dyn Write) -> Result<(), Failure> {
    let score = score_folders(&arguments.folder, &arguments.masks, arguments.repaired.as_deref())?;
    Ok(out.write_all(table(&score).as_bytes())?)
}

/// The scores as lines of a name and a value.
fn table(score: &ClipScore) -> String {
    let mut lines = detection_lines(&score.detection);
    lines.extend(score.repair.iter().flat_map(repair_lines));
    lines.iter().fold(String::new(), |mut text, (name, value)| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{name:<36}{value}");
        text
    })
}

fn detection_lines(d: &Detection) -> Vec<(&'static str, String)> {
    vec![
        ("frames", d.frames.to_string()),
        ("dust found", recall(d.dust)),
        ("dust of 30 pixels and more found", recall(d.large_dust)),
        ("hairs found", recall(d.hair)),
        ("line scratches found", recall(d.line)),
        (
            "precision",
            d.precision().map_or("no claims".into(), |p| format!("{p:.3}  ({} of {} false)", d.false_claims, d.claims)),
        ),
        ("false objects a frame", format!("{:.2}", d.false_per_frame())),
        ("false objects a frame and megapixel", format!("{:.2}", d.false_per_megapixel())),
    ]
}

fn repair_lines(r: &Repair) -> Vec<(&'static str, String)> {
    let number = |value: Option<f64>, unit: &str, digits: usize| {
        value.map_or("nothing to score".into(), |v| format!("{v:.digits$}{unit}"))
    };
    vec![
        ("PSNR over dust and hairs", number(r.psnr(), " dB", 2)),
        ("SSIM around dust and hairs", number(r.ssim(), "", 4)),
        ("grain inside repairs to outside", number(r.grain_ratio(), "", 3)),
        ("pixels changed outside the masks", r.changed_outside.to_string()),
    ]
}

fn recall(r: Recall) -> String {
    r.share().map_or("none there".into(), |share| format!("{share:.3}  ({} of {})", r.found, r.all))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_of_the_table_says_what_it_counts() {
        let detection = Detection {
            dust: Recall { found: 3, all: 4 },
            claims: 5,
            false_claims: 2,
            frames: 2,
            pixels: 1_000_000,
            ..Detection::default()
        };
        let mut repair = Repair::default();
        repair.changed_outside = 7;
        let text = table(&ClipScore { detection, repair: Some(repair) });
        let line = |name: &str| text.lines().find(|l| l.starts_with(name)).unwrap_or_default().to_owned();
        assert!(line("dust found").ends_with("0.750  (3 of 4)"));
        assert!(line("precision").ends_with("0.600  (2 of 5 false)"));
        assert!(line("hairs").ends_with("none there"));
        assert!(line("false objects a frame and").ends_with("2.00"));
        assert!(line("PSNR").ends_with("nothing to score"));
        assert!(line("pixels changed").ends_with('7'));
    }
}

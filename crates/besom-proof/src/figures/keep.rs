//! The counts as files, for programs that count again or draw.

use std::fmt::Write as _;
use std::path::Path;

use besom_scan::ScanError;
use besom_scan::dpx::Facts;
use besom_scan::write::write_atomically;
use rayon::prelude::*;

use super::{Counted, SENSITIVITIES, Shown};
use crate::ageing::files::{dpx_of, make, write_marks};

/// First line of the table of counts.
pub const TALLY_HEADINGS: &str = "clip,set,dust_found,dust_all,large_found,large_all,hair_found,hair_all,line_found,\
line_all,claims,false,calm_false,line_claims,line_false,frames,pixels,seconds,scratch_found,scratch_all,scratch_claims,\
scratch_false\n";

/// First line of the table of curves.
pub const CURVE_HEADINGS: &str = "clip,set,sensitivity,dust_found,dust_all,claims,false,pixels\n";

impl Counted {
    /// Its line of the table of counts.
    pub fn tally_line(&self) -> String {
        let (all, calm) = (&self.tally.all, &self.tally.calm);
        let mut line = format!("{},{}", self.clip, self.set.word());
        for recall in [all.dust, all.large_dust, all.hair, all.line] {
            // Writing to a string cannot fail.
            let _ = write!(line, ",{},{}", recall.found, recall.all);
        }
        let (lines, false_lines) = self.tally.lines;
        let scratches = &self.tally.scratches;
        let _ = writeln!(
            line,
            ",{},{},{},{lines},{false_lines},{},{},{:.2},{},{},{},{}",
            all.claims,
            all.false_claims,
            calm.false_claims,
            all.frames,
            all.pixels,
            self.seconds,
            scratches.truth.found,
            scratches.truth.all,
            scratches.claims,
            scratches.false_claims
        );
        line
    }

    /// Its lines of the table of curves.
    pub fn curve_lines(&self) -> String {
        let mut lines = String::new();
        for (sensitivity, d) in SENSITIVITIES.iter().zip(&self.tally.curve).filter(|(_, d)| d.frames > 0) {
            let _ = writeln!(
                lines,
                "{},{},{sensitivity},{},{},{},{},{}",
                self.clip,
                self.set.word(),
                d.dust.found,
                d.dust.all,
                d.claims,
                d.false_claims,
                d.pixels
            );
        }
        lines
    }
}

/// Writes a set's masks and truth (grey PNG) and, if asked, its frames (DPX) to `FOLDER/CLIP-SET`.
///
/// # Errors
/// When a folder cannot be made or a file cannot be written.
pub fn keep(folder: &Path, counted: &Counted, shown: &Shown, scans: bool) -> Result<(), ScanError> {
    let folder = folder.join(format!("{}-{}", counted.clip.replace(' ', "-"), counted.set.word()));
    for part in ["masks", "truth"].into_iter().chain(scans.then_some("scans")) {
        make(&folder.join(part))?;
    }
    let write = |n: usize| {
        write_marks(&folder.join("masks").join(format!("clip.{n:04}.png")), &shown.masks[n])?;
        write_marks(&folder.join("truth").join(format!("clip.{n:04}.png")), &shown.labels[n])?;
        if scans {
            let path = folder.join("scans").join(format!("clip.{n:04}.dpx"));
            write_atomically(&path, &dpx_of(&shown.frames[n], &Facts::default()))?;
        }
        Ok(())
    };
    // Collected before the first error is looked for, so that it is the first frame's whatever the threads do.
    let written: Vec<Result<(), ScanError>> = (0..shown.masks.len()).into_par_iter().map(write).collect();
    written.into_iter().collect()
}

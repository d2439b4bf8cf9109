//! `besom protect`: a rectangle that no repair may touch, over a range of frames.

use std::ops::RangeInclusive;
use std::path::PathBuf;

use besom_reel::{Edit, Reel};
use besom_scan::Rect;
use serde_json::json;

use crate::Ending;
use crate::terminal::Terminal;
use crate::values::{default_artist, frames, rectangle};

/// Protect a rectangle: no repair touches it, whatever is accepted there
#[derive(Debug, clap::Args)]
pub(crate) struct Arguments {
    /// The reel folder
    reel: PathBuf,
    /// The rectangle in pixels of the scan: left, top, width, height
    #[arg(long, value_name = "X,Y,W,H", value_parser = rectangle)]
    rect: Rect,
    /// The scans it is for
    #[arg(long, value_name = "A-B", value_parser = frames)]
    frames: RangeInclusive<u64>,
    /// Why, for those who come after
    #[arg(long, value_name = "T", default_value = "", hide_default_value = true)]
    note: String,
}

/// The resolved job: an opened reel and one edit.
pub(crate) struct Job {
    reel: Reel,
    rect: Rect,
    frames: RangeInclusive<u64>,
    note: String,
}

impl Job {
    pub(crate) fn resolve(arguments: Arguments) -> Result<Self, Ending> {
        let reel = Reel::open(&arguments.reel, &default_artist())?;
        let info = reel.info();
        let rect = arguments.rect.intersect(&Rect::of_size(info.width, info.height));
        let folder = arguments.reel.display();
        if rect.is_empty() {
            let (width, height) = (info.width, info.height);
            return Err(Ending::failed(format!("{folder}: the rectangle lies outside its frames of {width}x{height}")));
        }
        super::known_range(&reel, &arguments.reel, &arguments.frames)?;
        Ok(Self { reel, rect, frames: arguments.frames, note: arguments.note })
    }

    pub(crate) fn run(mut self, terminal: &Terminal) -> Result<(), Ending> {
        let (first, last, rect) = (*self.frames.start(), *self.frames.end(), self.rect);
        let receipt = self.reel.record(Edit::Protect { rect, first, last, note: self.note })?;
        let line = format!(
            "protected {}x{} pixels at {},{} in frames {first} to {last}; record {} of {}",
            rect.width(),
            rect.height(),
            rect.x0,
            rect.y0,
            receipt.sequence,
            self.reel.artist().unwrap_or_default()
        );
        let value = json!({
            "command": "protect",
            "rect": [rect.x0, rect.y0, rect.width(), rect.height()],
            "first": first,
            "last": last,
            "candidates": receipt.matched,
            "record": receipt.sequence,
            "artist": self.reel.artist(),
        });
        terminal.report(&[line], &value)
    }
}

//! The frame on the canvas: read, converted for the screen, and its neighbours read ahead.

use std::path::PathBuf;
use std::sync::Arc;

use besom_scan::{FrameCache, Scan};
use egui::ColorImage;

use crate::picture::{Levels, Lut, Viewing, convert, viewing};

/// Asks for a frame as the screen shall show it.
#[derive(Clone)]
pub(crate) struct PictureRequest {
    /// Grows with each request; an answer older than what is shown is stale.
    pub(crate) generation: u64,
    /// Position of the frame in the reel.
    pub(crate) place: usize,
    /// Its file.
    pub(crate) path: PathBuf,
    /// Reduction: 1, 2, 4 or 8.
    pub(crate) step: usize,
    /// The viewing transform.
    pub(crate) viewing: Viewing,
    /// Measure the balance of this frame first, and show it with that.
    pub(crate) balance: bool,
    /// Files to read into the cache afterwards, nearest first.
    pub(crate) ahead: Vec<PathBuf>,
}

/// A frame ready for the screen.
pub(crate) struct Picture {
    pub(crate) generation: u64,
    pub(crate) place: usize,
    pub(crate) step: usize,
    pub(crate) viewing: Viewing,
    /// The decoded scan and its screen picture, or why there is none.
    pub(crate) content: Result<(Arc<Scan>, Arc<ColorImage>), String>,
}

impl Picture {
    /// An answer without a picture.
    pub(crate) fn failed(request: &PictureRequest, reason: &str) -> Self {
        let PictureRequest { generation, place, step, viewing, .. } = *request;
        Self { generation, place, step, viewing, content: Err(reason.to_owned()) }
    }
}

/// Answers a request.
pub(crate) fn answer(request: &PictureRequest, cache: &FrameCache) -> Picture {
    let mut viewing = request.viewing;
    let content = cache.get(&request.path).map_err(|e| e.to_string()).map(|scan| {
        if request.balance {
            viewing.balance = Some(balance(&scan));
        }
        let lut = Lut::new(scan.frame(), &viewing);
        let image = Arc::new(convert::whole(scan.frame(), &lut, request.step));
        (scan, image)
    });
    Picture { generation: request.generation, place: request.place, step: request.step, viewing, content }
}

fn balance(scan: &Scan) -> Levels {
    viewing::measure(scan.frame())
}

/// Reads frames ahead until done or until `stop` says that something newer waits.
pub(crate) fn read_ahead(request: &PictureRequest, cache: &FrameCache, stop: impl Fn() -> bool) {
    for path in &request.ahead {
        if stop() {
            return;
        }
        // A frame that cannot be read is reported when one goes there.
        let _ = cache.get(path);
    }
}

//! A scan as the planes that analysis looks at, with nothing kept of its file.

use std::path::Path;

use crate::{Plane, Scan, ScanError, dpx};

/// The colour channels of one scan in analysis codes, as [`Frame::analysis`](crate::Frame::analysis) gives them.
#[derive(Clone, Debug, PartialEq)]
pub struct Picture {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Samples a pixel in the file, alpha and infrared included.
    pub channels: usize,
    /// One plane a colour channel.
    pub planes: Vec<Plane>,
}

impl Picture {
    /// Reads one file. Most DPX files go straight into the planes, a few rows at a time; all others by way of [`Scan`].
    ///
    /// # Errors
    /// As [`Scan::read`].
    pub fn read(path: &Path) -> Result<Self, ScanError> {
        if let Some(picture) = dpx::picture(path) {
            return Ok(picture);
        }
        let scan = Scan::read(path)?;
        let frame = scan.frame();
        Ok(Self { width: frame.width, height: frame.height, channels: frame.channels, planes: frame.analysis() })
    }
}

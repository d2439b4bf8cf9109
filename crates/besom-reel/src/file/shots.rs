//! `shots.ron`: the shots as the survey found them.

use std::path::Path;

use crate::error::ReelError;
use crate::model::shot::Shot;

/// Writes the shots, replacing the file in one step.
pub fn write(folder: &Path, shots: &[Shot]) -> Result<(), ReelError> {
    let _ = (folder, shots);
    Ok(())
}

/// Reads the shots; refuses a file from a newer Besom, or shots that are out of order.
pub fn read(folder: &Path) -> Result<Vec<Shot>, ReelError> {
    let _ = folder;
    Err(ReelError::request("not built yet"))
}

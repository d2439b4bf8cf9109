//! The survey of headers: is every scan there, readable, and of one kind?

use std::collections::BTreeMap;

use besom_scan::header::{Header, read_header};
use besom_scan::{Progress, Sequence, SequenceFrame};
use rayon::prelude::*;

use crate::error::{ReelError, ReelErrorKind};

use super::stop_if_cancelled;

/// What the headers of a sequence say.
pub(super) struct Headers {
    /// The header of the first scan that is as most are.
    pub(super) common: Header,
    /// Scans that cannot take part: number and reason, a clause without the file's name. In order.
    pub(super) problems: Vec<(u64, String)>,
    /// Odd things that reading had to work around, each once, with the number of scans it was seen in.
    pub(super) warnings: Vec<(String, usize)>,
}

/// What must be the same in all scans of a reel.
type Size = (usize, usize, usize);

const fn size(header: &Header) -> Size {
    (header.width, header.height, header.channels)
}

fn words((width, height, channels): Size) -> String {
    let plural = if channels == 1 { "channel" } else { "channels" };
    format!("{width}x{height} with {channels} {plural}")
}

/// Reads every header, no pixel.
///
/// # Errors
/// When cancelled, or when no scan at all can be read; the first one's reason is given then.
pub(super) fn survey(sequence: &Sequence, progress: &dyn Progress) -> Result<Headers, ReelError> {
    progress.begin("Reading headers", sequence.frames.len() as u64);
    let read = |frame: &SequenceFrame| {
        stop_if_cancelled(progress)?;
        let header = read_header(&frame.path);
        progress.advance(1);
        Ok(header)
    };
    let headers: Vec<_> = sequence.frames.par_iter().map(read).collect::<Result<_, ReelError>>()?;
    let answers: Vec<_> = sequence.frames.iter().zip(headers).collect();

    let mut sizes: BTreeMap<Size, usize> = BTreeMap::new();
    for header in answers.iter().filter_map(|(_, answer)| answer.as_ref().ok()) {
        *sizes.entry(size(header)).or_default() += 1;
    }
    let most = sizes.values().copied().max().unwrap_or(0);
    // Of sizes that are equally frequent, the one that comes first on the reel is the reel's.
    let common = answers.iter().filter_map(|(_, a)| a.as_ref().ok()).find(|h| sizes.get(&size(h)) == Some(&most));
    let Some(common) = common.cloned() else {
        let folder = sequence.folder.display();
        let empty = || ReelError::new(ReelErrorKind::Request, format!("{folder}: there are no scans in it"));
        return Err(answers.into_iter().find_map(|(_, answer)| answer.err()).map_or_else(empty, ReelError::from));
    };

    let mut problems = Vec::new();
    let mut warnings: BTreeMap<String, usize> = BTreeMap::new();
    for (frame, answer) in &answers {
        match answer {
            Err(error) => problems.push((frame.number, error.reason().to_owned())),
            Ok(header) if size(header) != size(&common) => {
                let (this, reel) = (words(size(header)), words(size(&common)));
                problems.push((frame.number, format!("it is {this}, where the reel is {reel}")));
            }
            Ok(header) => {
                for warning in header.warnings() {
                    *warnings.entry(warning.to_owned()).or_default() += 1;
                }
            }
        }
    }
    Ok(Headers { common, problems, warnings: warnings.into_iter().collect() })
}

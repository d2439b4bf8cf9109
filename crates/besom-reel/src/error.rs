//! What can go wrong with a reel folder, said in one sentence.

use std::fmt;
use std::path::Path;

/// Who must act on an error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum ReelErrorKind {
    /// The folder or a file in it could not be read or written.
    Access,
    /// A file holds something that no Besom wrote.
    Damaged,
    /// A file was written by a newer Besom.
    Newer,
    /// What was asked for makes no sense for this reel (no such frame, shot, candidate, name).
    Request,
    /// Another Besom writes under the same artist's name at this moment.
    InUse,
    /// The work was cancelled by the person who started it.
    Cancelled,
}

/// One sentence that names the file (or the thing asked for) and the reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReelError {
    kind: ReelErrorKind,
    sentence: String,
}

impl ReelError {
    /// An error of this kind; `sentence` is one whole sentence without a full stop.
    pub fn new(kind: ReelErrorKind, sentence: impl Into<String>) -> Self {
        Self { kind, sentence: sentence.into() }
    }

    /// Who must act.
    pub const fn kind(&self) -> ReelErrorKind {
        self.kind
    }

    pub(crate) fn access(path: &Path, doing: &str, reason: &std::io::Error) -> Self {
        // The system's words without its error number.
        let reason = reason.to_string();
        let reason = reason.split(" (os error").next().unwrap_or_default();
        Self::new(ReelErrorKind::Access, format!("{}: {doing}: {reason}", path.display()))
    }

    pub(crate) fn damaged(path: &Path, reason: impl fmt::Display) -> Self {
        Self::new(ReelErrorKind::Damaged, format!("{}: {reason}", path.display()))
    }

    pub(crate) fn newer(path: &Path, found: u64, known: u64) -> Self {
        let path = path.display();
        Self::new(
            ReelErrorKind::Newer,
            format!("{path}: written by a newer Besom (version {found}; this one knows up to {known})"),
        )
    }

    pub(crate) fn request(sentence: impl Into<String>) -> Self {
        Self::new(ReelErrorKind::Request, sentence)
    }
}

impl fmt::Display for ReelError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

impl std::error::Error for ReelError {}

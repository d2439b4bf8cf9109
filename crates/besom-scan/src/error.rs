//! Why a scan could not be read, patched or written: one sentence for people, one kind for code.

use std::fmt;
use std::path::{Path, PathBuf};

/// What sort of thing went wrong, sorted by who can do something about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ErrorKind {
    /// The system would not read or write: missing file, no permission, full disk.
    System,
    /// The file is none of the formats Besom reads.
    UnknownFormat,
    /// The file is of a known format, in a flavour Besom does not read or refuses to patch.
    Unsupported,
    /// The file contradicts itself.
    Damaged,
    /// The file ends before its pixels do.
    Truncated,
    /// The folder or pattern does not name one clear sequence.
    Sequence,
    /// The place to write to is not allowed.
    Target,
    /// An edit lies outside the picture or its value outside the sample's range.
    Edit,
}

/// An error about one file or folder. It displays as one sentence that names the file and the reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ScanError {
    kind: ErrorKind,
    path: PathBuf,
    reason: String,
}

impl ScanError {
    /// An error of `kind` about `path`; `reason` is a clause without a full stop ("it ends before ...").
    pub fn new(kind: ErrorKind, path: &Path, reason: impl Into<String>) -> Self {
        Self { kind, path: path.to_owned(), reason: reason.into() }
    }

    /// An error of the system about `path`; `action` says what was tried ("it cannot be read").
    pub fn system(path: &Path, action: &str, error: &std::io::Error) -> Self {
        Self::new(ErrorKind::System, path, format!("{action} ({})", plain(error)))
    }

    /// The sort of error.
    pub fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// The file or folder the error is about.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The reason alone, a clause without the file's name.
    pub fn reason(&self) -> &str {
        &self.reason
    }
}

/// The system's words without its error number.
fn plain(error: &std::io::Error) -> String {
    let text = error.to_string();
    let text = text.split(" (os error").next().unwrap_or_default();
    let mut chars = text.chars();
    chars.next().map(|c| c.to_lowercase().chain(chars).collect()).unwrap_or_default()
}

impl fmt::Display for ScanError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}.", self.path.display(), self.reason)
    }
}

impl std::error::Error for ScanError {}

/// A fault found inside a file's bytes by a codec, which does not know the file's name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) kind: ErrorKind,
    pub(crate) reason: String,
}

impl Fault {
    pub(crate) fn damaged(reason: impl Into<String>) -> Self {
        Self { kind: ErrorKind::Damaged, reason: reason.into() }
    }

    pub(crate) fn unsupported(reason: impl Into<String>) -> Self {
        Self { kind: ErrorKind::Unsupported, reason: reason.into() }
    }

    pub(crate) fn edit(reason: impl Into<String>) -> Self {
        Self { kind: ErrorKind::Edit, reason: reason.into() }
    }

    /// The file holds fewer bytes than its header promises.
    pub(crate) fn truncated(needed: u64, held: u64) -> Self {
        Self {
            kind: ErrorKind::Truncated,
            reason: format!("it ends before its pixels do: the header claims {needed} bytes, the file holds {held}"),
        }
    }

    pub(crate) fn of(self, path: &Path) -> ScanError {
        ScanError::new(self.kind, path, self.reason)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_is_one_sentence_with_the_name_and_the_reason() {
        let error = Fault::truncated(100, 7).of(Path::new("skerry/reel2.0001.dpx"));
        assert_eq!(
            error.to_string(),
            "skerry/reel2.0001.dpx: it ends before its pixels do: the header claims 100 bytes, the file holds 7."
        );
        let missing = std::io::Error::from_raw_os_error(2);
        let error = ScanError::system(Path::new("a.dpx"), "it cannot be read", &missing);
        assert!(error.to_string().starts_with("a.dpx: it cannot be read (n"), "{error}");
        assert!(!error.to_string().contains("os error"));
    }
}

//! The name of a person who decides, fit to name a file.

use std::fmt;

use crate::error::ReelError;

/// A checked artist name. It names a journal, so it holds nothing that a file system could misread.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Artist(String);

/// Names that some file systems keep for devices, whatever their ending.
const RESERVED: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// Longest name in bytes: with the ending it stays under the 255 bytes that common file systems allow.
const LONGEST: usize = 64;

impl Artist {
    /// Checks a name: letters and digits of any script, space, `-`, `_`, `.` and `'`; at most 64 bytes; it neither
    /// begins nor ends with a dot. Blanks around it are dropped.
    pub fn new(name: &str) -> Result<Self, ReelError> {
        let name = name.trim();
        let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_' | '.' | '\'');
        let stem = name.split('.').next().unwrap_or("").to_lowercase();
        let device = RESERVED
            .iter()
            .any(|r| stem.strip_prefix(r).is_some_and(|rest| rest.is_empty() || (r.len() == 3 && is_one_digit(rest))));
        let reason = if name.is_empty() {
            "it is empty"
        } else if name.len() > LONGEST {
            "it is longer than 64 bytes"
        } else if !name.chars().all(plain) {
            "only letters, digits, spaces, hyphens, underscores, dots and apostrophes can name a journal"
        } else if name.starts_with('.') || name.ends_with('.') {
            "it begins or ends with a dot"
        } else if device {
            "some systems keep this name for a device"
        } else {
            return Ok(Self(name.to_owned()));
        };
        Err(ReelError::request(format!("the artist name {name:?} cannot be used: {reason}")))
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

fn is_one_digit(text: &str) -> bool {
    text.len() == 1 && text.bytes().all(|b| b.is_ascii_digit())
}

impl fmt::Display for Artist {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_could_leave_the_folder_are_refused() {
        for bad in ["", "  ", "a/b", "a\\b", "..", ".hidden", "end.", "a\nb", "a\0b", "C:", "nul", "COM1", "aux.old"] {
            assert!(Artist::new(bad).is_err(), "{bad:?} must be refused");
        }
        assert!(Artist::new(&"x".repeat(65)).is_err());
        for good in ["Ines", "Mara O'Dell", "Åse", "bench-2", "j.k", "Conrad", "comet", "岬"] {
            assert_eq!(Artist::new(good).map(|a| a.as_str().to_owned()), Ok(good.to_owned()));
        }
        assert_eq!(Artist::new("  Ines ").map(|a| a.to_string()), Ok("Ines".to_owned()));
    }
}

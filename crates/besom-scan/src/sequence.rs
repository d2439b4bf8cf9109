//! Image sequences: the numbered files of one reel in one folder.
//!
//! There is no formal standard for the names; the rules here are common practice. The number is the last run of
//! digits before the ending; files belong together when what stands before and after it is the same.

use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use crate::error::{ErrorKind, ScanError};
use crate::header::{Header, read_header};

/// The endings taken for scans, in lower case.
const ENDINGS: [&str; 5] = ["dpx", "tif", "tiff", "exr", "png"];

/// One frame's file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SequenceFrame {
    /// The number in the file's name.
    pub number: u64,
    /// The file.
    pub path: PathBuf,
}

/// The files of one sequence. There is at least one frame.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sequence {
    /// The folder the files are in.
    pub folder: PathBuf,
    /// What stands before the number in each name.
    pub prefix: String,
    /// What stands after it, ending included ("" never: there is always an ending).
    pub suffix: String,
    /// Digits the numbers are padded to with zeros; 1 when they are not.
    pub padding: usize,
    /// The frames, sorted by number; no number twice.
    pub frames: Vec<SequenceFrame>,
}

/// A file name cut at its number.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Name {
    prefix: String,
    digits: String,
    suffix: String,
}

impl Name {
    /// Cuts a name at the last run of digits before its ending; `None` when it has no number or no ending.
    fn parse(name: &str) -> Option<Self> {
        let dot = name.rfind('.')?;
        let (stem, ending) = name.split_at(dot);
        if !ENDINGS.contains(&ending.get(1..)?.to_ascii_lowercase().as_str()) || stem.starts_with("._") {
            return None;
        }
        let end = stem.rfind(|c: char| c.is_ascii_digit())? + 1;
        let start = stem[..end].rfind(|c: char| !c.is_ascii_digit()).map_or(0, |at| {
            // The character before the digits may be several bytes long.
            at + stem[at..].chars().next().map_or(1, char::len_utf8)
        });
        let digits = stem[start..end].to_owned();
        digits.parse::<u64>().ok()?;
        Some(Self { prefix: stem[..start].to_owned(), digits, suffix: format!("{}{ending}", &stem[end..]) })
    }
}

/// Names of one prefix and suffix: number to the digits as written.
type Group = Vec<(u64, String)>;

impl Sequence {
    /// Finds the sequence that `path` names: a folder with one sequence in it, any file of a sequence, or a pattern
    /// (`name.####.dpx` with one `#` a digit, or `name.%07d.dpx`).
    ///
    /// Files whose names begin with `._` are skipped (another system's leftovers), endings may be in either case. In
    /// a folder with several sequences the longest is taken only when it has more frames than all others together
    /// times ten: single stills and slates beside a reel are common, two reels in one folder are a question.
    ///
    /// # Errors
    /// When there is no such folder or no frame, when it is not clear which sequence is meant, or when one number
    /// occurs twice with different padding.
    pub fn discover(path: &Path) -> Result<Self, ScanError> {
        if path.is_dir() {
            return Self::in_folder(path);
        }
        let name = path.file_name().and_then(|n| n.to_str()).unwrap_or_default();
        let folder = match path.parent() {
            Some(parent) if !parent.as_os_str().is_empty() => parent,
            _ => Path::new("."),
        };
        if let Some((prefix, width, suffix)) = pattern(name) {
            return Self::of_pattern(path, folder, &prefix, width, &suffix);
        }
        if !path.is_file() {
            return Err(ScanError::new(ErrorKind::System, path, "there is no such file or folder"));
        }
        let Some(name) = Name::parse(name) else {
            let reason = "its name has no frame number before a DPX, TIFF, EXR or PNG ending";
            return Err(ScanError::new(ErrorKind::Sequence, path, reason));
        };
        let mut groups = groups(folder)?;
        let group = groups.remove(&(name.prefix.clone(), name.suffix.clone())).unwrap_or_default();
        Self::build(folder, &name.prefix, &name.suffix, group)
    }

    fn in_folder(folder: &Path) -> Result<Self, ScanError> {
        let groups = groups(folder)?;
        let total: usize = groups.values().map(Vec::len).sum();
        let longest = groups.iter().max_by_key(|(_, group)| group.len());
        let Some(((prefix, suffix), group)) = longest else {
            let reason = "the folder holds no numbered DPX, TIFF, EXR or PNG files";
            return Err(ScanError::new(ErrorKind::Sequence, folder, reason));
        };
        if groups.len() > 1 && group.len() <= 10 * (total - group.len()) {
            let names: Vec<String> = groups
                .iter()
                .map(|((prefix, suffix), g)| format!("{prefix}#{suffix} ({} frames)", g.len()))
                .take(6)
                .collect();
            let more = if groups.len() > 6 { ", and others" } else { "" };
            let reason = format!("the folder holds several sequences, so name one: {}{more}", names.join(", "));
            return Err(ScanError::new(ErrorKind::Sequence, folder, reason));
        }
        Self::build(folder, prefix, suffix, group.clone())
    }

    fn of_pattern(path: &Path, folder: &Path, prefix: &str, width: usize, suffix: &str) -> Result<Self, ScanError> {
        let mut groups = groups(folder)?;
        let group = groups.remove(&(prefix.to_owned(), suffix.to_owned())).unwrap_or_default();
        // A number may outgrow its padding (9999, 10000), but is never written shorter.
        let fits = |digits: &str| digits.len() == width || (digits.len() > width && !digits.starts_with('0'));
        let group: Group = group.into_iter().filter(|(_, digits)| fits(digits)).collect();
        if group.is_empty() {
            return Err(ScanError::new(ErrorKind::Sequence, path, "no file matches this pattern"));
        }
        Self::build(folder, prefix, suffix, group)
    }

    fn build(folder: &Path, prefix: &str, suffix: &str, mut group: Group) -> Result<Self, ScanError> {
        group.sort_unstable();
        if let Some(pair) = group.windows(2).find(|pair| pair[0].0 == pair[1].0) {
            let reason = format!(
                "frame {} is there twice, as {prefix}{}{suffix} and {prefix}{}{suffix}",
                pair[0].0, pair[0].1, pair[1].1
            );
            return Err(ScanError::new(ErrorKind::Sequence, folder, reason));
        }
        let padding = if group.iter().any(|(_, digits)| digits.len() > 1 && digits.starts_with('0')) {
            group.iter().map(|(_, digits)| digits.len()).min().unwrap_or(1)
        } else {
            1
        };
        let frames = group
            .into_iter()
            .map(|(number, digits)| SequenceFrame { number, path: folder.join(format!("{prefix}{digits}{suffix}")) })
            .collect();
        Ok(Self { folder: folder.to_owned(), prefix: prefix.to_owned(), suffix: suffix.to_owned(), padding, frames })
    }

    /// The name as a pattern, such as `reel2.%07d.dpx`.
    pub fn pattern(&self) -> String {
        let number = if self.padding > 1 { format!("%0{}d", self.padding) } else { "%d".to_owned() };
        format!("{}{number}{}", self.prefix, self.suffix)
    }

    /// The first frame's number.
    pub fn first(&self) -> u64 {
        self.frames.first().map_or(0, |f| f.number)
    }

    /// The last frame's number.
    pub fn last(&self) -> u64 {
        self.frames.last().map_or(0, |f| f.number)
    }

    /// The numbers that are missing between the first and the last frame, as ranges.
    pub fn gaps(&self) -> Vec<RangeInclusive<u64>> {
        let numbers = self.frames.windows(2).map(|pair| (pair[0].number, pair[1].number));
        numbers.filter(|(a, b)| b - a > 1).map(|(a, b)| a + 1..=b - 1).collect()
    }

    /// The file of a frame.
    pub fn path(&self, number: u64) -> Option<&Path> {
        let at = self.frames.binary_search_by_key(&number, |f| f.number).ok()?;
        self.frames.get(at).map(|f| f.path.as_path())
    }

    /// Reads every frame's header, in parallel; the results stand in the order of the frames.
    pub fn survey_headers(&self) -> Vec<Result<Header, ScanError>> {
        self.frames.par_iter().map(|frame| read_header(&frame.path)).collect()
    }
}

/// Every numbered scan of a folder, by prefix and suffix.
fn groups(folder: &Path) -> Result<BTreeMap<(String, String), Group>, ScanError> {
    let unreadable = |e: std::io::Error| ScanError::system(folder, "the folder cannot be read", &e);
    let mut groups: BTreeMap<(String, String), Group> = BTreeMap::new();
    for entry in std::fs::read_dir(folder).map_err(unreadable)? {
        let entry = entry.map_err(unreadable)?;
        let Some(name) = entry.file_name().to_str().and_then(Name::parse) else { continue };
        if entry.path().is_dir() {
            continue;
        }
        let Ok(number) = name.digits.parse::<u64>() else { continue };
        groups.entry((name.prefix, name.suffix)).or_default().push((number, name.digits));
    }
    Ok(groups)
}

/// Prefix, digits and suffix of a `####` or `%07d` pattern (`%d` is one digit or more).
fn pattern(name: &str) -> Option<(String, usize, String)> {
    if let Some(start) = name.find('#') {
        let width = name[start..].bytes().take_while(|b| *b == b'#').count();
        return Some((name[..start].to_owned(), width, name[start + width..].to_owned()));
    }
    let start = name.find('%')?;
    let rest = &name[start + 1..];
    let end = rest.find('d')?;
    let width = if end == 0 { 1 } else { rest[..end].strip_prefix('0')?.parse().ok()? };
    Some((name[..start].to_owned(), width, rest[end + 1..].to_owned()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn folder(names: &[&str]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for name in names {
            std::fs::write(folder.path().join(name), b"").unwrap();
        }
        folder
    }

    fn numbers(sequence: &Sequence) -> Vec<u64> {
        sequence.frames.iter().map(|f| f.number).collect()
    }

    #[test]
    fn a_folder_is_one_sequence_with_its_gaps() {
        let names = ["r2.0007.dpx", "r2.0002.dpx", "r2.0003.dpx", "._r2.0004.dpx", "notes.txt", "r2.0010.DPX.bak"];
        let folder = folder(&names);
        let sequence = Sequence::discover(folder.path()).unwrap();
        assert_eq!(numbers(&sequence), [2, 3, 7]);
        assert_eq!(sequence.gaps(), [4..=6]);
        assert_eq!((sequence.first(), sequence.last(), sequence.padding), (2, 7, 4));
        assert_eq!(sequence.pattern(), "r2.%04d.dpx");
        assert_eq!(sequence.path(3), Some(folder.path().join("r2.0003.dpx").as_path()));
        assert_eq!(sequence.path(4), None);
    }

    #[test]
    fn a_file_and_patterns_name_the_same_sequence() {
        let names = ["a0999.TIF", "a1000.TIF", "a0998.TIF", "b0001.TIF"];
        let folder = folder(&names);
        for name in ["a0999.TIF", "a####.TIF", "a%04d.TIF"] {
            let sequence = Sequence::discover(&folder.path().join(name)).unwrap();
            assert_eq!(numbers(&sequence), [998, 999, 1000], "{name}");
        }
        let text = Sequence::discover(&folder.path().join("a#####.TIF")).unwrap_err().to_string();
        assert!(text.contains("no file matches"), "{text}");
    }

    #[test]
    fn numbers_may_outgrow_their_padding_and_reach_64_bits() {
        let grown = folder(&["s9999.png", "s10000.png", "s0001.png"]);
        let sequence = Sequence::discover(grown.path()).unwrap();
        assert_eq!(numbers(&sequence), [1, 9999, 10_000]);
        assert_eq!(sequence.padding, 4);
        let large = folder(&["s18446744073709551615.png", "s9.png"]);
        let sequence = Sequence::discover(large.path()).unwrap();
        assert_eq!(numbers(&sequence), [9, u64::MAX]);
        assert_eq!((sequence.gaps(), sequence.padding), (vec![10..=u64::MAX - 1], 1));
    }

    #[test]
    fn one_number_with_two_paddings_is_an_error() {
        let folder = folder(&["s01.exr", "s001.exr"]);
        let text = Sequence::discover(folder.path()).unwrap_err().to_string();
        assert!(text.contains("frame 1 is there twice, as s001.exr and s01.exr"), "{text}");
    }

    #[test]
    fn several_sequences_are_a_question_unless_one_is_clearly_the_reel() {
        let two = folder(&["a1.dpx", "a2.dpx", "b1.dpx"]);
        let text = Sequence::discover(two.path()).unwrap_err().to_string();
        assert!(text.contains("a#.dpx (2 frames), b#.dpx (1 frames)"), "{text}");
        let names: Vec<String> = (0..30).map(|n| format!("reel{n:03}.dpx")).chain(["slate1.dpx".into()]).collect();
        let reel = folder(&names.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(Sequence::discover(reel.path()).unwrap().frames.len(), 30);
    }

    #[test]
    fn nothing_to_find_is_said() {
        let empty = folder(&["readme.txt", "title.dpx"]);
        let text = Sequence::discover(empty.path()).unwrap_err().to_string();
        assert!(text.contains("holds no numbered"), "{text}");
        let text = Sequence::discover(&empty.path().join("none.0001.dpx")).unwrap_err().to_string();
        assert!(text.contains("no such file or folder"), "{text}");
        let text = Sequence::discover(&empty.path().join("title.dpx")).unwrap_err().to_string();
        assert!(text.contains("no frame number"), "{text}");
    }

    #[test]
    fn names_are_cut_at_the_last_number() {
        let name = Name::parse("skerry_2k_été0042_v3b.dpx").unwrap();
        assert_eq!(
            (name.prefix.as_str(), name.digits.as_str(), name.suffix.as_str()),
            ("skerry_2k_été0042_v", "3", "b.dpx")
        );
        let name = Name::parse("été0042.dpx").unwrap();
        assert_eq!((name.prefix.as_str(), name.digits.as_str()), ("été", "0042"));
        assert_eq!(Name::parse("0042.dpx").unwrap().prefix, "");
        assert_eq!(Name::parse("nothing.dpx"), None);
        assert_eq!(Name::parse("0042"), None);
    }

    #[test]
    fn headers_come_back_in_order_with_the_odd_frame_named() {
        let folder = folder(&["s1.dpx", "s2.dpx"]);
        let results = Sequence::discover(folder.path()).unwrap().survey_headers();
        assert_eq!(results.len(), 2);
        let text = results[1].as_ref().unwrap_err().to_string();
        assert!(text.contains("s2.dpx: it is empty"), "{text}");
    }
}

//! What is known about a reel as a whole.

use std::path::{Path, PathBuf};

use super::gauge::Gauge;
use super::infrared::InfraredInfo;
use super::rate::Rate;

/// Something the survey found amiss.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The scan it concerns; `None` for the reel as a whole.
    pub frame: Option<u64>,
    /// One sentence.
    pub text: String,
}

/// How the scans are named: `prefix`, the number padded with zeros to `padding` digits, `suffix`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pattern {
    /// What stands before the number.
    pub prefix: String,
    /// What stands after it, the file ending included.
    pub suffix: String,
    /// Least number of digits.
    pub padding: usize,
}

impl Pattern {
    /// The file name of a scan.
    pub fn file_name(&self, number: u64) -> String {
        format!("{}{number:0width$}{}", self.prefix, self.suffix, width = self.padding)
    }
}

/// The facts about a reel: written once by `start`, replaced whole when they change.
#[derive(Clone, Debug, PartialEq)]
pub struct ReelInfo {
    /// The reel's name.
    pub name: String,
    /// Folder of the scans; a relative one counts from the reel folder.
    pub scans: PathBuf,
    /// How the scans are named.
    pub pattern: Pattern,
    /// First scan's number.
    pub first: u64,
    /// Last scan's number.
    pub last: u64,
    /// Numbers between first and last that have no scan, as ranges (both ends included), sorted.
    pub gaps: Vec<(u64, u64)>,
    /// Pixels a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Channels in the file, infrared or alpha included.
    pub channels: usize,
    /// File format in words, such as `DPX`.
    pub format: String,
    /// What is promised about bytes that no repair touches, in words.
    pub guarantee: String,
    /// Bits a sample.
    pub bits: u8,
    /// What the codes stand for, in words, such as `printing density`.
    pub transfer: String,
    /// Frames a second.
    pub rate: Rate,
    /// Film gauge.
    pub gauge: Gauge,
    /// Facts from the first scan's header, for people: name and value.
    pub facts: Vec<(String, String)>,
    /// What the survey found amiss.
    pub problems: Vec<Problem>,
    /// Its infrared, when it has one.
    pub infrared: Option<InfraredInfo>,
    /// Sensitivity of shots that nobody set.
    pub default_sensitivity: f32,
}

impl ReelInfo {
    /// Facts with everything but name, scans and size at its default: 10-bit, three channels, 24 frames a second,
    /// 35 mm 4-perf. The survey fills in the rest.
    pub fn new(name: &str, scans: &Path, pattern: Pattern, first: u64, last: u64, width: usize, height: usize) -> Self {
        Self {
            name: name.to_owned(),
            scans: scans.to_owned(),
            pattern,
            first,
            last,
            gaps: Vec::new(),
            width,
            height,
            channels: 3,
            format: String::new(),
            guarantee: String::new(),
            bits: 10,
            transfer: String::new(),
            rate: Rate::FILM,
            gauge: Gauge::default(),
            facts: Vec::new(),
            problems: Vec::new(),
            infrared: None,
            default_sensitivity: besom_detect::DEFAULT_SENSITIVITY,
        }
    }

    /// The folder of the scans; `reel_folder` is where a relative one counts from.
    pub fn scans_folder(&self, reel_folder: &Path) -> PathBuf {
        reel_folder.join(&self.scans)
    }

    /// Every scan in order, with the problem that the survey found in it.
    pub fn frames(&self, reel_folder: &Path) -> Vec<FrameEntry> {
        let folder = self.scans_folder(reel_folder);
        let mut entries = Vec::new();
        let mut next = self.first;
        let ends = std::iter::once((self.last.saturating_add(1), self.last));
        for (gap_first, gap_last) in self.gaps.iter().copied().chain(ends) {
            for number in next..gap_first.min(self.last.saturating_add(1)) {
                let path = folder.join(self.pattern.file_name(number));
                entries.push(FrameEntry { number, path, problem: None });
            }
            next = next.max(gap_last.saturating_add(1));
        }
        for problem in &self.problems {
            let place = problem.frame.and_then(|f| entries.binary_search_by_key(&f, |e| e.number).ok());
            if let Some(entry) = place.and_then(|i| entries.get_mut(i)) {
                entry.problem.get_or_insert_with(|| problem.text.clone());
            }
        }
        entries
    }
}

/// One scan of the reel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FrameEntry {
    /// Its number.
    pub number: u64,
    /// Its file.
    pub path: PathBuf,
    /// What the survey found amiss with it, in one sentence.
    pub problem: Option<String>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_skip_the_gaps_and_carry_their_problems() {
        let pattern = Pattern { prefix: "skerry_".into(), suffix: ".dpx".into(), padding: 5 };
        let mut info = ReelInfo::new("Skerry", Path::new("scans"), pattern, 8, 14, 64, 48);
        info.gaps = vec![(9, 10), (13, 13)];
        info.problems = vec![Problem { frame: Some(11), text: "it is cut short".into() }];
        let frames = info.frames(Path::new("r.besom"));
        assert_eq!(frames.iter().map(|f| f.number).collect::<Vec<_>>(), [8, 11, 12, 14]);
        assert_eq!(frames[1].path, Path::new("r.besom/scans/skerry_00011.dpx"));
        assert_eq!(frames[1].problem.as_deref(), Some("it is cut short"));
        assert_eq!(frames[0].problem, None);
    }
}

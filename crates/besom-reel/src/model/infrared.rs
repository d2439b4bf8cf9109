//! A reel's infrared: where it is, and how far it can be trusted in each shot.

use std::path::{Path, PathBuf};

use besom_detect::infrared::Likeness;

use super::info::Pattern;

/// Where the infrared of a reel is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InfraredSource {
    /// The last channel of the scans themselves.
    Channel,
    /// A sequence of its own, with the scans' numbers.
    Sequence {
        /// Its folder; a relative one counts from the reel folder.
        folder: PathBuf,
        /// How its files are named.
        pattern: Pattern,
    },
}

/// The infrared of a reel, as the survey found it.
#[derive(Clone, Debug, PartialEq)]
pub struct InfraredInfo {
    /// Where it is.
    pub source: InfraredSource,
    /// For each shot, how much of the picture it shows; `None` where that could not be measured, and it is not used there.
    pub shots: Vec<Option<Likeness>>,
}

/// Weight below which infrared is said not to be used.
const HARDLY: f32 = 0.05;
/// Weight from which it is said to be used without reserve.
const FULLY: f32 = 0.95;

impl InfraredInfo {
    /// How much infrared counts in a shot, from 0 to 1.
    pub fn weight(&self, shot: usize) -> f32 {
        self.shots.get(shot).copied().flatten().map_or(0.0, |likeness| likeness.weight())
    }

    /// The file that holds a scan's infrared; `None` when it is the scan itself.
    pub fn path(&self, reel_folder: &Path, number: u64) -> Option<PathBuf> {
        match &self.source {
            InfraredSource::Channel => None,
            InfraredSource::Sequence { folder, pattern } => {
                Some(reel_folder.join(folder).join(pattern.file_name(number)))
            }
        }
    }

    /// Where it is and how far it is used, in one sentence without a full stop.
    pub fn words(&self) -> String {
        let source = match self.source {
            InfraredSource::Channel => "a channel of the scans",
            InfraredSource::Sequence { .. } => "a sequence of its own",
        };
        let shots =
            |picked: &dyn Fn(usize) -> bool| -> Vec<usize> { (0..self.shots.len()).filter(|s| picked(*s)).collect() };
        let unknown = shots(&|s| self.shots[s].is_none());
        let off = shots(&|s| self.shots[s].is_some() && self.weight(s) < HARDLY);
        let less = shots(&|s| (HARDLY..FULLY).contains(&self.weight(s)));
        let mut parts = Vec::new();
        if !off.is_empty() {
            let contrast = off.iter().filter_map(|s| self.shots[*s]).map(|l| l.contrast.abs()).fold(0.0, f32::max);
            parts.push(format!(
                "{}it shows the picture itself ({:.0} % of its contrast; a silver image, or dyes that block infrared) and is not used",
                self.within(&off),
                100.0 * contrast
            ));
        }
        if !less.is_empty() {
            parts.push(format!("{}it shows some of the picture and counts less", self.within(&less)));
        }
        if !unknown.is_empty() {
            parts.push(format!("{}it is missing or the same everywhere and is not used", self.within(&unknown)));
        }
        if parts.is_empty() {
            return format!("{source}, used");
        }
        format!("{source}; {}", parts.join("; "))
    }

    /// `in shots 2, 5 `, or nothing when it is all of them.
    fn within(&self, shots: &[usize]) -> String {
        let list = shots.iter().map(|s| (s + 1).to_string()).collect::<Vec<_>>().join(", ");
        match shots.len() {
            n if n == self.shots.len() => String::new(),
            1 => format!("in shot {list} "),
            _ => format!("in shots {list} "),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(depth: f32, contrast: f32) -> Likeness {
        Likeness { correlation: 0.5, contrast, depth }
    }

    #[test]
    fn it_is_said_where_infrared_is_not_used_and_why() {
        let mut info = InfraredInfo { source: InfraredSource::Channel, shots: vec![Some(shown(0.4, 0.02)); 3] };
        assert_eq!(info.words(), "a channel of the scans, used");
        info.shots[1] = Some(shown(9.0, 0.93));
        let words = info.words();
        assert!(words.contains("in shot 2 it shows the picture itself (93 %") && words.contains("not used"), "{words}");
        assert_eq!((info.weight(0), info.weight(1), info.weight(7)), (1.0, 0.0, 0.0));
        info.shots = vec![Some(shown(2.25, 0.05)), None, None];
        let words = info.words();
        assert!(words.contains("in shot 1 it shows some") && words.contains("in shots 2, 3 it is missing"), "{words}");
        assert_eq!(info.weight(0), 0.5);
        info.shots = vec![None];
        assert_eq!(info.words(), "a channel of the scans; it is missing or the same everywhere and is not used");
    }

    #[test]
    fn a_sequence_of_its_own_has_the_scans_numbers() {
        let pattern = Pattern { prefix: "skerry_ir.".into(), suffix: ".dpx".into(), padding: 5 };
        let source = InfraredSource::Sequence { folder: PathBuf::from("../ir"), pattern };
        let info = InfraredInfo { source, shots: Vec::new() };
        assert_eq!(info.path(Path::new("r.besom"), 42), Some(PathBuf::from("r.besom/../ir/skerry_ir.00042.dpx")));
    }
}

//! One line of a journal: a record in RON, with types of its own.

use besom_detect::{GroupKind, Kind};
use besom_scan::{Rect, RunMask};
use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::mask_text;
use crate::model::decision::{Decision, FillChoice};
use crate::model::edit::{Filter, RegionId};
use crate::model::record::{Deed, Record, Spot, Stretch};

/// The version of the records that this Besom writes, and the newest that it reads.
pub(super) const VERSION: u64 = 1;

#[derive(Serialize, Deserialize)]
struct Line {
    version: u64,
    sequence: u64,
    /// RFC 3339, UTC, microseconds.
    time: String,
    artist: String,
    what: What,
}

#[derive(Serialize, Deserialize)]
enum What {
    Decide {
        decision: String,
        spots: Vec<SpotLine>,
        /// For the reader: what the spots were decided as.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        group: Option<String>,
        #[serde(default, skip_serializing_if = "is_zero")]
        examples: u32,
    },
    Rule {
        decision: String,
        filter: FilterLine,
        /// First scan, last scan, lowest confidence.
        stretches: Vec<(u64, u64, f32)>,
        /// Scan, and a pixel of each candidate about which the rule answered otherwise.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        learned: Vec<(u64, String)>,
    },
    Protect {
        /// Left, top, width, height.
        rect: (u32, u32, u32, u32),
        frames: (u64, u64),
        note: String,
        /// Which of the rectangle's pixels; all of them without it. A Besom that knows no masks protects the rectangle,
        /// which holds them all.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mask: Option<String>,
    },
    ChangeRegion {
        artist: String,
        sequence: u64,
        rect: (u32, u32, u32, u32),
        frames: (u64, u64),
        note: String,
        #[serde(default, skip_serializing_if = "Option::is_none")]
        mask: Option<String>,
    },
    Unprotect {
        artist: String,
        sequence: u64,
    },
    Sensitivity {
        frames: Option<(u64, u64)>,
        value: f32,
    },
    Learning {
        frames: (u64, u64),
        on: bool,
    },
    FillChoice {
        spot: SpotLine,
        choice: String,
    },
    HandMark {
        frame: u64,
        mask: String,
    },
    HandMarks {
        frames: (u64, u64),
        mask: String,
    },
    Reshape {
        spots: Vec<SpotLine>,
        masks: Vec<String>,
    },
    Note {
        frame: Option<u64>,
        text: String,
    },
    TimeSpent {
        seconds: u32,
    },
    Undo {
        of: u64,
    },
}

#[derive(Serialize, Deserialize)]
struct SpotLine {
    frame: u64,
    /// Left, top, width, height of the mask: for the reader, the mask alone counts.
    bounds: (u32, u32, u32, u32),
    mask: String,
    kind: String,
    confidence: f32,
}

#[derive(Serialize, Deserialize)]
struct FilterLine {
    frames: Option<(u64, u64)>,
    shot: Option<u64>,
    kind: Option<String>,
    min_confidence: Option<f32>,
    max_confidence: Option<f32>,
    include_at_risk: bool,
    only_undecided: bool,
}

/// The record as one line, without the line's end.
pub(super) fn write(record: &Record) -> Result<String, String> {
    let line = Line {
        version: VERSION,
        sequence: record.sequence,
        time: format!("{:.6}", record.time),
        artist: record.artist.clone(),
        what: to_line(&record.deed),
    };
    let text = ron::to_string(&line).map_err(|e| e.to_string())?;
    if text.contains(['\n', '\r']) {
        return Err("a record would take more than one line".to_owned());
    }
    Ok(text)
}

/// The version that a line states; `None` when the line does not begin as a record does.
pub(super) fn version_of(line: &str) -> Option<u64> {
    let (digits, _) = line.strip_prefix("(version:")?.split_once(',')?;
    digits.parse().ok()
}

/// The record of a line; the reason when it is none.
pub(super) fn parse(text: &str) -> Result<Record, String> {
    let line: Line = ron::from_str(text).map_err(|e| e.to_string())?;
    let time: Timestamp = line.time.parse().map_err(|_| "its time is not an RFC 3339 time".to_owned())?;
    let deed = from_line(line.what)?;
    Ok(Record { time, artist: line.artist, sequence: line.sequence, deed })
}

fn to_line(deed: &Deed) -> What {
    match deed {
        Deed::Decide { decision, spots, group, examples } => What::Decide {
            decision: decision.word().to_owned(),
            spots: spots.iter().map(spot_line).collect(),
            group: group.map(|kind| kind.word().to_owned()),
            examples: *examples,
        },
        Deed::Rule { decision, filter, stretches, learned } => What::Rule {
            decision: decision.word().to_owned(),
            filter: filter_line(filter),
            stretches: stretches.iter().map(|s| (s.first, s.last, s.min_confidence)).collect(),
            learned: learned.iter().map(|(frame, pixels)| (*frame, mask_text::write(pixels))).collect(),
        },
        Deed::Protect { rect, mask, first, last, note } => What::Protect {
            rect: sides(rect),
            frames: (*first, *last),
            note: note.clone(),
            mask: mask.as_ref().map(mask_text::write),
        },
        Deed::ChangeRegion { id, rect, mask, first, last, note } => What::ChangeRegion {
            artist: id.artist.clone(),
            sequence: id.sequence,
            rect: sides(rect),
            frames: (*first, *last),
            note: note.clone(),
            mask: mask.as_ref().map(mask_text::write),
        },
        Deed::Unprotect { id } => What::Unprotect { artist: id.artist.clone(), sequence: id.sequence },
        Deed::Sensitivity { scans, value } => What::Sensitivity { frames: *scans, value: *value },
        Deed::Learning { scans, on } => What::Learning { frames: *scans, on: *on },
        Deed::FillChoice { spot, choice } => {
            What::FillChoice { spot: spot_line(spot), choice: choice.word().to_owned() }
        }
        Deed::HandMark { frame, mask } => What::HandMark { frame: *frame, mask: mask_text::write(mask) },
        Deed::HandMarks { first, last, mask } => {
            What::HandMarks { frames: (*first, *last), mask: mask_text::write(mask) }
        }
        Deed::Reshape { spots, masks } => What::Reshape {
            spots: spots.iter().map(spot_line).collect(),
            masks: masks.iter().map(mask_text::write).collect(),
        },
        Deed::Note { frame, text } => What::Note { frame: *frame, text: text.clone() },
        Deed::TimeSpent { seconds } => What::TimeSpent { seconds: *seconds },
        Deed::Undo { of } => What::Undo { of: *of },
    }
}

fn from_line(what: What) -> Result<Deed, String> {
    Ok(match what {
        What::Decide { decision, spots, group, examples } => Deed::Decide {
            examples,
            decision: decision_of(&decision)?,
            spots: spots.iter().map(spot_of).collect::<Result<_, _>>()?,
            // A later Besom may know of more kinds; the decision is the same without the word.
            group: group.as_deref().and_then(GroupKind::from_word),
        },
        What::Rule { decision, filter, stretches, learned } => Deed::Rule {
            learned: learned_of(&learned)?,
            decision: decision_of(&decision)?,
            filter: filter_of(&filter)?,
            stretches: stretches.into_iter().map(stretch_of).collect::<Result<_, _>>()?,
        },
        What::Protect { rect, frames: (first, last), note, mask } => {
            let (rect, mask) = area_of(rect, mask.as_deref())?;
            Deed::Protect { rect, mask, first, last, note }
        }
        What::ChangeRegion { artist, sequence, rect, frames: (first, last), note, mask } => {
            let (rect, mask) = area_of(rect, mask.as_deref())?;
            Deed::ChangeRegion { id: RegionId { artist, sequence }, rect, mask, first, last, note }
        }
        What::Unprotect { artist, sequence } => Deed::Unprotect { id: RegionId { artist, sequence } },
        What::Sensitivity { frames, value } => Deed::Sensitivity { scans: frames, value: confidence(value)? },
        What::Learning { frames, on } => Deed::Learning { scans: frames, on },
        What::FillChoice { spot, choice } => Deed::FillChoice {
            spot: spot_of(&spot)?,
            choice: FillChoice::from_word(&choice).ok_or_else(|| format!("{choice:?} is no fill"))?,
        },
        What::HandMark { frame, mask } => Deed::HandMark { frame, mask: mask_of(&mask)? },
        What::HandMarks { frames: (first, last), mask } => Deed::HandMarks { first, last, mask: mask_of(&mask)? },
        What::Reshape { spots, masks } => reshape_of(&spots, &masks)?,
        What::Note { frame, text } => Deed::Note { frame, text },
        What::TimeSpent { seconds } => Deed::TimeSpent { seconds },
        What::Undo { of } => Deed::Undo { of },
    })
}

// Serde hands over a reference.
#[allow(clippy::trivially_copy_pass_by_ref)]
fn is_zero(count: &u32) -> bool {
    *count == 0
}

/// Scans in order, each once, as the fold looks them up.
fn learned_of(lines: &[(u64, String)]) -> Result<Vec<(u64, RunMask)>, String> {
    let mut learned: Vec<(u64, RunMask)> =
        lines.iter().map(|(frame, text)| Ok((*frame, mask_of(text)?))).collect::<Result<_, String>>()?;
    learned.sort_by_key(|(frame, _)| *frame);
    learned.dedup_by_key(|(frame, _)| *frame);
    Ok(learned)
}

fn spot_line(spot: &Spot) -> SpotLine {
    SpotLine {
        frame: spot.frame,
        bounds: sides(&spot.mask.bounds()),
        mask: mask_text::write(&spot.mask),
        kind: spot.kind.word().to_owned(),
        confidence: spot.confidence,
    }
}

fn spot_of(line: &SpotLine) -> Result<Spot, String> {
    Ok(Spot {
        frame: line.frame,
        mask: mask_of(&line.mask)?,
        kind: kind_of(&line.kind)?,
        confidence: confidence(line.confidence)?,
    })
}

fn filter_line(filter: &Filter) -> FilterLine {
    FilterLine {
        frames: filter.frames.as_ref().map(|f| (*f.start(), *f.end())),
        shot: filter.shot.map(|s| s as u64),
        kind: filter.kind.map(|k| k.word().to_owned()),
        min_confidence: filter.min_confidence,
        max_confidence: filter.max_confidence,
        include_at_risk: filter.include_at_risk,
        only_undecided: filter.only_undecided,
    }
}

fn filter_of(line: &FilterLine) -> Result<Filter, String> {
    Ok(Filter {
        frames: line.frames.map(|(first, last)| first..=last),
        shot: line.shot.map(|s| s as usize),
        kind: line.kind.as_deref().map(kind_of).transpose()?,
        min_confidence: line.min_confidence.map(confidence).transpose()?,
        max_confidence: line.max_confidence.map(confidence).transpose()?,
        include_at_risk: line.include_at_risk,
        only_undecided: line.only_undecided,
    })
}

fn stretch_of((first, last, min): (u64, u64, f32)) -> Result<Stretch, String> {
    Ok(Stretch { first, last, min_confidence: confidence(min)? })
}

fn sides(rect: &Rect) -> (u32, u32, u32, u32) {
    (rect.x0.max(0) as u32, rect.y0.max(0) as u32, rect.width() as u32, rect.height() as u32)
}

fn rect_of((x, y, width, height): (u32, u32, u32, u32)) -> Result<Rect, String> {
    let end = |start: u32, length: u32| i32::try_from(u64::from(start) + u64::from(length)).ok();
    let (x1, y1) = end(x, width).zip(end(y, height)).ok_or("its rectangle is too large")?;
    Ok(Rect::new(x as i32, y as i32, x1, y1))
}

/// The area of a region. The mask is the truth: the rectangle beside it is what older Besoms protect.
fn area_of(rect: (u32, u32, u32, u32), mask: Option<&str>) -> Result<(Rect, Option<RunMask>), String> {
    let rect = rect_of(rect)?;
    let Some(mask) = mask.map(mask_of).transpose()? else { return Ok((rect, None)) };
    Ok((mask.bounds(), Some(mask)))
}

fn reshape_of(spots: &[SpotLine], masks: &[String]) -> Result<Deed, String> {
    let spots: Vec<Spot> = spots.iter().map(spot_of).collect::<Result<_, _>>()?;
    let masks: Vec<RunMask> = masks.iter().map(|text| mask_of(text)).collect::<Result<_, _>>()?;
    let one_frame = spots.iter().all(|s| Some(s.frame) == spots.first().map(|s| s.frame));
    if spots.is_empty() || !one_frame || masks.is_empty() || masks.iter().any(RunMask::is_empty) {
        return Err("it gives candidates of one frame no shapes".to_owned());
    }
    Ok(Deed::Reshape { spots, masks })
}

fn decision_of(word: &str) -> Result<Decision, String> {
    Decision::ALL.into_iter().find(|d| d.word() == word).ok_or_else(|| format!("{word:?} is no decision"))
}

fn kind_of(word: &str) -> Result<Kind, String> {
    Kind::from_word(word).ok_or_else(|| format!("{word:?} is no kind"))
}

fn mask_of(text: &str) -> Result<RunMask, String> {
    mask_text::parse(text).ok_or_else(|| "a mask cannot be read".to_owned())
}

fn confidence(value: f32) -> Result<f32, String> {
    if (0.0..=1.0).contains(&value) { Ok(value) } else { Err(format!("{value} is not between 0 and 1")) }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::fold::samples;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_record_comes_back(record in samples::records()) {
            let line = write(&record).unwrap();
            prop_assert_eq!(version_of(&line), Some(VERSION));
            prop_assert_eq!(parse(&line), Ok(record));
        }
    }

    /// The first version's lines are kept for ever: they must read the same in every later Besom.
    #[test]
    fn lines_of_version_1_read_as_they_did() {
        let decide = "(version:1,sequence:7,time:\"2026-03-04T09:30:00.000125Z\",artist:\"Ines\",what:Decide(\
            decision:\"accepted\",spots:[(frame:86,bounds:(45,120,7,2),mask:\"120:45+7;121:46+3\",kind:\"dust\",confidence:0.97)]))";
        let record = parse(decide).unwrap();
        assert_eq!(write(&record).unwrap(), decide);
        assert_eq!(record.time.as_microsecond(), 1_772_616_600_000_125);
        let lines = [
            "(version:1,sequence:6,time:\"2026-03-04T09:30:05.000000Z\",artist:\"Ines\",what:Decide(decision:\"rejected\",spots:[(frame:86,bounds:(45,120,7,1),mask:\"120:45+7\",kind:\"dust\",confidence:0.97)],group:Some(\"cloud\")))",
            "(version:1,sequence:1,time:\"2026-03-04T09:30:00.000000Z\",artist:\"Ines\",what:Rule(decision:\"intended\",filter:(frames:Some((1,9)),shot:None,kind:Some(\"hair\"),min_confidence:None,max_confidence:None,include_at_risk:false,only_undecided:true),stretches:[(1,9,0.5)]))",
            "(version:1,sequence:2,time:\"2026-03-04T09:30:01.000000Z\",artist:\"Ines\",what:Protect(rect:(1,2,3,4),frames:(5,6),note:\"slate \\\"2\\\"\\nscuffed\"))",
            "(version:1,sequence:8,time:\"2026-03-04T09:30:06.000000Z\",artist:\"Ines\",what:Protect(rect:(1,2,3,2),frames:(5,6),note:\"\",mask:Some(\"2:1+3;3:2+1\")))",
            "(version:1,sequence:9,time:\"2026-03-04T09:30:07.000000Z\",artist:\"Ines\",what:ChangeRegion(artist:\"Mara\",sequence:8,rect:(1,2,3,4),frames:(5,7),note:\"slate\"))",
            "(version:1,sequence:10,time:\"2026-03-04T09:30:08.000000Z\",artist:\"Ines\",what:HandMarks(frames:(5,7),mask:\"2:1+3\"))",
            "(version:1,sequence:11,time:\"2026-03-04T09:30:09.000000Z\",artist:\"Ines\",what:Reshape(spots:[(frame:86,bounds:(45,120,7,1),mask:\"120:45+7\",kind:\"dust\",confidence:0.97)],masks:[\"120:45+3\",\"120:50+2\"]))",
            "(version:1,sequence:3,time:\"2026-03-04T09:30:02.000000Z\",artist:\"Ines\",what:Unprotect(artist:\"Ines\",sequence:2))",
            "(version:1,sequence:4,time:\"2026-03-04T09:30:03.000000Z\",artist:\"Ines\",what:Sensitivity(frames:None,value:0.4))",
            "(version:1,sequence:5,time:\"2026-03-04T09:30:04.000000Z\",artist:\"Ines\",what:Undo(of:4))",
        ];
        for line in lines {
            assert_eq!(write(&parse(line).unwrap()).as_deref(), Ok(line));
        }
    }

    #[test]
    fn lines_that_make_no_sense_say_why() {
        let good = "(version:1,sequence:7,time:\"2026-03-04T09:30:00Z\",artist:\"Ines\",what:Sensitivity(frames:None,value:0.5))";
        assert!(parse(good).is_ok());
        for (from, to) in
            [("0.5", "1.5"), ("0.5", "NaN"), ("2026-03-04", "2026-13-04"), ("Sensitivity", "Surprise"), ("7", "-7")]
        {
            assert!(parse(&good.replace(from, to)).is_err(), "{to}");
        }
    }
}

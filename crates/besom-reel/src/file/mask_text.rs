//! Masks as text that a person can read: `row:start+length,start+length;row:…`, in pixels from the top left corner.

use std::fmt::Write as _;

use besom_scan::{Run, RunMask};

use crate::digits;

/// Rows and columns stay below this, so that every position fits an `i32` with room to spare.
const LIMIT: u32 = 1 << 24;

/// The mask as text; empty for an empty mask.
pub(crate) fn write(mask: &RunMask) -> String {
    let mut text = String::new();
    let mut row = None;
    for run in mask.runs() {
        // Writing into a String cannot fail.
        let _ = match row {
            Some(y) if y == run.y => write!(text, ",{}+{}", run.x0, run.x1 - run.x0),
            Some(_) => write!(text, ";{}:{}+{}", run.y, run.x0, run.x1 - run.x0),
            None => write!(text, "{}:{}+{}", run.y, run.x0, run.x1 - run.x0),
        };
        row = Some(run.y);
    }
    text
}

/// The mask of a text; `None` when it is none.
pub(crate) fn parse(text: &str) -> Option<RunMask> {
    let mut runs = Vec::new();
    if text.is_empty() {
        return Some(RunMask::default());
    }
    for row in text.split(';') {
        let (y, parts) = row.split_once(':')?;
        let y = number(y)?;
        for part in parts.split(',') {
            let (x0, length) = part.split_once('+')?;
            let x0 = number(x0)?;
            let x1 = x0.checked_add(number(length)?).filter(|x1| *x1 <= LIMIT && *x1 > x0)?;
            runs.push(Run { y, x0, x1 });
        }
    }
    Some(RunMask::from_runs(runs))
}

fn number(text: &str) -> Option<u32> {
    digits::number(text).filter(|n| *n < LIMIT)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_mask_reads_as_rows() {
        let runs = vec![Run { y: 120, x0: 45, x1: 52 }, Run { y: 120, x0: 60, x1: 62 }, Run { y: 121, x0: 44, x1: 53 }];
        let mask = RunMask::from_runs(runs);
        assert_eq!(write(&mask), "120:45+7,60+2;121:44+9");
        for bad in
            ["1", "1:", "1:2", "1:2+0", "1:2+-1", ":1+1", "1:2+3;", "1:2+3,", "x", "1:4294967295+1", "99999999:1+1"]
        {
            assert_eq!(parse(bad), None, "{bad}");
        }
    }

    proptest! {
        #[test]
        fn any_mask_comes_back(runs in proptest::collection::vec((0u32..4000, 0u32..4000, 1u32..50), 0..60)) {
            let mask = RunMask::from_runs(runs.into_iter().map(|(y, x0, w)| Run { y, x0, x1: x0 + w }).collect());
            prop_assert_eq!(parse(&write(&mask)), Some(mask));
        }

        #[test]
        fn no_text_makes_it_panic(text in "[0-9:;,+]{0,40}") {
            let _ = parse(&text);
        }
    }
}

//! Whatever is accepted and whatever is protected: no repair reaches into what nobody may change.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use besom_motion::estimate_field;
use besom_scan::{Encoding, Rect, Samples, Transfer};
use proptest::prelude::*;

use super::*;
use crate::drawn;
use crate::file::candidates::{self, Chunk};
use crate::fold::samples::{candidate, shot};
use crate::model::edit::{Edit, Filter, HandMark};
use crate::model::info::{Pattern, ReelInfo};

const WIDTH: u32 = 64;
const HEIGHT: u32 = 48;
/// The scan under repair; the reel holds two more on each side.
const FRAME: u64 = 3;

/// A reel of five scans whose middle one has a candidate on each of these squares.
fn reel(folder: &Path, squares: &[(u32, u32)]) -> Reel {
    let pattern = Pattern { prefix: "lamps_".into(), suffix: ".dpx".into(), padding: 5 };
    let info = ReelInfo::new("Skerry", Path::new("../scans"), pattern, 1, 5, WIDTH as usize, HEIGHT as usize);
    let path = folder.join("skerry.besom");
    Reel::create(&path, &info, &[shot(0, 1, 5)]).unwrap();
    let list: Vec<_> = squares.iter().map(|(x, y)| candidate(*x, *y, 0.9)).collect();
    let of = |n: u64| (n, if n == FRAME { list.clone() } else { Vec::new() });
    let frames = (1..=5).map(of).collect();
    let chunk = Chunk { generation: 1, fingerprint: [1; 32], width: WIDTH, height: HEIGHT, first: 1, last: 5, frames };
    candidates::write(&path, &chunk).unwrap();
    Reel::open(&path, "Ines").unwrap()
}

/// A picture that drifts by one column a frame, black on the squares in the middle one.
fn picture(number: u64, squares: &[(u32, u32)]) -> Frame {
    let sample = |x: u32, y: u32| {
        let black = number == FRAME && squares.iter().any(|(a, b)| x.wrapping_sub(*a) < 4 && y.wrapping_sub(*b) < 4);
        let at = f64::from(x) - number as f64;
        let code = 500.0 + 90.0 * (at * 0.4).sin() + 60.0 * (f64::from(y) * 0.3 + at * 0.1).cos();
        if black { 90 } else { code as u16 }
    };
    let samples = (0..HEIGHT).flat_map(|y| (0..WIDTH).map(move |x| (x, y))).map(|(x, y)| sample(x, y)).collect();
    let encoding = Encoding { bits: 10, transfer: Transfer::PrintingDensity };
    let (width, height) = (WIDTH as usize, HEIGHT as usize);
    Frame { width, height, channels: 1, samples: Samples::U16(samples), encoding }
}

/// What the middle frame's plan would change.
fn changed(reel: &Reel, squares: &[(u32, u32)]) -> RunMask {
    let frames = [1, 2, 3, 4, 5].map(Some);
    let plan = FillPlan::new(reel, &frames, None).unwrap();
    let pictures = [1, 2, 3, 4, 5].map(|n| picture(n, squares));
    let prepared = pictures.each_ref().map(|p| Prepared::new(p.analysis()).unwrap());
    let window = prepared.each_ref().map(Some);
    let mut field = |from: usize, to: usize| Arc::new(estimate_field(&prepared[from].pyramid, &prepared[to].pyramid));
    let filled = plan.fill(&pictures[MIDDLE], &window, &mut field);
    RunMask::from_pixels(filled.iter().flat_map(|f| &f.edits).map(|e| (e.x, e.y)))
}

fn accept_all(reel: &mut Reel) {
    let filter = Filter { include_at_risk: true, ..Filter::default() };
    reel.record(Edit::Rule { decision: Decision::Accepted, filter }).unwrap();
}

fn protect(reel: &mut Reel, mask: RunMask) {
    reel.record(Edit::ProtectShape { mask, first: FRAME, last: FRAME, note: String::new() }).unwrap();
}

/// A drawn line through a mark parts its repair; a box around the line would have kept all of it.
#[test]
fn a_drawn_region_keeps_its_own_pixels_and_no_others() {
    let folder = tempfile::tempdir().unwrap();
    let squares = [(20, 20)];
    let mut reel = reel(folder.path(), &squares);
    accept_all(&mut reel);
    let square = RunMask::from_rect(&Rect::new(20, 20, 24, 24));
    assert_eq!(changed(&reel, &squares).overlap(&square), 16, "without protection all of it is repaired");
    let line = drawn::stroke(&[(10.0, 12.0), (34.0, 32.0)], 2.0, WIDTH, HEIGHT);
    protect(&mut reel, line.clone());
    let (repaired, kept) = (changed(&reel, &squares), line.overlap(&square));
    assert!(kept > 0 && kept < 16, "the line crosses the mark: {kept}");
    assert_eq!(repaired.overlap(&line), 0);
    assert_eq!(repaired.overlap(&square), 16 - kept, "the rest of the mark is repaired");
    reel.undo().unwrap();
    assert_eq!(changed(&reel, &squares).overlap(&square), 16);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn no_repaired_pixel_is_protected(
        squares in proptest::collection::vec((0u32..60, 0u32..44), 1..5),
        corners in proptest::collection::vec((-8f64..72.0, -8f64..56.0), 3..8),
        path in proptest::collection::vec((-8f64..72.0, -8f64..56.0), 1..5),
        breadth in 1f64..14.0,
        painted in proptest::collection::vec((4f64..60.0, 4f64..44.0), 1..4),
    ) {
        let folder = tempfile::tempdir().unwrap();
        let mut reel = reel(folder.path(), &squares);
        accept_all(&mut reel);
        let mark = drawn::stroke(&painted, 5.0, WIDTH, HEIGHT);
        reel.record(Edit::HandMark(HandMark { frame: FRAME, mask: mark })).unwrap();
        let shapes = [drawn::outline(&corners, WIDTH, HEIGHT), drawn::stroke(&path, breadth, WIDTH, HEIGHT)];
        for shape in shapes.iter().filter(|s| !s.is_empty()) {
            protect(&mut reel, shape.clone());
        }
        let kept = shapes[0].union(&shapes[1]);
        prop_assert_eq!(reel.protected_mask(FRAME), kept.clone());
        prop_assert_eq!(changed(&reel, &squares).overlap(&kept), 0);
        // What another artist's copy of the folder says is the same.
        prop_assert_eq!(Reel::open(reel.folder(), "Mara").unwrap().protected_mask(FRAME), kept);
    }
}

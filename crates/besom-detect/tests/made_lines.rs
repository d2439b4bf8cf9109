//! Line scratches on frames whose every line is known because it was made.
#![allow(clippy::unwrap_used)]

use besom_detect::{Candidate, DEFAULT_SENSITIVITY, Grain, Kind, Model, Polarity, Prepared, Settings, Window, detect};
use besom_scan::Plane;

/// Half the width of a 2K scan.
const W: usize = 1024;
const H: usize = 400;
/// The picture pans by so many pixels a frame.
const PAN: f32 = 5.0;

/// A number from -1 to 1 for a place (the finaliser of `SplitMix64`, from memory).
fn hash(x: i64, y: i64, salt: u64) -> f32 {
    let mut z = (x as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ (y as u64).wrapping_mul(0xC2B2_AE3D_27D4_EB4F) ^ salt;
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 40) as f32 / (1u64 << 23) as f32 - 1.0
}

/// Blobs of about 47 by 41 pixels.
fn scene(x: f32, y: f32) -> f32 {
    let (u, v) = (x / 47.0, y / 41.0);
    let (i, j) = (u.floor(), v.floor());
    let fade = |t: f32| t * t * (3.0 - 2.0 * t);
    let (s, t) = (fade(u - i), fade(v - j));
    let at = |a: f32, b: f32| hash((i + a) as i64, (j + b) as i64, 7);
    let top = at(0.0, 0.0) * (1.0 - s) + at(1.0, 0.0) * s;
    let low = at(0.0, 1.0) * (1.0 - s) + at(1.0, 1.0) * s;
    450.0 + 90.0 * (top * (1.0 - t) + low * t)
}

/// A line: its column at row 0, pixels a row, its width, what it adds in red, green and blue, and its gaps.
#[derive(Clone, Copy)]
struct Line {
    x: f32,
    slope: f32,
    width: f32,
    codes: [f32; 3],
    broken: bool,
    /// Moves with the picture: a thing of the scene.
    in_scene: bool,
}

const UPRIGHT: Line = Line { x: 540.0, slope: 0.0, width: 3.0, codes: [90.0; 3], broken: false, in_scene: false };

impl Line {
    fn place(&self, frame: usize, row: f32) -> f32 {
        let start = if self.in_scene { self.x - PAN * (frame as f32 - 2.0) } else { self.x };
        // A slanted scratch goes on where it left the frame before.
        let along = if self.in_scene { row } else { row + H as f32 * (frame as f32 - 2.0) };
        start + self.slope * along
    }

    fn there(&self, frame: usize, row: usize) -> bool {
        // Gaps of 30 rows every 100, at other rows of every frame.
        !self.broken || (row + 37 * frame) % 100 >= 30
    }
}

fn frame(n: usize, line: Option<Line>) -> Prepared {
    let planes = (0..3)
        .map(|c| {
            Plane::from_fn(W, H, |x, y| {
                let salt = (n * 3 + c) as u64;
                // The sum of three uniform numbers of variance 1/3 has variance 1: grain of 6 codes.
                let grain = 6.0 * (0..3).map(|k| hash(x as i64, y as i64, 1000 + 3 * salt + k)).sum::<f32>();
                let mut value = scene(x as f32 + PAN * n as f32, y as f32);
                if let Some(line) = line.filter(|l| l.there(n, y)) {
                    let off = (x as f32 - line.place(n, y as f32)).abs() - 0.5 * line.width;
                    value += line.codes[c] * (0.5 - off).clamp(0.0, 1.0);
                }
                value + grain
            })
        })
        .collect();
    Prepared::new(planes).unwrap()
}

fn lines(line: Option<Line>) -> Vec<Candidate> {
    let frames: Vec<Prepared> = (0..5).map(|n| frame(n, line)).collect();
    let window = Window {
        before_last: Some(&frames[0]),
        previous: Some(&frames[1]),
        current: &frames[2],
        next: Some(&frames[3]),
        after_next: Some(&frames[4]),
    };
    let found = detect(&window, &Grain::flat(3, 6.0), &Model::built_in().unwrap(), &Settings::default());
    found.into_iter().filter(|c| c.kind == Kind::Line).collect()
}

/// The share of a line's rows in which a candidate of at least this confidence covers the line's middle.
fn covered(line: Line, candidates: &[Candidate], confidence: f32) -> f32 {
    let rows: Vec<usize> = (0..H).filter(|y| line.there(2, *y)).collect();
    let hit = |y: &&usize| {
        let x = line.place(2, **y as f32).round() as u32;
        candidates.iter().any(|c| c.confidence >= confidence && c.mask.contains(x, **y as u32))
    };
    rows.iter().filter(hit).count() as f32 / rows.len() as f32
}

fn is_found(name: &str, line: Line) -> Vec<Candidate> {
    let candidates = lines(Some(line));
    let share = covered(line, &candidates, DEFAULT_SENSITIVITY);
    assert!(share > 0.8, "{name}: {share} of the line is covered by {} candidates", candidates.len());
    candidates
}

#[test]
fn thin_and_broad_lines_are_found_as_wide_as_they_are() {
    // Broader ones are found less surely: see the figures of `besom-proof train`.
    for width in [1.0, 2.0, 4.0, 8.0, 14.0] {
        let found = is_found(&format!("{width} pixels wide"), Line { width, ..UPRIGHT });
        let widest =
            found.iter().filter(|c| c.confidence >= DEFAULT_SENSITIVITY).map(|c| c.area() / H).max().unwrap_or(0)
                as f32;
        assert!((widest - width).abs() <= 3.0 + 0.2 * width, "{width} pixels are marked {widest} wide");
    }
}

#[test]
fn dark_lines_and_slanted_and_broken_ones_are_found() {
    let dark = is_found("dark", Line { codes: [-90.0; 3], ..UPRIGHT });
    assert!(dark.iter().any(|c| c.polarity == Polarity::Dark && c.confidence >= DEFAULT_SENSITIVITY));
    for degrees in [-5.0f32, -2.0, 3.0, 5.0] {
        is_found(&format!("{degrees} degrees"), Line { slope: degrees.to_radians().tan(), ..UPRIGHT });
    }
    is_found("broken", Line { broken: true, ..UPRIGHT });
}

#[test]
fn a_line_in_one_dye_layer_is_found() {
    for channel in 0..3 {
        let codes = std::array::from_fn(|c| if c == channel { 90.0 } else { 0.0 });
        is_found(&format!("channel {channel} alone"), Line { codes, ..UPRIGHT });
    }
}

#[test]
fn a_bar_that_moves_with_the_picture_is_left_alone() {
    for width in [3.0, 8.0] {
        let bar = Line { width, in_scene: true, ..UPRIGHT };
        let share = covered(bar, &lines(Some(bar)), DEFAULT_SENSITIVITY);
        assert!(share < 0.1, "{share} of a bar of the scene {width} pixels wide is marked");
    }
    let sure = lines(None).into_iter().filter(|c| c.confidence >= DEFAULT_SENSITIVITY).count();
    assert_eq!(sure, 0, "lines on a frame without any");
}

#[test]
fn lines_do_not_depend_on_threads() {
    let on = |threads: usize| {
        rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap().install(|| lines(Some(UPRIGHT)))
    };
    assert_eq!(on(1), on(2));
}

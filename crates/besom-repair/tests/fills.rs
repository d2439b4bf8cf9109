//! Whole fills on small pictures whose truth is known by construction.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use besom_detect::Grain;
use besom_motion::Vector;
use besom_repair::{Choice, Fill, Job, Method, Prepared, Source, fill, fill_prepared, grown_mask};
use besom_scan::{Plane, Rect, Run, RunMask};
use proptest::prelude::*;

const SIZE: usize = 96;

/// A smooth picture with structure at several scales.
fn picture(x: f32, y: f32) -> f32 {
    480.0 + 120.0 * (x * 0.11).sin() * (y * 0.07).cos() + 60.0 * (x * 0.31 + y * 0.2).sin() + 0.8 * y
}

/// Noise of mean 0 and variance 1 that depends on the seed and the place alone.
fn noise(seed: u64, x: usize, y: usize) -> f32 {
    let mut sum = 0.0;
    for k in 0..12u64 {
        let mut z = seed ^ (x as u64).wrapping_mul(0x9e37_79b9) ^ (y as u64).wrapping_mul(0x85eb_ca6b_1234) ^ (k << 50);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        sum += ((z ^ (z >> 31)) >> 40) as f32 / (1u64 << 24) as f32;
    }
    sum - 6.0
}

/// Grain as scans of film show it: a little wider than a pixel. Variance 1.
fn grain(seed: u64, x: usize, y: usize) -> f32 {
    let taps = [(0, 0, 1.0), (1, 0, 0.5), (0, 1, 0.5), (1, 1, 0.25), (2, 0, 0.25), (0, 2, 0.25)];
    let power: f32 = taps.iter().map(|t| t.2 * t.2).sum();
    taps.iter().map(|&(a, b, w)| w * noise(seed, x + a, y + b)).sum::<f32>() / power.sqrt()
}

/// A frame of `channels` planes, shifted and levelled, with grain of strength `sigma` of its own.
fn frame(channels: usize, shift: (f32, f32), level: f32, sigma: f32, seed: u64) -> Vec<Plane> {
    let plane = |c: usize| {
        Plane::from_fn(SIZE, SIZE, |x, y| {
            let clean = picture(x as f32 - shift.0, y as f32 - shift.1) + 15.0 * c as f32 + level;
            clean + sigma * grain(seed + 1000 * c as u64, x, y)
        })
    };
    (0..channels).map(plane).collect()
}

struct Scene {
    truth: Vec<Plane>,
    planes: Vec<Plane>,
    skip: Plane<u8>,
    mask: RunMask,
    neighbours: Vec<(i32, Vec<Plane>, Plane<u8>, Vector)>,
    grain: Grain,
}

impl Scene {
    /// A frame with a dark mark at `rect`, and neighbours moved by `step` a frame.
    fn new(channels: usize, rect: Rect, step: (f32, f32), sigma: f32) -> Self {
        let truth = frame(channels, (0.0, 0.0), 0.0, sigma, 1);
        let mask = RunMask::from_rect(&rect);
        let mut planes = truth.clone();
        let mut skip = Plane::new(SIZE, SIZE);
        mask.paint(&mut skip, 1);
        for plane in &mut planes {
            mask.pixels().for_each(|(x, y)| plane.set(x as usize, y as usize, 70.0));
        }
        let neighbours = [-2, -1, 1, 2]
            .into_iter()
            .map(|n: i32| {
                let shift = (step.0 * n as f32, step.1 * n as f32);
                let planes = frame(channels, shift, 0.0, sigma, (50 + n) as u64);
                (n, planes, Plane::new(SIZE, SIZE), Vector::new(shift.0.round(), shift.1.round()))
            })
            .collect();
        Self { truth, planes, skip, mask, neighbours, grain: Grain::flat(channels, sigma) }
    }

    fn with_job<T>(&self, choice: Choice, use_job: impl FnOnce(&Job) -> T) -> T {
        let starts: Vec<_> = self.neighbours.iter().map(|n| move |_: f32, _: f32| n.3).collect();
        let sources: Vec<Source> = self
            .neighbours
            .iter()
            .zip(&starts)
            .map(|(n, start)| Source { offset: n.0, planes: &n.1, skip: &n.2, start })
            .collect();
        use_job(&Job {
            planes: &self.planes,
            skip: &self.skip,
            mask: &self.mask,
            sources: &sources,
            grain: &self.grain,
            choice,
            seed: 7,
        })
    }

    fn fill(&self, choice: Choice) -> Fill {
        self.with_job(choice, fill)
    }

    /// Root-mean-square error over the mask, all channels.
    fn error(&self, fill: &Fill) -> f32 {
        let (mut sum, mut count) = (0.0, 0.0);
        for (x, y) in self.mask.pixels() {
            for (values, truth) in fill.values.iter().zip(&self.truth) {
                let v = values.at((x as i32 - fill.rect.x0) as usize, (y as i32 - fill.rect.y0) as usize);
                sum += (v - truth.at(x as usize, y as usize)).powi(2);
                count += 1.0;
            }
        }
        (sum / count as f32).sqrt()
    }
}

#[test]
fn a_still_scene_without_grain_comes_back() {
    for channels in [1, 3] {
        let scene = Scene::new(channels, Rect::new(40, 38, 52, 47), (0.0, 0.0), 0.0);
        let fill = scene.fill(Choice::Automatic);
        assert_eq!(fill.method, Method::Both);
        assert_eq!(fill.values.len(), channels);
        assert!(scene.error(&fill) < 0.05, "{}", scene.error(&fill));
        assert!(fill.rim_error < 0.05);
    }
}

#[test]
fn a_moving_scene_comes_back_between_pixels() {
    let scene = Scene::new(3, Rect::new(40, 38, 54, 50), (2.3, -1.4), 0.0);
    let fill = scene.fill(Choice::Automatic);
    assert!(scene.error(&fill) < 1.5, "{}", scene.error(&fill));
    for (choice, method, signs) in [(Choice::Previous, Method::Previous, -1), (Choice::Next, Method::Next, 1)] {
        let fill = scene.fill(choice);
        assert_eq!(fill.method, method);
        assert!(fill.sources.iter().all(|s| s.signum() == signs), "{:?}", fill.sources);
        assert!(scene.error(&fill) < 2.5, "{}", scene.error(&fill));
    }
}

#[test]
fn a_large_hole_follows_motion_that_varies() {
    // The picture is stretched from frame to frame: one displacement would be 1.5 pixels off at the hole's ends.
    let mut scene = Scene::new(1, Rect::new(18, 40, 78, 46), (0.0, 0.0), 0.0);
    for (n, planes, _, start) in &mut scene.neighbours {
        let stretch = 1.0 + 0.05 * *n as f32;
        planes[0] = Plane::from_fn(SIZE, SIZE, |x, y| picture(48.0 + (x as f32 - 48.0) / stretch, y as f32));
        *start = Vector::default();
    }
    let fill = scene.fill(Choice::Automatic);
    assert!(scene.error(&fill) < 6.0, "{}", scene.error(&fill));
}

#[test]
fn the_side_that_is_not_covered_is_chosen() {
    // A bright object lies over the hole and all around it in the frames before.
    let mut scene = Scene::new(3, Rect::new(42, 42, 50, 50), (0.0, 0.0), 2.0);
    for (n, planes, _, _) in &mut scene.neighbours {
        if *n < 0 {
            for plane in planes.iter_mut() {
                for y in 30..62 {
                    (30..62).for_each(|x| plane.set(x, y, 900.0 + 40.0 * ((x * 5 + y * 3) as f32).sin()));
                }
            }
        }
    }
    let fill = scene.fill(Choice::Automatic);
    assert!(scene.error(&fill) < 6.0, "{}", scene.error(&fill));
    assert!(fill.sources.contains(&1));
}

#[test]
fn a_hole_on_an_edge_between_layers_takes_each_from_where_it_shows() {
    // The left half stands still; the right half moves by four pixels a frame, so that each frame hides a strip of it.
    let layered = |n: i32| {
        Plane::from_fn(SIZE, SIZE, |x, y| {
            if x < 46 { 250.0 + 30.0 * (y as f32 * 0.4).sin() } else { picture(x as f32 - 4.0 * n as f32, y as f32) }
        })
    };
    let mut scene = Scene::new(1, Rect::new(41, 40, 52, 50), (0.0, 0.0), 0.0);
    scene.truth = vec![layered(0)];
    scene.planes = vec![layered(0)];
    scene.mask.pixels().for_each(|(x, y)| scene.planes[0].set(x as usize, y as usize, 70.0));
    for (n, planes, _, _) in &mut scene.neighbours {
        planes[0] = layered(*n);
    }
    let fill = scene.fill(Choice::Automatic);
    assert!(scene.error(&fill) < 25.0, "{}", scene.error(&fill));
}

#[test]
fn a_neighbours_own_dirt_is_never_copied() {
    let mut scene = Scene::new(3, Rect::new(40, 40, 50, 50), (0.0, 0.0), 0.0);
    for (n, planes, skip, _) in &mut scene.neighbours {
        // Dirt at the same place, a third of the hole in one frame, another third in the next.
        let left = if *n < 0 { 38 } else { 46 };
        let dirt = RunMask::from_rect(&Rect::new(left, 38, left + 6, 52));
        dirt.paint(skip, 1);
        for plane in planes.iter_mut() {
            dirt.pixels().for_each(|(x, y)| plane.set(x as usize, y as usize, 1000.0));
        }
    }
    let fill = scene.fill(Choice::Automatic);
    assert!(scene.error(&fill) < 4.0, "{}", scene.error(&fill));
}

#[test]
fn dirt_at_one_place_in_all_frames_is_filled_from_around() {
    let mut scene = Scene::new(3, Rect::new(40, 40, 46, 46), (0.0, 0.0), 0.0);
    for (_, planes, skip, _) in &mut scene.neighbours {
        let dirt = RunMask::from_rect(&Rect::new(36, 36, 50, 50));
        dirt.paint(skip, 1);
        for p in planes.iter_mut() {
            dirt.pixels().for_each(|(x, y)| p.set(x as usize, y as usize, 1000.0));
        }
    }
    let fill = scene.fill(Choice::Automatic);
    assert_eq!(fill.method, Method::Spatial);
    assert!(fill.sources.is_empty());
    assert!(scene.error(&fill) < 30.0, "{}", scene.error(&fill));
}

#[test]
fn without_sources_the_picture_around_is_used() {
    let sigma = 4.0;
    let mut scene = Scene::new(3, Rect::new(40, 20, 43, 70), (0.0, 0.0), sigma);
    scene.neighbours.clear();
    // What drawing straight across a line three pixels wide, from the two clean pixels beside it, would miss; and grain
    // that cannot be known, its own and the truth's.
    let straight = |x: u32, y: u32| {
        let (left, right) = (picture(39.0, y as f32), picture(43.0, y as f32));
        picture(x as f32, y as f32) - left - (right - left) * (x - 39) as f32 / 4.0
    };
    let missed = scene.mask.pixels().map(|(x, y)| straight(x, y).powi(2)).sum::<f32>() / scene.mask.area() as f32;
    let reachable = (missed + 2.0 * sigma * sigma).sqrt();
    for choice in [Choice::Automatic, Choice::Previous, Choice::Next, Choice::Spatial] {
        let fill = scene.fill(choice);
        assert_eq!(fill.method, Method::Spatial);
        assert!(
            scene.error(&fill) < 1.2 * reachable,
            "{} against {reachable}, {} {}",
            scene.error(&fill),
            fill.rim_error,
            fill.predicted_error
        );
    }
}

#[test]
fn a_frame_of_another_brightness_is_levelled() {
    let mut scene = Scene::new(3, Rect::new(40, 38, 52, 47), (0.0, 0.0), 0.0);
    for (n, planes, _, _) in &mut scene.neighbours {
        for plane in planes.iter_mut() {
            let n = *n as f32;
            *plane = Plane::from_fn(SIZE, SIZE, |x, y| plane.at(x, y) + 18.0 * n + 0.1 * n * (x as f32 - 48.0));
        }
    }
    let fill = scene.fill(Choice::Automatic);
    assert!(scene.error(&fill) < 0.8, "{}", scene.error(&fill));
}

/// Root mean square of what a 5x5 mean takes from the difference to the clean picture: grain, but hardly a fill's smooth
/// errors.
fn roughness(values: &Plane, picture: &Plane) -> f32 {
    let own = |x: usize, y: usize| values.at(x, y) - picture.at(x, y);
    let (mut sum, mut count) = (0.0, 0.0f32);
    for y in 2..values.height() - 2 {
        for x in 2..values.width() - 2 {
            let mean = (y - 2..=y + 2).flat_map(|b| (x - 2..=x + 2).map(move |a| own(a, b))).sum::<f32>() / 25.0;
            sum += (own(x, y) - mean).powi(2);
            count += 1.0;
        }
    }
    (sum / count).sqrt()
}

#[test]
fn grain_keeps_its_strength() {
    let sigma = 7.0;
    for choice in [Choice::Automatic, Choice::Spatial] {
        let (mut filled, mut real) = (0.0, 0.0);
        for (i, step) in [(0.0, 0.0), (1.5, 0.5), (0.3, 0.7), (2.0, 1.0)].into_iter().enumerate() {
            let left = 30 + 3 * i as i32;
            let scene = Scene::new(1, Rect::new(left, 30, left + 24, 54), step, sigma);
            let fill = scene.fill(choice);
            let clean = frame(1, (0.0, 0.0), 0.0, 0.0, 0)[0].crop(&fill.rect);
            filled += roughness(&fill.values[0], &clean).powi(2);
            real += roughness(&scene.truth[0].crop(&fill.rect), &clean).powi(2);
        }
        let ratio = (filled / real).sqrt();
        assert!((0.8..1.25).contains(&ratio), "{choice:?}: {ratio}");
    }
}

#[test]
fn the_same_job_gives_the_same_bytes_and_the_seed_matters() {
    let scene = Scene::new(3, Rect::new(30, 30, 44, 44), (1.3, 0.4), 6.0);
    for choice in [Choice::Automatic, Choice::Spatial] {
        let (a, b) = (scene.fill(choice), scene.fill(choice));
        assert_eq!(a, b);
        let prepared = scene.with_job(choice, |job| fill_prepared(job, &Prepared::new(job)));
        assert_eq!(a, prepared);
    }
    // A line three pixels wide is spanned by a membrane, and its grain made anew.
    let line = Scene::new(3, Rect::new(40, 20, 43, 70), (0.0, 0.0), 6.0);
    let seeded = |seed| line.with_job(Choice::Spatial, |job| fill(&Job { seed, ..*job }));
    assert_eq!(seeded(3), seeded(3));
    assert_ne!(seeded(3), seeded(4));
}

#[test]
fn only_mask_pixels_differ_from_the_frame() {
    let mut scene = Scene::new(3, Rect::new(30, 30, 50, 50), (0.5, 0.0), 5.0);
    // A mask with holes in it: a chequered square.
    scene.mask = RunMask::from_runs(
        (30..50u32)
            .flat_map(|y| (30..50u32).filter(move |x| (x + y) % 3 == 0).map(move |x| Run { y, x0: x, x1: x + 1 }))
            .collect(),
    );
    let fill = scene.fill(Choice::Automatic);
    for y in fill.rect.y0..fill.rect.y1 {
        for x in fill.rect.x0..fill.rect.x1 {
            if !scene.mask.contains(x as u32, y as u32) {
                for (values, plane) in fill.values.iter().zip(&scene.planes) {
                    let value = values.at((x - fill.rect.x0) as usize, (y - fill.rect.y0) as usize);
                    assert_eq!(value, plane.at(x as usize, y as usize));
                }
            }
        }
    }
}

#[test]
fn what_lies_under_the_mask_is_never_read() {
    let scene = Scene::new(3, Rect::new(30, 30, 44, 44), (1.3, 0.4), 0.0);
    let mut other = Scene::new(3, Rect::new(30, 30, 44, 44), (1.3, 0.4), 0.0);
    for plane in &mut other.planes {
        other.mask.pixels().for_each(|(x, y)| plane.set(x as usize, y as usize, 990.0));
    }
    assert_eq!(scene.fill(Choice::Automatic), other.fill(Choice::Automatic));
}

#[test]
fn an_empty_mask_is_nothing_and_a_full_one_is_the_neighbours() {
    let mut scene = Scene::new(1, Rect::new(0, 0, SIZE as i32, SIZE as i32), (0.0, 0.0), 0.0);
    let fill = scene.fill(Choice::Automatic);
    assert_eq!(fill.method, Method::Both);
    assert!(fill.rim_error.is_infinite());
    assert!(scene.error(&fill) < 0.1, "{}", scene.error(&fill));
    assert!(scene.fill(Choice::Spatial).values[0].as_slice().iter().all(|v| v.is_finite()));
    scene.mask = RunMask::default();
    assert_eq!(scene.fill(Choice::Automatic).method, Method::Nothing);
    scene.mask = RunMask::from_rect(&Rect::new(500, 500, 510, 510));
    assert_eq!(scene.fill(Choice::Automatic).method, Method::Nothing);
}

#[test]
fn growth_reaches_the_soft_edge_and_stops() {
    let scene = |soft: bool| {
        let mut scene = Scene::new(1, Rect::new(40, 40, 48, 48), (0.0, 0.0), 3.0);
        if soft {
            for y in 36..52i32 {
                for x in 36..52i32 {
                    let out = (40 - x).max(x - 47).max(40 - y).max(y - 47);
                    if (1..=2).contains(&out) {
                        let v = scene.planes[0].at(x as usize, y as usize);
                        scene.planes[0].set(x as usize, y as usize, v - 120.0 / out as f32);
                    }
                }
            }
        }
        scene.with_job(Choice::Automatic, |job| grown_mask(job, &Prepared::new(job)))
    };
    let core = RunMask::from_rect(&Rect::new(40, 40, 48, 48));
    assert_eq!(scene(false), core.grown(1, 96, 96));
    let soft = scene(true);
    assert_eq!(soft.overlap(&core.grown(2, 96, 96)), core.grown(2, 96, 96).area());
    assert_eq!(soft.minus(&core.grown(4, 96, 96)).area(), 0);
}

#[test]
fn growth_leaves_other_candidates_alone() {
    let mut scene = Scene::new(1, Rect::new(40, 40, 48, 48), (0.0, 0.0), 3.0);
    let other = RunMask::from_rect(&Rect::new(49, 38, 53, 52));
    other.paint(&mut scene.skip, 1);
    other.pixels().for_each(|(x, y)| scene.planes[0].set(x as usize, y as usize, 70.0));
    let grown = scene.with_job(Choice::Automatic, |job| grown_mask(job, &Prepared::new(job)));
    assert_eq!(grown.overlap(&other), 0);
    assert!(grown.contains(48, 44));
}

/// A grey disc over the edge between dark and bright picture: dark on one side, bright on the other.
#[test]
fn growth_follows_a_mark_across_an_edge_that_turns_its_sign() {
    let edge = |x: usize, _: usize| if x < 46 { 250.0 } else { 750.0 };
    let mut scene = Scene::new(1, Rect::new(40, 40, 46, 52), (0.0, 0.0), 0.0);
    scene.planes[0] = Plane::from_fn(SIZE, SIZE, edge);
    scene.neighbours.iter_mut().for_each(|n| n.1[0] = Plane::from_fn(SIZE, SIZE, edge));
    let mark = RunMask::from_rect(&Rect::new(40, 40, 52, 52));
    mark.pixels().for_each(|(x, y)| scene.planes[0].set(x as usize, y as usize, 500.0));
    scene.grain = Grain::flat(1, 3.0);
    let grown = scene.with_job(Choice::Automatic, |job| grown_mask(job, &Prepared::new(job)));
    assert_eq!(grown.overlap(&mark), mark.area());
    assert_eq!(grown.minus(&mark.grown(2, 96, 96)).area(), 0);
}

#[test]
fn growth_closes_gaps_but_not_the_picture_that_a_hair_loops_round() {
    let mut scene = Scene::new(1, Rect::new(40, 40, 50, 50), (0.0, 0.0), 3.0);
    // No other candidate stands in the gap.
    scene.skip = Plane::new(SIZE, SIZE);
    let grown = |mask: &RunMask| {
        scene.with_job(Choice::Automatic, |job| grown_mask(&Job { mask, ..*job }, &Prepared::new(job)))
    };
    let gaps = RunMask::from_rect(&Rect::new(43, 43, 46, 46));
    let pierced = scene.mask.minus(&gaps);
    assert_eq!(grown(&pierced).overlap(&gaps), gaps.area());
    let loop_round =
        RunMask::from_rect(&Rect::new(20, 60, 40, 80)).minus(&RunMask::from_rect(&Rect::new(22, 62, 38, 78)));
    assert!(!grown(&loop_round).contains(30, 70));
}

/// A scratch from top to bottom whose upper half moves one way and whose lower half another: no single motion fits.
#[test]
fn a_long_scratch_is_filled_section_by_section() {
    let mut scene = Scene::new(1, Rect::new(46, 0, 50, SIZE as i32), (0.0, 0.0), 0.0);
    for (n, planes, _, start) in &mut scene.neighbours {
        let shift = |y: usize| *n as f32 * if y < SIZE / 2 { 3.0 } else { -2.0 };
        planes[0] = Plane::from_fn(SIZE, SIZE, |x, y| picture(x as f32 - shift(y), y as f32));
        *start = Vector::default();
    }
    let fill = scene.fill(Choice::Automatic);
    assert_eq!(fill.rect, Rect::new(46, 0, 50, SIZE as i32));
    assert!(scene.error(&fill) < 6.0, "{}", scene.error(&fill));
    assert_eq!(fill, scene.fill(Choice::Automatic));
}

/// A scratch that stands still over a still picture: its middle is hidden in every frame.
#[test]
fn what_no_frame_shows_goes_on_from_what_lies_beside_it() {
    let mut scene = Scene::new(1, Rect::new(44, 20, 50, 80), (0.0, 0.0), 0.0);
    let hidden = RunMask::from_rect(&Rect::new(46, 18, 49, 82));
    scene.neighbours.iter_mut().for_each(|n| hidden.paint(&mut n.2, 1));
    let (fill, around) = (scene.fill(Choice::Automatic), scene.fill(Choice::Spatial));
    assert_eq!((fill.method, around.method), (Method::Parted, Method::Spatial));
    assert!(scene.error(&fill) < 0.8 * scene.error(&around), "{} {}", scene.error(&fill), scene.error(&around));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]
    /// However wild what lies around a mark, growth stays within its reach and off other candidates.
    #[test]
    fn growth_stays_in_its_room(seed in 0u64..1000, x in 20i32..70, y in 20i32..70) {
        let mut scene = Scene::new(1, Rect::new(x, y, x + 4, y + 3), (0.0, 0.0), 1.0);
        let others = RunMask::from_rect(&Rect::new(x + 6, y - 6, x + 12, y + 9));
        others.paint(&mut scene.skip, 1);
        let (clean, mask) = (scene.truth[0].clone(), scene.mask.clone());
        let wild = mask.grown(8, SIZE as u32, SIZE as u32);
        wild.pixels().for_each(|(x, y)| {
            let (x, y) = (x as usize, y as usize);
            scene.planes[0].set(x, y, clean.at(x, y) - 30.0 * grain(seed, x, y).abs());
        });
        let grown = scene.with_job(Choice::Automatic, |job| grown_mask(job, &Prepared::new(job)));
        prop_assert_eq!(mask.minus(&grown).area(), 0);
        prop_assert_eq!(grown.minus(&mask.grown(9, SIZE as u32, SIZE as u32)).area(), 0);
        prop_assert_eq!(grown.overlap(&others), 0);
    }

    /// Any size of frame, any mask, any number of sources: finite values, the mask's rectangle, no panic.
    #[test]
    fn nothing_breaks(
        (width, height) in (1usize..30, 1usize..30),
        runs in proptest::collection::vec((0u32..32, 0u32..32, 1u32..20), 0..8),
        sources in 0usize..4,
        channels in 1usize..4,
        choice in 0usize..4,
    ) {
        let mask = RunMask::from_runs(runs.into_iter().map(|(y, x0, w)| Run { y, x0, x1: x0 + w }).collect());
        let planes: Vec<Plane> = (0..channels).map(|c| Plane::from_fn(width, height, |x, y| picture((x + c) as f32, y as f32))).collect();
        let mut skip = Plane::new(width, height);
        mask.paint(&mut skip, 1);
        let dirty = Plane::from_fn(width, height, |x, y| u8::from((x * 7 + y * 3) % 11 == 0));
        let far = |_: f32, _: f32| Vector::new(900.0, f32::NAN);
        let near = |_: f32, _: f32| Vector::new(0.5, -0.25);
        let all = [
            Source { offset: -1, planes: &planes, skip: &dirty, start: &near },
            Source { offset: 1, planes: &planes, skip: &dirty, start: &far },
            Source { offset: -2, planes: &planes, skip: &dirty, start: &near },
        ];
        let grain = Grain::flat(channels, 5.0);
        let choice = [Choice::Automatic, Choice::Previous, Choice::Next, Choice::Spatial][choice];
        let job = Job { planes: &planes, skip: &skip, mask: &mask, sources: &all[..sources], grain: &grain, choice, seed: 1 };
        let fill = fill(&job);
        prop_assert_eq!(fill.values.len(), if fill.method == Method::Nothing { 0 } else { channels });
        for values in &fill.values {
            prop_assert_eq!((values.width(), values.height()), (fill.rect.width(), fill.rect.height()));
            prop_assert!(values.as_slice().iter().all(|v| v.is_finite()));
        }
        let grown = grown_mask(&job, &Prepared::new(&job));
        prop_assert_eq!(grown.minus(&mask.grown(9, width as u32, height as u32)).minus(&mask).area(), 0);
    }
}

//! What the reel promises: shots in order, truth that fits, the same bytes on any number of threads, a film's tones.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use besom_scan::{Rect, RunMask};

use super::*;
use crate::ageing::{DUST, HAIR};
use crate::score::objects;

fn small(frames: usize) -> DemoReel {
    render(&Settings { width: 96, height: 72, frames, seed: 1961 })
}

#[test]
fn the_same_for_any_number_of_threads() {
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| [small(24).frame(2), small(24).frame(9)])
    };
    assert!(run(1) == run(2));
}

#[test]
fn shots_follow_each_other_without_a_hole() {
    for frames in [1, 5, 24, 40, 1500] {
        let reel = small(frames);
        let mut next = 0;
        for shot in reel.shots() {
            assert_eq!(shot.range.start, next);
            assert!((1..=LONGEST).contains(&shot.range.len()), "{shot:?}");
            next = shot.range.end;
        }
        assert_eq!(next, frames);
        assert!(reel.frame(frames).is_none());
    }
    assert!(small(24).shots().len() >= 4);
    assert_eq!(small(144).shots().len(), 6);
}

#[test]
fn a_cut_changes_the_picture_more_than_a_shot_does() {
    let reel = small(24);
    let mean = |n: usize| reel.frame(n).unwrap().clean;
    let difference = |a: &[Plane], b: &[Plane]| {
        let sum: f32 =
            a.iter().zip(b).flat_map(|(a, b)| a.as_slice().iter().zip(b.as_slice())).map(|(a, b)| (a - b).abs()).sum();
        sum / (3.0 * 96.0 * 72.0)
    };
    for shot in &reel.shots()[1..] {
        let (before, at, after) = (mean(shot.range.start - 1), mean(shot.range.start), mean(shot.range.start + 1));
        assert!(difference(&before, &at) > 2.0 * difference(&at, &after), "at {}", shot.name);
    }
}

#[test]
fn tones_lie_where_a_scanned_negative_has_them() {
    let reel = small(144);
    for shot in reel.shots() {
        let frame = reel.frame(shot.range.start).unwrap();
        let mut codes = frame.clean[1].as_slice().to_vec();
        codes.sort_by(f32::total_cmp);
        let at = |part: f32| codes[(codes.len() as f32 * part) as usize];
        // Nothing below a negative's black; shadows, middle and lights spread; speculars may pass the white of 685.
        assert!(at(0.01) > 95.0 && at(0.02) < 420.0, "{}: shadows {}", shot.name, at(0.02));
        assert!((300.0..620.0).contains(&at(0.5)) && at(0.98) - at(0.02) > 200.0, "{}: middle {}", shot.name, at(0.5));
        assert!(at(0.999) < 1000.0);
    }
}

#[test]
fn the_splice_marks_the_two_frames_beside_it() {
    let reel = small(24);
    let after = reel.splice().unwrap();
    let rows = |n: usize| {
        let labels = reel.frame(n).unwrap().labels;
        (0..72).filter(|&y| labels.row(y).iter().filter(|&&bits| bits & SPLICE != 0).count() > 24).collect::<Vec<_>>()
    };
    assert!(rows(after - 1).iter().all(|&y| y > 60) && !rows(after - 1).is_empty());
    assert!(rows(after).iter().all(|&y| y < 12) && !rows(after).is_empty());
    assert!(rows(after - 2).is_empty() && rows(after + 1).is_empty());
}

#[test]
fn labels_mark_visible_changes_and_nothing_else_changed() {
    let reel = small(24);
    let mut marked = [0, 0];
    for number in 0..24 {
        let frame = reel.frame(number).unwrap();
        for y in 0..72 {
            for x in 0..96 {
                let bits = frame.labels.at(x, y);
                let change =
                    (0..3).map(|c| (frame.clean[c].at(x, y) - frame.aged[c].at(x, y)).abs()).fold(0.0, f32::max);
                assert!(bits == 0 || change > 14.0, "labelled without a change: {number} {x} {y}");
                marked[0] += usize::from(bits & DUST != 0);
                marked[1] += usize::from(bits & HAIR != 0);
            }
        }
    }
    assert!(marked.iter().all(|&n| n > 50), "{marked:?}");
}

#[test]
fn specks_that_belong_are_marked_in_their_shots() {
    let reel = small(144);
    for (subject, bit) in [
        (Subject::Title, belonging::SCUFFS),
        (Subject::Launch, belonging::GLITTER),
        (Subject::LampRoom, belonging::SNOW),
        (Subject::Dusk, belonging::GULLS),
        (Subject::Winch, 0),
    ] {
        let shot = reel.shots().iter().find(|s| s.subject == subject).unwrap();
        let belongs = reel.frame(shot.range.start + 2).unwrap().belongs;
        let marked = belongs.as_slice().iter().filter(|&&b| b != 0).count();
        assert!(belongs.as_slice().iter().all(|&b| b == 0 || b == bit));
        assert_eq!(marked > 20, bit != 0, "{}: {marked}", shot.name);
        assert!(marked < belongs.as_slice().len() * 2 / 3, "{}: {marked}", shot.name);
    }
}

#[test]
fn the_turning_lamp_changes_the_exposure() {
    let reel = small(144);
    let shot = reel.shots().iter().find(|s| s.subject == Subject::LampRoom).unwrap();
    let scene = shot.subject.scene(1961);
    let level =
        |n: usize| render::frame(scene.as_ref(), 32, 24, n, FRAME_RATE).0[1].as_slice().iter().sum::<f32>() / 768.0;
    let levels: Vec<f32> = (30..70).map(level).collect();
    let (low, high) = levels.iter().fold((f32::MAX, 0.0_f32), |(l, h), v| (l.min(*v), h.max(*v)));
    assert!(high > 1.2 * low, "{low} {high}");
}

#[test]
fn one_frame_carries_a_dense_cloud_of_particles() {
    let reel = render(&Settings::default());
    let shot = reel.shots().iter().find(|s| s.subject == Subject::Flags).unwrap().range.clone();
    // Particles of 4 pixels and more in the busiest square of 64 pixels: density, whatever single flakes cover.
    let busiest = |n: usize| {
        let labels = reel.frame(n).unwrap().labels;
        let places: Vec<_> = objects(&labels, |bits| bits & DUST != 0, 4).iter().map(RunMask::bounds).collect();
        let near = |a: &Rect, b: &Rect| (a.x0 - b.x0).abs() <= 32 && (a.y0 - b.y0).abs() <= 32;
        places.iter().map(|a| places.iter().filter(|b| near(a, b)).count()).max().unwrap_or(0)
    };
    let cloudy = shot.start + shot.len() / 2;
    let (cloud, beside) = (busiest(cloudy), busiest(cloudy - 1).max(busiest(cloudy + 1)));
    assert!(cloud >= 15 && cloud > 2 * beside, "{cloud} particles against {beside}");
}

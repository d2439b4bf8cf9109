//! Marks fixed in the gate of an aged clip, found by the detector and linked over the shot by its groups; the truth is the
//! ageing's own.
#![allow(clippy::unwrap_used)]

use besom_detect::{Candidate, GroupKind, Model, Origin, Prepared, Settings, Window, detect, groups};
use besom_proof::ageing::{Ageing, GATE, Level, Settings as Dirt};
use besom_proof::score::{LEAST_PIXELS, objects};
use besom_proof::study::grain_of;
use besom_scan::{Plane, RunMask};

const SIZE: (usize, usize) = (512, 384);
const FRAMES: usize = 8;

/// Waves of three sizes under a steady pan of five pixels a frame.
fn clean(number: usize) -> Vec<Plane> {
    let shift = number as f32 * 5.0;
    let ground = |x: usize, y: usize, tint: f32| {
        let (u, v) = (x as f32 + shift, y as f32 + 0.4 * shift);
        430.0
            + tint
            + 80.0 * (u * 0.041).sin() * (v * 0.033).cos()
            + 45.0 * ((u + 2.0 * v) * 0.11).sin()
            + 25.0 * (0.31 * u + 3.0 * (0.07 * v).sin()).sin()
    };
    [0.0, 15.0, 30.0].map(|tint| Plane::from_fn(SIZE.0, SIZE.1, |x, y| ground(x, y, tint))).to_vec()
}

#[test]
fn marks_of_an_aged_clip_are_linked_over_its_shot() {
    let model = Model::built_in().unwrap();
    let (mut all, mut linked, mut of_gate, mut split) = (0, 0, 0, 0);
    for seed in [1, 2, 3] {
        let dirt = Dirt { dust: 0.0, hairs: 0.0, clouds: 0.0, lines: 0.0, gate_marks: 6.0, ..Dirt::of(Level::Light) };
        let ageing = Ageing::new(&dirt, SIZE.0, SIZE.1, FRAMES, seed);
        let aged: Vec<_> = (0..FRAMES).map(|n| ageing.frame(n, &clean(n))).collect();
        let prepared: Vec<Option<Prepared>> = aged.iter().map(|a| Prepared::new(a.aged.clone())).collect();
        let grain = grain_of(&prepared);
        let search = |n: usize| detect(&Window::of_shot(&prepared, n).unwrap(), &grain, &model, &Settings::default());
        let found: Vec<(u64, Vec<Candidate>)> = (0..FRAMES).map(|n| (n as u64, search(n))).collect();
        let frames: Vec<(u64, &[Candidate])> = found.iter().map(|(n, list)| (*n, list.as_slice())).collect();
        let groups: Vec<_> =
            groups(&frames, SIZE.0, SIZE.1).into_iter().filter(|g| g.kind == GroupKind::Gate).collect();

        // Marks that every frame shows; they weave by less than two pixels.
        let marks: Vec<RunMask> = objects(&aged[FRAMES / 2].labels.map(|bits| bits & GATE), |v| v != 0, LEAST_PIXELS)
            .into_iter()
            .map(|mark| mark.grown(2, SIZE.0 as u32, SIZE.1 as u32))
            .filter(|mark| {
                let shows = |a: &besom_proof::ageing::AgedFrame| {
                    mark.pixels().any(|(x, y)| a.labels.at(x as usize, y as usize) & GATE != 0)
                };
                aged.iter().all(shows)
            })
            .collect();
        all += marks.len();
        for mark in &marks {
            // Groups whose every member lies on the mark for the most part.
            let on_mark: Vec<_> = groups
                .iter()
                .filter(|g| {
                    g.members.iter().all(|(n, k)| {
                        let candidate = &found[*n as usize].1[*k];
                        2 * mark.overlap(&candidate.mask) > candidate.area()
                    })
                })
                .collect();
            split += usize::from(on_mark.len() > 1);
            if let Some(group) = on_mark.first().filter(|g| g.members.len() >= FRAMES - 2) {
                linked += 1;
                let gate = |(n, k): &(u64, usize)| found[*n as usize].1[*k].origin == Origin::Gate;
                of_gate += usize::from(2 * group.members.iter().filter(|m| gate(m)).count() > group.members.len());
            }
        }
    }
    assert!(all >= 12, "{all} marks");
    // A frame that finds two pieces of a bent hair begins a second, short group.
    assert!(10 * split <= all, "{split} of {all} marks are more than one group");
    assert!(2 * linked > all, "{linked} of {all} marks are linked over their shot");
    assert!(2 * of_gate > linked, "{of_gate} of {linked} groups are mostly known to stand in the gate");
}

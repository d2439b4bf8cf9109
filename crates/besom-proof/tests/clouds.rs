//! Clouds of aged clips, found by the detector and held together by its groups; the truth is the same frame aged with the
//! cloud and without it.
#![allow(clippy::unwrap_used)]

use besom_detect::{Candidate, GroupKind, Model, Prepared, Settings, Window, detect, groups};
use besom_proof::ageing::{Ageing, Level, Settings as Dirt};
use besom_proof::score::near;
use besom_proof::study::grain_of;
use besom_scan::Plane;

const SIZE: (usize, usize) = (512, 384);
const FRAMES: usize = 5;
const CLOUDED: usize = 2;

/// A wall of smooth waves that drifts: seven tenths of a pixel a frame.
fn clean(number: usize) -> Vec<Plane> {
    let shift = number as f32 * 0.7;
    let wall = |x: usize, y: usize, tint: f32| {
        let (u, v) = (x as f32 + shift, y as f32);
        430.0 + tint + 80.0 * (u * 0.041).sin() * (v * 0.033).cos() + 45.0 * ((u + 2.0 * v) * 0.11).sin()
    };
    [0.0, 15.0, 30.0].map(|tint| Plane::from_fn(SIZE.0, SIZE.1, |x, y| wall(x, y, tint))).to_vec()
}

/// Candidates of all frames of a clip.
fn search(ageing: &Ageing) -> Vec<(u64, Vec<Candidate>)> {
    let model = Model::built_in().unwrap();
    let aged = |n: usize| ageing.frame(n, &clean(n)).aged;
    let prepared: Vec<Option<Prepared>> = (0..FRAMES).map(|n| Prepared::new(aged(n))).collect();
    let grain = grain_of(&prepared);
    (0..FRAMES)
        .map(|n| {
            let window = Window::of_shot(&prepared, n).unwrap();
            (n as u64, detect(&window, &grain, &model, &Settings::default()))
        })
        .collect()
}

/// Share of a candidate's pixels that marks cover.
fn share(candidate: &Candidate, marks: &Plane<u8>) -> f32 {
    let hits = candidate.mask.pixels().filter(|(x, y)| marks.at(*x as usize, *y as usize) != 0).count();
    hits as f32 / candidate.area() as f32
}

#[test]
fn the_cloud_of_an_aged_clip_is_one_group_and_dust_alone_is_none() {
    let (mut of_cloud, mut grouped, mut members, mut dirty) = (0, 0, 0, 0);
    for seed in [1, 2, 3] {
        let dirt = Dirt { clouds: 0.0, lines: 0.0, ..Dirt::of(Level::Light) };
        let plain = Ageing::new(&dirt, SIZE.0, SIZE.1, FRAMES, seed);
        let clouded = plain.clone().with_cloud(CLOUDED);
        for (ageing, most) in [(&plain, 0), (&clouded, 1)] {
            let found = search(ageing);
            let frames: Vec<(u64, &[Candidate])> = found.iter().map(|(n, list)| (*n, list.as_slice())).collect();
            let groups: Vec<_> =
                groups(&frames, SIZE.0, SIZE.1).into_iter().filter(|g| g.kind == GroupKind::Cloud).collect();
            assert!(groups.len() <= most, "seed {seed}: {} clouds, there are {most}", groups.len());
            assert!(groups.iter().flat_map(|g| &g.members).all(|(n, _)| *n == CLOUDED as u64), "seed {seed}");
            let [with, without] = [&clouded, &plain].map(|a| a.frame(CLOUDED, &clean(CLOUDED)).labels);
            let cloud = Plane::from_fn(SIZE.0, SIZE.1, |x, y| u8::from(with.at(x, y) != 0 && without.at(x, y) == 0));
            // As everywhere in this crate, what lies within three pixels of the truth is no false candidate.
            let near_dirt = near(&with, 9);
            let taken: Vec<usize> = groups.iter().flat_map(|g| &g.members).map(|(_, index)| *index).collect();
            for (index, candidate) in found[CLOUDED].1.iter().enumerate().filter(|_| most == 1) {
                let (belongs, held) = (share(candidate, &cloud) > 0.3, taken.contains(&index));
                of_cloud += usize::from(belongs);
                grouped += usize::from(belongs && held);
                members += usize::from(held);
                dirty += usize::from(held && share(candidate, &near_dirt) >= 0.1);
            }
        }
    }
    assert!(of_cloud >= 60, "the detector sees {of_cloud} marks of three clouds");
    assert!(10 * grouped >= 7 * of_cloud, "{grouped} of {of_cloud} marks of the clouds are in their groups");
    assert!(10 * dirty >= 9 * members, "{dirty} of {members} members are dirt");
}

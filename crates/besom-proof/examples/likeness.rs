//! How well a shot learns from a handful of decided candidates, held against the truth.
//!
//! ```sh
//! cargo run --release -p besom-proof --example likeness -- FOLDER_OF_CLEAN_PNG_FRAMES ...
//! ```
//!
//! For every shot of a demo reel and every clip, aged heavily, some false candidates at or above the usual sensitivity are
//! called intended, drawn at random 20 times; so many true ones are accepted. Of the others the table says how many false
//! ones are proposed or fall below the sensitivity, and how many true marks of dirt do so wrongly. In shots with specks
//! that belong (snow, glitter, scuffs) those are the false candidates; elsewhere whatever the truth does not know. What
//! lies on such a speck more than on the dirt beside it counts for neither side.
#![allow(clippy::print_stdout)]

use std::error::Error;
use std::path::Path;

use besom_detect::likeness::{Examples, Judged, Traits, traits};
use besom_detect::{Candidate, Model, Prepared, Settings, Window, detect};
use besom_proof::ageing::files::read_clean;
use besom_proof::ageing::{Level, Settings as Ageing, age};
use besom_proof::demo;
use besom_proof::score::near;
use besom_proof::study::grain_of;
use besom_scan::Plane;
use rand::seq::SliceRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const SENSITIVITY: f32 = 0.35;
const REPEATS: usize = 20;

/// A shot's candidates, frame by frame, and what the truth says of each.
struct Judgeable {
    frames: Vec<Vec<Candidate>>,
    traits: Vec<Vec<Traits>>,
    dirt: Vec<(usize, usize)>,
    false_ones: Vec<(usize, usize)>,
}

fn judgeable(aged: &[Vec<Plane>], labels: &[Plane<u8>], belongs: &[Plane<u8>], model: &Model) -> Judgeable {
    let prepared: Vec<Option<Prepared>> = aged.iter().map(|planes| Prepared::new(planes.clone())).collect();
    let grain = grain_of(&prepared);
    let (mut dirt, mut false_ones, mut belonging) = (Vec::new(), Vec::new(), Vec::new());
    let frames: Vec<Vec<Candidate>> = (0..aged.len())
        .map(|frame| {
            let Some(window) = Window::of_shot(&prepared, frame) else { return Vec::new() };
            let found = detect(&window, &grain, model, &Settings::default());
            let near = near(&labels[frame], 9);
            for (index, c) in found.iter().enumerate().filter(|(_, c)| c.confidence >= SENSITIVITY) {
                let on =
                    |plane: &Plane<u8>| c.mask.pixels().filter(|&(x, y)| plane.at(x as usize, y as usize) != 0).count();
                let on_belonging = belongs.get(frame).map_or(0, on);
                let belongs = on_belonging * 10 >= c.area() * 3;
                if on(&near) * 10 >= c.area() {
                    // A flake beside a speck of dust is neither one nor the other.
                    if !(belongs && on_belonging > on(&labels[frame])) {
                        dirt.push((frame, index));
                    }
                } else if belongs {
                    belonging.push((frame, index));
                } else {
                    false_ones.push((frame, index));
                }
            }
            found
        })
        .collect();
    let shot: Vec<Option<&[Candidate]>> = frames.iter().map(|f| Some(f.as_slice())).collect();
    let traits = traits(&shot, labels[0].width(), labels[0].height());
    if belonging.len() > 12 {
        false_ones = belonging;
    }
    Judgeable { frames, traits, dirt, false_ones }
}

fn table(name: &str, shot: &Judgeable) {
    for (count, accepted) in [(4, 0), (8, 0), (4, 4)] {
        if shot.false_ones.len() < count + 8 || shot.dirt.len() < 8 {
            continue;
        }
        let mut random = ChaCha8Rng::seed_from_u64(1961);
        let mut sums = [0.0f32; 4];
        let mut worst = 0.0f32;
        for _ in 0..REPEATS {
            let figures = once(shot, count, accepted, &mut random);
            for (sum, figure) in sums.iter_mut().zip(figures) {
                *sum += figure / REPEATS as f32;
            }
            worst = worst.max(figures[3]);
        }
        println!(
            "{name:26} {count} and {accepted}  {:5} {:5}   {:.2} {:.2}    {:.3} {:.3}   {worst:.3}",
            shot.false_ones.len(),
            shot.dirt.len(),
            sums[0],
            sums[1],
            sums[2],
            sums[3]
        );
    }
}

/// Shares of the other false candidates proposed and below the sensitivity, then of the other dirt.
fn once(shot: &Judgeable, count: usize, accepted: usize, random: &mut impl Rng) -> [f32; 4] {
    let (mut false_ones, mut dirt) = (shot.false_ones.clone(), shot.dirt.clone());
    false_ones.shuffle(random);
    dirt.shuffle(random);
    let of = |list: &[(usize, usize)]| list.iter().map(|(f, i)| shot.traits[*f][*i]).collect::<Vec<_>>();
    let examples = Examples::new(&of(&false_ones[..count]), &of(&dirt[..accepted]), &shot.traits);
    let share = |list: &[(usize, usize)], holds: &dyn Fn(&Judged) -> bool| {
        let judged = list.iter().map(|(f, i)| examples.judge(&shot.traits[*f][*i], shot.frames[*f][*i].confidence));
        judged.filter(|j| holds(j)).count() as f32 / list.len() as f32
    };
    let below = |j: &Judged| j.confidence < SENSITIVITY;
    let proposed = |j: &Judged| j.proposed && below(j);
    let (rest, clean) = (&false_ones[count..], &dirt[accepted..]);
    [share(rest, &proposed), share(rest, &below), share(clean, &proposed), share(clean, &below)]
}

fn main() -> Result<(), Box<dyn Error>> {
    let model = Model::built_in()?;
    println!("                           intended and accepted");
    println!("shot                        examples  false dirt   proposed below   dirt proposed, below, worst of 20");
    let reel = demo::render(&demo::Settings { width: 640, height: 480, frames: 48, seed: 5 });
    for shot in reel.shots() {
        let frames: Vec<_> = shot.range.clone().filter_map(|n| reel.frame(n)).collect();
        let aged: Vec<_> = frames.iter().map(|f| f.aged.clone()).collect();
        let labels: Vec<_> = frames.iter().map(|f| f.labels.clone()).collect();
        let belongs: Vec<_> = frames.iter().map(|f| f.belongs.clone()).collect();
        table(shot.name, &judgeable(&aged, &labels, &belongs, &model));
    }
    for folder in std::env::args().skip(1) {
        let mut clean = read_clean(Path::new(&folder))?;
        clean.truncate(10);
        let aged = age(&clean, &Ageing::of(Level::Heavy), 4711);
        let name = Path::new(&folder).file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        table(&name, &judgeable(&aged.aged, &aged.labels, &[], &model));
    }
    Ok(())
}

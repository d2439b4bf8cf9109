//! Each stage of a frame's detection and repair, at the size of a 2K scan and of a small one, fast kernels beside their plain
//! twins: `cargo bench -p besom-proof`. Compare figures of one run only.
#![allow(clippy::unwrap_used, missing_docs)]

use besom_detect::components::{Thresholds, components};
use besom_detect::evidence::{sigma_table, test};
use besom_detect::gate::suspected_marks;
use besom_detect::{Grain, Model, Prepared, Settings, Window, detect};
use besom_motion::compensate::{compensate, compensate_plain};
use besom_motion::{Flicker, Pyramid, estimate_field};
use besom_proof::ageing::{Level, Settings as Ageing, age};
use besom_scan::Plane;

const SIZES: [(usize, usize); 2] = [(2048, 1556), (960, 540)];

/// Value noise at several sizes, panned by three pixels a frame.
fn scene(width: usize, height: usize, n: usize) -> Vec<Plane> {
    let lattice = |x: f32, y: f32, seed: i32| {
        let (fx, fy) = (x.floor(), y.floor());
        let value = |i: f32, j: f32| {
            let mut h = (i as i32).wrapping_mul(374_761_393) ^ (j as i32).wrapping_mul(668_265_263) ^ seed;
            h = (h ^ (h >> 13)).wrapping_mul(1_103_515_245);
            ((h ^ (h >> 16)) & 0xFFFF) as f32 / 32_767.5 - 1.0
        };
        let (u, v) = (x - fx, y - fy);
        (value(fx, fy) * (1.0 - u) + value(fx + 1.0, fy) * u) * (1.0 - v)
            + (value(fx, fy + 1.0) * (1.0 - u) + value(fx + 1.0, fy + 1.0) * u) * v
    };
    (0..3)
        .map(|c| {
            Plane::from_fn(width, height, |x, y| {
                let (x, y) = (x as f32 + 3.0 * n as f32, y as f32 + n as f32);
                480.0
                    + 150.0 * lattice(x / 90.0, y / 90.0, c)
                    + 80.0 * lattice(x / 17.0, y / 17.0, 7 + c)
                    + 30.0 * lattice(x / 5.0, y / 5.0, 9)
            })
        })
        .collect()
}

struct Shot {
    frames: Vec<Prepared>,
    planes: Vec<Vec<Plane>>,
}

impl Shot {
    /// The middle frame with the others around it.
    fn middle(&self) -> Window<'_> {
        let f = &self.frames;
        Window {
            before_last: Some(&f[0]),
            previous: Some(&f[1]),
            current: &f[2],
            next: Some(&f[3]),
            after_next: Some(&f[4]),
        }
    }
}

fn shot((width, height): (usize, usize)) -> Shot {
    let clean: Vec<Vec<Plane>> = (0..5).map(|n| scene(width, height, n)).collect();
    let planes = age(&clean, &Ageing::of(Level::Heavy), 1).aged;
    Shot { frames: planes.iter().map(|p| Prepared::new(p.clone()).unwrap()).collect(), planes }
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn prepare(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    bencher.with_inputs(|| shot.planes[0].clone()).bench_values(Prepared::new);
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn motion_one_way(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    bencher.bench(|| estimate_field(&shot.frames[2].pyramid, &shot.frames[1].pyramid));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn pyramid(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    bencher.bench(|| Pyramid::new(&shot.frames[2].luma));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn compensate_fast(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    let field = estimate_field(&shot.frames[2].pyramid, &shot.frames[1].pyramid);
    bencher.bench(|| compensate(&shot.frames[1].luma, &field));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn compensate_twin(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    let field = estimate_field(&shot.frames[2].pyramid, &shot.frames[1].pyramid);
    bencher.bench(|| compensate_plain(&shot.frames[1].luma, &field));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn flicker(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    bencher.bench(|| Flicker::measure(&shot.frames[2].luma, &shot.frames[1].luma));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn temporal_test(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    let table = sigma_table(&Grain::flat(3, 4.0));
    bencher.bench(|| test(&shot.frames[2].luma, &shot.frames[1].luma, &shot.frames[3].luma, &table));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn growth(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    let [a, b] = [1, 3].map(|n| {
        let field = estimate_field(&shot.frames[2].pyramid, &shot.frames[n].pyramid);
        compensate(&shot.frames[n].luma, &field)
    });
    let evidence = test(&shot.frames[2].luma, &a, &b, &sigma_table(&Grain::flat(3, 4.0)));
    bencher.bench(|| components(&evidence, &Thresholds::default()));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn gate_marks(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    let (window, f) = (shot.middle(), &shot.frames);
    let grain = Grain::flat(3, 4.0);
    let around = window.around().unwrap();
    let evidence = test(&f[2].luma, &f[1].luma, &f[3].luma, &sigma_table(&grain));
    bencher.bench(|| suspected_marks(&around, &evidence, &grain));
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn outstanding_once(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    bencher.with_inputs(|| Prepared::new(shot.planes[2].clone()).unwrap()).bench_refs(|p| p.outstanding().width());
}

#[divan::bench(args = SIZES, sample_count = 5)]
fn whole_frame(bencher: divan::Bencher, size: (usize, usize)) {
    let shot = shot(size);
    let model = Model::built_in().unwrap();
    let window = shot.middle();
    bencher.bench(|| detect(&window, &Grain::flat(3, 4.0), &model, &Settings::default()));
}

fn main() {
    divan::main();
}

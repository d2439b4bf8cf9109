//! `cost FOLDER WIDTH HEIGHT`: CPU time of each stage on a frame enlarged to a size.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]
use besom_detect::{Model, Prepared, Settings, Window, detect, suspects};
use besom_motion::interpolate::sample;
use besom_proof::ageing::{Level, Settings as Age, age};
fn cpu() -> f32 {
    let s = std::fs::read_to_string("/proc/self/stat").unwrap();
    let v: Vec<&str> = s.split_whitespace().collect();
    (v[13].parse::<f32>().unwrap() + v[14].parse::<f32>().unwrap()) * 10.0
}
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let (w, h): (usize, usize) = (a[2].parse().unwrap(), a[3].parse().unwrap());
    let clean = besom_proof::ageing::files::read_clean(std::path::Path::new(&a[1])).unwrap();
    let big: Vec<Vec<besom_scan::Plane>> = clean
        .iter()
        .take(5)
        .map(|f| {
            f.iter()
                .map(|p| {
                    let (sx, sy) = (p.width() as f32 / w as f32, p.height() as f32 / h as f32);
                    besom_scan::Plane::from_fn(w, h, |x, y| sample(p, x as f32 * sx, y as f32 * sy))
                })
                .collect()
        })
        .collect();
    let aged = age(&big, &Age::of(Level::Heavy), 5);
    let t = cpu();
    let p: Vec<Option<Prepared>> = aged.aged.iter().map(|f| Prepared::new(f.clone())).collect();
    println!("prepare {:.0} ms a frame", (cpu() - t) / 5.0);
    let grain = besom_proof::study::grain_of(&p);
    let (a, b, c, d, e) =
        (p[0].as_ref().unwrap(), p[1].as_ref().unwrap(), p[2].as_ref().unwrap(), p[3].as_ref(), p[4].as_ref());
    let t = cpu();
    for _ in 0..4 {
        std::hint::black_box(besom_motion::estimate_field(&c.pyramid, &b.pyramid));
    }
    println!("motion one way {:.0} ms", (cpu() - t) / 4.0);
    let f = besom_motion::estimate_field(&c.pyramid, &b.pyramid);
    let t = cpu();
    for _ in 0..4 {
        std::hint::black_box(besom_motion::compensate(&b.luma, &f));
    }
    println!("compensate {:.0} ms", (cpu() - t) / 4.0);
    let mut seen = besom_motion::compensate(&b.luma, &f);
    let t = cpu();
    for _ in 0..4 {
        besom_motion::Flicker::measure(&c.luma, &seen).level(&mut seen);
    }
    println!("flicker {:.0} ms", (cpu() - t) / 4.0);
    let table = besom_detect::evidence::sigma_table(&grain);
    let t = cpu();
    for _ in 0..4 {
        std::hint::black_box(besom_detect::evidence::test(&c.luma, &seen, &seen, &table));
    }
    println!("test {:.0} ms", (cpu() - t) / 4.0);
    let win = Window { before_last: Some(a), previous: Some(b), current: c, next: d, after_next: e };
    let ev = besom_detect::detect::evidence_of(&win, &grain).unwrap();
    let t = cpu();
    for _ in 0..4 {
        std::hint::black_box(besom_detect::components::components(&ev, &Default::default()));
    }
    println!("components {:.0} ms", (cpu() - t) / 4.0);
    let t = cpu();
    let s = suspects(&win, &grain, &Settings::default(), &|_| true);
    println!("suspects whole {:.0} ms, {} suspects", cpu() - t, s.components.len());
    let m = Model::built_in().unwrap();
    let t = cpu();
    let s = detect(&win, &grain, &m, &Settings::default());
    println!("detect whole {:.0} ms, {} candidates", cpu() - t, s.len());
}

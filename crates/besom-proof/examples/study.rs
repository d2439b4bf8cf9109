//! Studies aged clips: `study CACHE CLIP_FOLDER...` trains with one clip left out at a time and prints the figures.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]
use besom_detect::features::{FIRST_LOOK, NAMES};
use besom_proof::ageing::{age, Level, Settings as Age};
use besom_proof::study::{study, Figures, FrameStudy};
use besom_proof::train::{train, train_calibrated, importance, Settings, Table};

struct Set { clip: u32, name: String, level: &'static str, frames: Vec<FrameStudy>, megapixels: f32 }

fn main() {
    let folders: Vec<String> = std::env::args().skip(1).collect();
    let mut sets = Vec::new();
    for (clip, folder) in folders.iter().enumerate() {
        let clean = besom_proof::ageing::files::read_clean(std::path::Path::new(folder)).unwrap();
        let n: usize = std::env::var("FRAMES").ok().and_then(|v| v.parse().ok()).unwrap_or(12);
        let clean: Vec<_> = clean.into_iter().take(n).collect();
        for (level, word) in [(Level::Light, "light"), (Level::Heavy, "heavy"), (Level::Undamaged, "clean")] {
            let aged = age(&clean, &Age::of(level), 1000 + clip as u64);
            let t = std::time::Instant::now();
            let (grain, frames) = study(&aged.aged, &aged.labels, &besom_detect::Settings::default());
            let mp = (clean[0][0].width() * clean[0][0].height()) as f32 / 1e6;
            let all: usize = frames.iter().map(|f| f.judged.len()).sum();
            let ones: Vec<Vec<f32>> = frames.iter().map(|f| vec![1.0; f.judged.len()]).collect();
            let mut fig = Figures::default();
            for (f, p) in frames.iter().zip(&ones) { fig.count(f, p, 0.5); }
            println!("{folder} {word}: {} frames, {:.2} Mpx, {:.0} ms/frame; suspects {all}, seed recall dust {:.3} large {:.3} hair {:.3} line {:.3}, false/frame/Mpx {:.1}; grain {:.1} {:.1} {:.1}",
                frames.len(), mp, t.elapsed().as_secs_f32() * 1000.0 / frames.len() as f32,
                fig.recall(0), fig.large.1 as f32 / fig.large.0 as f32, fig.recall(1), fig.recall(2), fig.candidates.1 as f32 / frames.len() as f32 / mp, grain.luma[4], grain.luma[8], grain.luma[11]);
            if std::env::var("MISSED").is_ok() {
                let (mut hist, mut hm) = (std::collections::BTreeMap::<(i32, i32), (i32, i32)>::new(), 0);
                for (n, f) in frames.iter().enumerate() {
                    let d: Vec<besom_scan::Plane> = aged.aged[n].iter().zip(&aged.clean[n]).map(|(a, c)| besom_scan::Plane::from_fn(a.width(), a.height(), |x, y| a.at(x, y) - c.at(x, y))).collect();
                    let l = besom_detect::prepare::smoothed(&besom_detect::prepare::luma(&d));
                    for o in f.objects.iter().filter(|o| o.kind == 1) {
                        let covered: usize = o.covered.iter().map(|(_, n)| n).sum();
                        let (x, y) = o.place;
                        let mut peak = 0f32;
                        for j in -2..=2i32 { for i in -2..=2i32 { peak = peak.max(l.clamped(x as i32 + i, y as i32 + j).abs()); } }
                        let key = ((o.area as f32).log2() as i32, (peak / 10.0) as i32);
                        let e = hist.entry((key.0.min(7), key.1.min(10))).or_default();
                        e.0 += 1; if covered * 10 < o.area * 3 { e.1 += 1; hm += 1; }
                    }
                }
                println!("missed {hm}");
                for (k, v) in &hist { println!("  area 2^{} peak {}: {} missed {}", k.0, k.1 * 10, v.0, v.1); }
            }
            sets.push(Set { clip: clip as u32, name: folder.rsplit('/').next().unwrap().to_string(), level: word, frames, megapixels: mp });
        }
    }
    let table = |keep: &dyn Fn(u32) -> bool| {
        let mut t = Table { names: NAMES.iter().map(|s| (*s).to_string()).collect(), rows: vec![], labels: vec![], weights: vec![], groups: vec![] };
        for s in sets.iter().filter(|s| keep(s.clip)) {
            for j in s.frames.iter().flat_map(|f| &f.judged) {
                t.rows.extend(&j.values); t.labels.push(f32::from(u8::from(j.real))); t.weights.push(1.0); t.groups.push(s.clip);
            }
        }
        t
    };
    let narrow = |t: &Table| Table { names: t.names[..FIRST_LOOK].to_vec(), rows: t.rows.chunks_exact(NAMES.len()).flat_map(|r| r[..FIRST_LOOK].to_vec()).collect(), ..t.clone() };
    let settings = Settings { trees: 200, depth: 5, ..Settings::default() };
    let mut rows = vec![];
    for clip in 0..folders.len() as u32 {
        let t = table(&|c| c != clip);
        let fit = train(&t, &settings).unwrap();
        let first = train(&narrow(&t), &Settings { trees: 60, depth: 4, ..Settings::default() }).unwrap();
        for s in sets.iter().filter(|s| s.clip == clip) {
            let (mut real, mut lost, mut all, mut gone) = (0, 0, 0, 0);
            for j in s.frames.iter().flat_map(|f| &f.judged) {
                let out = first.trees.probability(&j.values[..FIRST_LOOK]) < 0.03;
                if j.real { real += 1; lost += usize::from(out); } else { all += 1; gone += usize::from(out); }
            }
            println!("first look {} {}: real {real} lost {lost}; false {all} dismissed {gone}", s.name, s.level);
            let p: Vec<Vec<f32>> = s.frames.iter().map(|f| f.judged.iter().map(|j| if first.trees.probability(&j.values[..FIRST_LOOK]) < 0.03 { 0.0 } else { fit.trees.probability(&j.values) }).collect()).collect();
            for th in [0.2f32, 0.3, 0.5, 0.7] {
                let mut fig = Figures::default();
                for (f, p) in s.frames.iter().zip(&p) { fig.count(f, p, th); }
                rows.push((s.name.clone(), s.level, th, fig, fig.candidates.1 as f32 / s.frames.len() as f32 / s.megapixels));
            }
        }
    }
    for th in [0.2f32, 0.3, 0.5, 0.7] {
        println!("--- sensitivity {th} (left out clip)");
        let (mut r, mut p, mut n) = (0.0, 0.0, 0.0);
        for row in rows.iter().filter(|r| r.2 == th) {
            println!("{:10} {:6} dust {:.3} large {:.3} hair {:.3} line {:.3} lines {}-{} precision {:.3} false/f/Mpx {:.2}", row.0, row.1, row.3.recall(0), row.3.large.1 as f32 / row.3.large.0 as f32, row.3.recall(1), row.3.recall(2), row.3.lines.0, row.3.lines.1, row.3.precision(), row.4);
            if row.1 != "clean" { r += row.3.recall(0); p += row.3.precision(); n += 1.0; }
        }
        println!("mean dust {:.3} precision {:.3}", r / n, p / n);
    }
    let all = table(&|_| true);
    let fit = train(&all, &settings).unwrap();
    for i in importance(&fit).iter().take(48) { print!("{} {:.3}; ", i.name, i.share); }
    println!();
    if let Ok(path) = std::env::var("WRITE") {
        let c = train_calibrated(&all, &settings, folders.len().min(8)).unwrap();
        std::fs::write(&path, c.fit.trees.to_ron()).unwrap();
        let c = train_calibrated(&narrow(&all), &Settings { trees: 60, depth: 4, ..Settings::default() }, folders.len().min(8)).unwrap();
        std::fs::write(path.replace("confidence", "first-look"), c.fit.trees.to_ron()).unwrap();
    }
}

//! The ageing measured against the model it claims: sizes and shares of the data named in `particle`, grain, weave and
//! flicker of the settings, labels recomputed from their definition.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use super::particle::covered;
use super::*;

/// A picture with detail at several scales.
fn picture(width: usize, height: usize) -> Vec<Plane> {
    (0..3u32)
        .map(|c| {
            Plane::from_fn(width, height, |x, y| {
                420.0 + 190.0 * noise::octaves(x as f32 / 37.0, y as f32 / 29.0, 3, 5) + 25.0 * c as f32
            })
        })
        .collect()
}

fn deviation(values: &[f32]) -> f32 {
    let mean = values.iter().sum::<f32>() / values.len() as f32;
    (values.iter().map(|v| (v - mean) * (v - mean)).sum::<f32>() / values.len() as f32).sqrt()
}

fn quantile(values: &mut [f32], part: f32) -> f32 {
    values.sort_by(f32::total_cmp);
    values[((values.len() - 1) as f32 * part) as usize]
}

#[test]
fn the_same_for_any_number_of_threads() {
    let frames: Vec<Vec<Plane>> = (0..5).map(|_| picture(160, 120)).collect();
    let run = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        pool.install(|| age(&frames, &Settings::of(Level::Heavy), 11))
    };
    let one = run(1);
    assert_eq!(one, run(2));
    assert_ne!(one.aged, age(&frames, &Settings::of(Level::Heavy), 12).aged);
}

/// Every pixel's label recomputed from opacity and change; the number of labelled pixels of each kind.
fn check_labels(settings: &Settings) -> [usize; 3] {
    let clean = picture(400, 300);
    let ageing = Ageing::new(settings, 400, 300, 3, 21);
    let mut marked = [0; 3];
    for number in 0..3 {
        let frame = ageing.frame(number, &clean);
        for y in 0..300 {
            for x in 0..400 {
                let change =
                    (0..3).map(|c| (frame.clean[c].at(x, y) - frame.aged[c].at(x, y)).abs()).fold(0.0, f32::max);
                for (n, (bit, sigmas)) in [(1, 3.0), (2, 3.0), (4, 2.0)].into_iter().enumerate() {
                    let expected = frame.opacity[n].at(x, y) > 0.2 && change > sigmas * settings.grain;
                    assert_eq!(frame.labels.at(x, y) & bit != 0, expected, "kind {bit} at {x}, {y}");
                    marked[n] += usize::from(expected);
                }
                let untouched = frame.opacity.iter().all(|o| o.at(x, y) == 0.0);
                assert!(!untouched || change == 0.0, "changed without dirt at {x}, {y}");
            }
        }
    }
    marked
}

#[test]
fn labels_follow_their_definition() {
    let marked = check_labels(&Settings { lines: 6.0, clouds: 1.0, ..Settings::of(Level::Heavy) });
    assert!(marked.iter().all(|&n| n > 100), "every kind occurs: {marked:?}");
}

#[test]
fn labels_follow_their_definition_in_every_style() {
    let mut dust = 0;
    for seed in 0..6 {
        dust += check_labels(&Settings { dust: 150.0, ..Settings::varied(seed) })[0];
    }
    assert!(dust > 600, "{dust} pixels");
}

#[test]
fn films_vary_over_the_whole_space_and_a_seed_is_one_film() {
    let films: Vec<Settings> = (0..300).map(Settings::varied).collect();
    assert_eq!(films[7], Settings::varied(7));
    let share = |holds: &dyn Fn(&Settings) -> bool| films.iter().filter(|f| holds(f)).count() as f32 / 300.0;
    assert!(films.iter().all(|f| (3.0..=16.0).contains(&f.grain) && (0.1..=2.0).contains(&f.weave)));
    assert!(films.iter().all(|f| f.flicker <= 0.04 && f.style.grain.shared <= 1.0));
    assert!(films.iter().all(|f| f.style.dirt.shapes.is_sorted() && f.style.dirt.shapes[4] <= 100));
    assert!(share(&|f| f.grain > 10.0) > 0.15 && share(&|f| f.grain < 5.0) > 0.15);
    assert!(share(&|f| f.style.dirt.bright < 0.12) > 0.15 && share(&|f| f.style.dirt.bright > 0.88) > 0.15);
    for (name, trait_) in [
        ("halo", (|f| f.style.dirt.halo > 0.0) as fn(&Settings) -> bool),
        ("printed", |f| f.style.dirt.printed > 0.0),
        ("dense", |f| f.style.dirt.dense > 0.0),
        ("clusters", |f| f.style.dirt.clusters > 0.0),
        ("swell", |f| f.style.gate.swell > 0.0),
        ("turn", |f| f.style.gate.turn > 0.0),
    ] {
        assert!((0.3..0.8).contains(&share(&|f| trait_(f))), "{name}: {}", share(&|f| trait_(f)));
    }
}

/// Dust of a style laid on flat grey: the largest change up and down, all changes where it is opaque, and the mean
/// difference of neighbouring pixels there.
fn laid(style: style::DirtStyle) -> (f32, f32, Vec<f32>, f32) {
    let settings =
        Settings { dust: 400.0, style: Style { dirt: style, ..Style::default() }, ..Settings::of(Level::Undamaged) };
    let flat = vec![Plane::filled(300, 200, 500.0); 3];
    let frame = Ageing::new(&settings, 300, 200, 1, 4).frame(0, &flat);
    let (aged, opacity) = (&frame.aged[1], &frame.opacity[0]);
    let change: Vec<f32> = aged.as_slice().iter().zip(frame.clean[1].as_slice()).map(|(a, c)| a - c).collect();
    let above = change.iter().copied().fold(0.0, f32::max);
    let below = change.iter().copied().fold(0.0, f32::min);
    let opaque = |n: &usize| opacity.as_slice()[*n] > 0.999;
    let pairs: Vec<f32> = (0..300 * 200 - 1)
        .filter(|n| opaque(n) && opaque(&(n + 1)))
        .map(|n| (aged.as_slice()[n] - aged.as_slice()[n + 1]).abs())
        .collect();
    let rough = pairs.iter().sum::<f32>() / pairs.len() as f32;
    (above, below, (0..300 * 200).filter(opaque).map(|n| change[n]).collect(), rough)
}

#[test]
fn dirt_does_what_its_style_says() {
    let plain =
        style::DirtStyle { bright: 0.0, tinted: 0.0, thin: 0.0, full_opacity: (1.0, 1.0), ..Default::default() };
    let (above, below, _, flat) = laid(plain.clone());
    assert!(above <= 0.0 && below < -300.0, "dark dirt only darkens: {above} {below}");
    assert!(flat < 2.0, "a piece has one code where it is opaque: {flat}");
    let (above, _, _, _) = laid(style::DirtStyle { halo: 1.0, ..plain.clone() });
    assert!(above > 60.0, "a bright rim around a dark core: {above}");
    let (above, below, _, _) = laid(style::DirtStyle { dense: 1.0, ..plain.clone() });
    // One piece adds 70 to 420 codes of density.
    assert!(above <= 0.0 && below < -70.0, "dark density only darkens: {above} {below}");
    // The grain of these films is 7 codes; neighbours correlated by a half differ by about as much.
    let (_, _, _, printed) = laid(style::DirtStyle { printed: 1.0, large: 1.0, size: 3.0, ..plain.clone() });
    assert!(printed > 4.0, "the print's grain lies over dirt that was printed in: {printed}");
    let (_, _, _, mottled) = laid(style::DirtStyle { mottle: 150.0, ..plain });
    assert!(mottled > 5.0, "{mottled}");
}

#[test]
fn an_undamaged_film_has_no_dirt_and_whole_codes() {
    let frame = Ageing::new(&Settings::of(Level::Undamaged), 90, 70, 4, 3).frame(2, &picture(90, 70));
    assert_eq!(frame.clean, frame.aged);
    assert!(frame.labels.as_slice().iter().all(|&bits| bits == 0));
    assert!(frame.aged.iter().flat_map(Plane::as_slice).all(|v| v.fract() == 0.0 && (0.0..=1023.0).contains(v)));
}

#[test]
fn grain_has_its_strength_correlation_and_shared_part() {
    let still = Settings { weave: 0.0, flicker: 0.0, ..Settings::of(Level::Undamaged) };
    let mut strengths = Vec::new();
    for code in [120.0, 330.0, 540.0, 760.0, 980.0] {
        let flat = vec![Plane::filled(256, 200, code); 3];
        let grain: Vec<Vec<f32>> = Ageing::new(&still, 256, 200, 1, 77)
            .frame(0, &flat)
            .clean
            .iter()
            .map(|p| p.as_slice().iter().map(|v| v - code).collect())
            .collect();
        let sigma: Vec<f32> = grain.iter().map(|g| deviation(g)).collect();
        let mean = sigma.iter().sum::<f32>() / 3.0;
        // Rounding adds a variance of 1/12; three records average to the curve.
        assert!((mean / sigma_at(code, 7.0) - 1.0).abs() < 0.03, "at {code}: {mean}");
        assert!(sigma[2] > sigma[0] && sigma[0] > sigma[1], "blue is the coarsest: {sigma:?}");
        let product = |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f32>() / a.len() as f32;
        let shared = product(&grain[0], &grain[1]) / (sigma[0] * sigma[1]);
        assert!((shared - SHARED_VARIANCE).abs() < 0.05, "shared part {shared}");
        let beside = product(&grain[0][1..], &grain[0][..grain[0].len() - 1]) / (sigma[0] * sigma[0]);
        assert!((0.4..0.65).contains(&beside), "correlation of neighbours {beside}");
        strengths.push(mean);
    }
    let mean = strengths.iter().sum::<f32>() / strengths.len() as f32;
    assert!((mean - 7.0).abs() < 0.7, "about seven codes: {mean}");
    assert!(strengths[2] > 1.3 * strengths[0], "signal-dependent: {strengths:?}");
}

#[test]
fn weave_and_flicker_have_their_root_mean_square() {
    let mut horizontal = Vec::new();
    let mut vertical = Vec::new();
    let mut gains = Vec::new();
    for clip in 0..20 {
        for frame in 0..60 {
            let gate = Gate::of_frame(0.5, 0.015, &style::GateStyle::default(), (clip, frame));
            horizontal.push(gate.shift.0);
            vertical.push(gate.shift.1);
            // The gain anywhere on the frame: a corner of the inner quarter stands for it.
            gains.push(gate.gain + gate.tilt.0 * 0.577 + gate.tilt.1 * 0.577);
        }
    }
    for weave in [&horizontal, &vertical] {
        assert!((deviation(weave) - 0.5).abs() < 0.04, "weave {}", deviation(weave));
    }
    assert!((deviation(&gains) - 0.015).abs() < 0.0015, "flicker {}", deviation(&gains));
}

#[test]
fn dust_has_the_sizes_shares_and_balance_of_real_dust() {
    let mut lengths = Vec::new();
    let (mut partly, mut bright, mut tinted, mut all) = (0, 0, 0, 0);
    for frame in 0..40 {
        for stamp in particle::of_frame((100.0, 0.0), (2048, 1556), 1.0, &style::DirtStyle::default(), (5, frame)) {
            let (across, down) = covered(&stamp.cover);
            lengths.push(across.max(down) as f32);
            all += 1;
            partly += usize::from(stamp.paint.opacity <= 0.6);
            bright += usize::from(stamp.paint.is_bright());
            tinted += usize::from(stamp.paint.share != [1.0; 3] || stamp.paint.target[0] != stamp.paint.target[1]);
        }
    }
    let share = |n: usize| n as f32 / all as f32;
    // A third; smudges are thinned further.
    assert!((share(partly) - 0.34).abs() < 0.03, "partly opaque {}", share(partly));
    assert!((share(bright) - 0.5).abs() < 0.03, "bright {}", share(bright));
    assert!((0.15..0.3).contains(&share(tinted)), "tinted {}", share(tinted));
    // Dust and dirt of the data together, at 2K: about 5.5, 7.2 and 13 pixels; sparkles and shapes widen it.
    let (p10, p50, p90) = (quantile(&mut lengths, 0.1), quantile(&mut lengths, 0.5), quantile(&mut lengths, 0.9));
    assert!(
        (2.0..=6.0).contains(&p10) && (6.0..=8.0).contains(&p50) && (10.0..=15.0).contains(&p90),
        "{p10} {p50} {p90}"
    );
}

#[test]
fn hairs_are_long_thin_and_curled() {
    let (mut lengths, mut thin, mut curled) = (Vec::new(), Vec::new(), 0);
    for frame in 0..30 {
        for stamp in hair::of_frame(10.0, (2048, 1556), 1.0, &Style::default(), (5, frame)) {
            let area = stamp.cover.as_slice().iter().filter(|&&c| c > 0.5).count() as f32;
            let (across, down) = covered(&stamp.cover);
            let span = (across as f32).hypot(down as f32);
            lengths.push(span);
            thin.push(span * span / area.max(1.0));
            curled += usize::from(span < 0.9 * area / 2.0);
        }
    }
    let (short, long) = (quantile(&mut lengths, 0.1), quantile(&mut lengths, 0.9));
    assert!((6.0..16.0).contains(&short) && (55.0..130.0).contains(&long), "{short} {long}");
    // A disc has 4/pi here; a hair of 2 by 25 pixels has 12.
    assert!(quantile(&mut thin, 0.5) > 8.0, "elongation {}", quantile(&mut thin, 0.5));
    assert!(curled > thin.len() / 8, "{curled} of {}", thin.len());
}

#[test]
fn lines_stand_upright_last_and_drift() {
    let plan = lines::plan(3.0, 200, (2048, 1556), &LineStyle::default(), 1.0, 8);
    assert!(!plan.is_empty());
    let mut moved = 0;
    let mut alive = 0;
    for line in &plan {
        assert!((4.0..=30.0).contains(&(line.to - line.from)));
        let slope = (line.place(line.from + 1.0) - line.place(line.from)).abs();
        // Two degrees over the height of a 2K frame are 54 pixels.
        assert!(slope < 54.0, "slope {slope}");
        moved += usize::from(slope > 0.1);
        alive += (0..200).filter(|&f| line.from < f as f32 + 0.5 && line.to > f as f32 + 0.5).count();
    }
    assert!(moved > plan.len() / 2);
    let mean = alive as f32 / 200.0;
    assert!((1.8..4.2).contains(&mean), "lines a frame {mean}");
}

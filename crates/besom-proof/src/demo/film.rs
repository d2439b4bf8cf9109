//! From linear light to the printing-density codes of a scanned negative: lens, emulsion and age.

use besom_scan::Plane;

/// Code of a dense black and of a sunlit white in a 10-bit printing-density scan, and codes for a tenfold exposure:
/// 0.002 density a code at a negative's contrast of 0.6. (SMPTE RP 180 and common practice, from memory.)
const BLACK: f32 = 95.0;
const WHITE: f32 = 685.0;
const DECADE: f32 = 300.0;

/// Exposes and develops one frame.
///
/// The lens spreads highlights (flare and halation, redder the wider) and darkens corners; the emulsion of the time is a
/// little less saturated than the scene, its shadows are cool and its whites warm; the curve is logarithmic with a toe.
pub(super) fn develop(linear: &mut [Plane; 3]) {
    glow(linear);
    let (width, height) = (linear[0].width(), linear[0].height());
    let toe = libm::exp10f((BLACK - WHITE) / DECADE);
    for y in 0..height {
        for x in 0..width {
            let falloff = corner(x, y, width, height);
            let light: [f32; 3] = std::array::from_fn(|c| linear[c].at(x, y).max(0.0) * falloff);
            let exposed = emulsion(light);
            for (plane, light) in linear.iter_mut().zip(exposed) {
                let code = WHITE + DECADE * libm::log10f(light * (1.0 - toe) + toe);
                // The shoulder begins above the white of a sunlit wall.
                let code =
                    if code > 720.0 { 720.0 + 270.0 * (1.0 - libm::expf(-(code - 720.0) / 270.0)) } else { code };
                plane.set(x, y, code);
            }
        }
    }
}

/// Light that is left at a place: a soft vignette.
fn corner(x: usize, y: usize, width: usize, height: usize) -> f32 {
    let u = (2.0 * x as f32 + 1.0) / width as f32 - 1.0;
    let v = (2.0 * y as f32 + 1.0) / height as f32 - 1.0;
    let r2 = u * u + v * v;
    1.0 / (1.0 + 0.16 * r2 + 0.09 * r2 * r2)
}

/// Colour of the time: crossed dyes, a cool toe, cream highlights.
fn emulsion([r, g, b]: [f32; 3]) -> [f32; 3] {
    let grey = 0.27 * r + 0.62 * g + 0.11 * b;
    let muted = [r, g, b].map(|v| grey + 0.80 * (v - grey));
    let lift = 0.010 / (1.0 + 12.0 * grey);
    let cream = grey / (0.6 + grey);
    [
        muted[0] * (0.98 + 0.07 * cream) + lift * 0.85,
        muted[1] * (1.0 + 0.01 * cream) + lift,
        muted[2] * (1.03 - 0.16 * cream) + lift * 1.35,
    ]
}

/// Adds light scattered from what is brighter than white.
fn glow(linear: &mut [Plane; 3]) {
    let height = linear[0].height();
    // Share of the scattered light by channel: the film's base reflects red the most.
    for (plane, share) in linear.iter_mut().zip([0.10, 0.07, 0.05]) {
        let over = plane.map(|v| (v - 0.55).clamp(0.0, 6.0));
        let near = blurred(&over, (height as f32 * 0.008).max(1.0) as usize);
        let far = blurred(&near, (height as f32 * 0.045).max(2.0) as usize);
        for ((sample, near), far) in plane.as_mut_slice().iter_mut().zip(near.as_slice()).zip(far.as_slice()) {
            *sample += share * (1.4 * near + 1.6 * far);
        }
    }
}

/// Three box means of a radius in both directions: nearly a Gaussian.
fn blurred(plane: &Plane, radius: usize) -> Plane {
    let mut out = plane.clone();
    for _ in 0..3 {
        out = transposed_mean(&transposed_mean(&out, radius), radius);
    }
    out
}

/// Box mean along rows, transposed, so that applying it twice smooths both directions.
fn transposed_mean(plane: &Plane, radius: usize) -> Plane {
    let (width, height) = (plane.width(), plane.height());
    let mut out = Plane::new(height, width);
    let size = (2 * radius + 1) as f32;
    for y in 0..height {
        let row = plane.row(y);
        let tap = |x: i64| row[x.clamp(0, width as i64 - 1) as usize];
        let mut sum: f32 = (-(radius as i64)..=radius as i64).map(tap).sum();
        for x in 0..width {
            out.set(y, x, sum / size);
            sum += tap((x + radius + 1) as i64) - tap(x as i64 - radius as i64);
        }
    }
    out
}

//! Reading a plane between its samples.

use besom_scan::Plane;

use crate::Vector;

/// Catmull-Rom weights of the four samples around a position `t` (0..1) past the second of them.
///
/// The cubic convolution kernel with a = -1/2 (Keys, IEEE Trans. ASSP 29(6):1153-1160, 1981): it reproduces quadratics and,
/// unlike a bilinear kernel, hardly softens grain, so that a compensated neighbour differs from the frame by grain alone.
// Inlined into the loops that are compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
pub fn cubic_weights(t: f32) -> [f32; 4] {
    let (t2, t3) = (t * t, t * t * t);
    [-0.5 * t3 + t2 - 0.5 * t, 1.5 * t3 - 2.5 * t2 + 1.0, -1.5 * t3 + 2.0 * t2 + 0.5 * t, 0.5 * t3 - 0.5 * t2]
}

/// The plane at `(x, y)`, between samples by cubic convolution; positions outside take the border's samples.
///
/// # Panics
/// When the plane is empty.
#[inline]
pub fn sample(plane: &Plane, x: f32, y: f32) -> f32 {
    sampled(plane, x, y)
}

/// [`sample`] at many positions, each moved by `v`.
///
/// # Panics
/// When the plane is empty.
#[multiversion::multiversion(targets("x86_64+avx512f+avx512bw+avx512dq+avx512vl", "x86_64+avx2"))]
pub fn samples(plane: &Plane, places: &[(usize, usize)], v: Vector) -> Vec<f32> {
    let mut out = Vec::with_capacity(places.len());
    for (x, y) in places {
        out.push(sampled(plane, *x as f32 + v.dx, *y as f32 + v.dy));
    }
    out
}

// Inlined into the loop that is compiled for several processor levels.
#[allow(clippy::inline_always)]
#[inline(always)]
fn sampled(plane: &Plane, x: f32, y: f32) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let (wx, wy) = (cubic_weights(x - fx), cubic_weights(y - fy));
    let (ix, iy) = (fx as i32, fy as i32);
    let (width, height) = (plane.width() as i32, plane.height() as i32);
    let mut sum = 0.0;
    if ix >= 1 && iy >= 1 && ix + 2 < width && iy + 2 < height {
        for (j, wy) in wy.iter().enumerate() {
            let start = (ix - 1) as usize;
            let row = &plane.row((iy - 1) as usize + j)[start..start + 4];
            sum += wy * (wx[0] * row[0] + wx[1] * row[1] + wx[2] * row[2] + wx[3] * row[3]);
        }
    } else {
        for (j, wy) in wy.iter().enumerate() {
            for (i, wx) in wx.iter().enumerate() {
                sum += wx * wy * plane.clamped(ix - 1 + i as i32, iy - 1 + j as i32);
            }
        }
    }
    sum
}

/// The plane at `(x, y)` by bilinear interpolation, with its derivatives along x and y (of the interpolated surface).
///
/// # Panics
/// When the plane is empty.
#[inline]
pub fn sample_with_gradient(plane: &Plane, x: f32, y: f32) -> (f32, f32, f32) {
    let (fx, fy) = (x.floor(), y.floor());
    let (tx, ty) = (x - fx, y - fy);
    let (ix, iy) = (fx as i32, fy as i32);
    let (a, b, c, d) = if ix >= 0 && iy >= 0 && ix + 1 < plane.width() as i32 && iy + 1 < plane.height() as i32 {
        let (x, y) = (ix as usize, iy as usize);
        let (top, low) = (&plane.row(y)[x..x + 2], &plane.row(y + 1)[x..x + 2]);
        (top[0], top[1], low[0], low[1])
    } else {
        (plane.clamped(ix, iy), plane.clamped(ix + 1, iy), plane.clamped(ix, iy + 1), plane.clamped(ix + 1, iy + 1))
    };
    let value = (a * (1.0 - tx) + b * tx) * (1.0 - ty) + (c * (1.0 - tx) + d * tx) * ty;
    (value, (b - a) * (1.0 - ty) + (d - c) * ty, (c - a) * (1.0 - tx) + (d - b) * tx)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quadratic_is_reproduced_exactly_inside() {
        // Keys 1981, section II: the kernel with a = -1/2 agrees with the Taylor series up to the second order.
        let f = |x: f32, y: f32| 3.0 + 2.0 * x - y + 0.25 * x * x - 0.5 * y * y + 0.125 * x * y;
        let plane = Plane::from_fn(12, 12, |x, y| f(x as f32, y as f32));
        for (x, y) in [(3.0, 4.0), (3.25, 4.5), (6.9, 2.1), (5.5, 7.75)] {
            approx::assert_abs_diff_eq!(sample(&plane, x, y), f(x, y), epsilon = 1e-3);
        }
    }

    #[test]
    fn many_positions_give_what_each_gives() {
        let plane = Plane::from_fn(31, 23, |x, y| ((x * 7919 + y * 104_729) % 1021) as f32);
        let places: Vec<(usize, usize)> = (0..23).flat_map(|y| (0..31).map(move |x| (x, y))).collect();
        for v in [Vector::default(), Vector::new(1.3, -0.8), Vector::new(-40.2, 3.5)] {
            let each = places.iter().map(|(x, y)| sample(&plane, *x as f32 + v.dx, *y as f32 + v.dy));
            assert_eq!(samples(&plane, &places, v), each.collect::<Vec<_>>());
        }
    }

    #[test]
    fn outside_the_border_holds() {
        let plane = Plane::from_fn(4, 4, |x, _| x as f32);
        assert_eq!(sample(&plane, -9.0, 2.0), 0.0);
        assert_eq!(sample(&plane, 40.0, -3.0), 3.0);
    }
}

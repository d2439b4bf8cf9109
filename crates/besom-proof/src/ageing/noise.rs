//! Smooth noise that is a function of position: hashed lattice values joined smoothly, in one, two and three dimensions.

/// A well mixed 32-bit hash of a lattice point (the finaliser of `MurmurHash3`, public domain, over odd multiples).
#[inline]
fn hash(x: i32, y: i32, z: i32, seed: u32) -> u32 {
    let mut h = (x as u32).wrapping_mul(0x9E37_79B1)
        ^ (y as u32).wrapping_mul(0x85EB_CA77).rotate_left(13)
        ^ (z as u32).wrapping_mul(0xC2B2_AE3D).rotate_left(7)
        ^ seed.wrapping_mul(0x27D4_EB2F);
    h ^= h >> 16;
    h = h.wrapping_mul(0x85EB_CA6B);
    h ^= h >> 13;
    h = h.wrapping_mul(0xC2B2_AE35);
    h ^ (h >> 16)
}

/// The value at a lattice point, uniform in `[-1, 1)`.
#[inline]
pub(crate) fn lattice(x: i32, y: i32, z: i32, seed: u32) -> f32 {
    (hash(x, y, z, seed) >> 8) as f32 * (2.0 / 16_777_216.0) - 1.0
}

/// The quintic step of improved gradient noise: first and second derivatives vanish at both ends, so no lattice shows.
#[inline]
fn fade(t: f32) -> f32 {
    t * t * t * (t * (t * 6.0 - 15.0) + 10.0)
}

#[inline]
fn mix(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// Noise along a line, about -1..1.
pub(crate) fn along(x: f32, seed: u32) -> f32 {
    let floor = x.floor();
    let i = floor as i32;
    mix(lattice(i, 0, 0, seed), lattice(i + 1, 0, 0, seed), fade(x - floor))
}

/// Noise in the plane, about -1..1, with features about one unit wide.
#[inline]
pub(crate) fn plane(x: f32, y: f32, seed: u32) -> f32 {
    let (fx, fy) = (x.floor(), y.floor());
    let (i, j) = (fx as i32, fy as i32);
    let (u, v) = (fade(x - fx), fade(y - fy));
    let top = mix(lattice(i, j, 0, seed), lattice(i + 1, j, 0, seed), u);
    let low = mix(lattice(i, j + 1, 0, seed), lattice(i + 1, j + 1, 0, seed), u);
    mix(top, low, v)
}

/// Noise in the plane that changes smoothly with time `z`.
#[inline]
pub(crate) fn moving(x: f32, y: f32, z: f32, seed: u32) -> f32 {
    let floor = z.floor();
    let k = floor as i32 as u32;
    let salt = |k: u32| seed ^ k.wrapping_mul(0x9E37_79B9);
    mix(plane(x, y, salt(k)), plane(x, y, salt(k.wrapping_add(1))), fade(z - floor))
}

/// Octaves of [`plane`], each twice as fine and half as strong, about -1..1.
pub(crate) fn octaves(x: f32, y: f32, count: u32, seed: u32) -> f32 {
    let (mut sum, mut strength, mut scale, mut total) = (0.0, 1.0, 1.0, 0.0);
    for octave in 0..count {
        // Offsets that are no multiple of the lattice keep the octaves' zero crossings apart.
        let shift = 17.37 * octave as f32;
        sum += strength * plane(x * scale + shift, y * scale - shift, seed.wrapping_add(octave * 101));
        total += strength;
        strength *= 0.5;
        scale *= 2.03;
    }
    sum / total
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_is_smooth_bounded_and_centred() {
        let mut sum = 0.0;
        for i in 0..4000 {
            let (x, y) = (i as f32 * 0.37, i as f32 * 0.11 - 200.0);
            let here = plane(x, y, 9);
            assert!(here.abs() <= 1.0);
            assert!((here - plane(x + 0.001, y, 9)).abs() < 0.01);
            assert!((moving(x, y, 3.0, 9) - moving(x, y, 3.001, 9)).abs() < 0.01);
            sum += here;
        }
        assert!((sum / 4000.0).abs() < 0.05);
    }
}

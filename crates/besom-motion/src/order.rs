//! The smaller, the larger and the middle of samples.

// Inlined into the loops that are compiled for several processor levels.
#![allow(clippy::inline_always)]

/// The smaller of two. A comparison instead of `f32::min`: planes hold no NaN, and this becomes one instruction.
#[inline(always)]
pub fn least(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The larger of two, as [`least`].
#[inline(always)]
pub fn most(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The median of some numbers, the larger of the two middle ones for an even count; changes their order.
///
/// # Panics
/// When there are none.
pub fn middle(values: &mut [f32]) -> f32 {
    let half = values.len() / 2;
    *values.select_nth_unstable_by(half, f32::total_cmp).1
}

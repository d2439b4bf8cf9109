//! The predicted error of a fill, before anybody knows the true one.
//!
//! Root-mean-square error inside the hole in codes, the fill's and the truth's own grain included. The coefficients are
//! least-squares fits of the error's logarithm over 2,858 holes in eight aged clips with known truth; over those same holes
//! predicted and true error correlate with about 0.8. A rank to look at the doubtful ones first, not a guarantee.

use crate::choose::Shares;

/// What grain costs a fill from other frames, the fill's own and the truth's: variances of one frame's grain.
pub(crate) const GRAIN: f32 = 1.23;

/// A fill from other frames: `sqrt(0.27 rim² + 0.95 spread² + 1.23 sigma²)`, where `rim²` is the squared rim difference
/// near each pixel, `spread²` the variance of the sources inside the hole, and `sigma` the grain of one frame.
pub(crate) fn between_frames(shares: &Shares, sigma: f32) -> f32 {
    (0.27 * shares.rim_square + 0.95 * shares.spread + GRAIN * sigma * sigma).sqrt()
}

/// A membrane with grain laid over it: how far membranes of the same shape miss known picture nearby (root mean square in
/// codes, that picture's grain included), and the fill's own grain.
pub(crate) fn membrane(miss: f32, sigma: f32) -> f32 {
    (miss * miss + sigma * sigma).sqrt()
}

/// A piece of the same frame: its mean absolute rim difference in codes, and the same growth.
pub(crate) fn piece(rim_error: f32, depth: f32, sigma: f32) -> f32 {
    (1.04 * rim_error * rim_error * (1.0 + 0.081 * depth) + 1.41 * sigma * sigma).sqrt()
}

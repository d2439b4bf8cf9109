//! A small alphabet of brush strokes for the title card: capitals and figures as lines on a grid 4 wide and 6 high.

use super::paint::{Point, segment};

/// Strokes of a character as lines through `x, y` points; nothing for a character that is not on the card.
#[rustfmt::skip] // a table: one letter a line
fn strokes(letter: char) -> &'static [&'static [(f32, f32)]] {
    match letter {
        'A' => &[&[(0.0, 6.0), (2.0, 0.0), (4.0, 6.0)], &[(0.8, 4.0), (3.2, 4.0)]],
        'C' => &[&[(4.0, 1.0), (3.0, 0.1), (1.4, 0.1), (0.3, 1.4), (0.1, 3.0), (0.3, 4.6), (1.4, 5.9), (3.0, 5.9), (4.0, 5.0)]],
        'E' => &[&[(3.8, 0.0), (0.2, 0.0), (0.2, 6.0), (3.8, 6.0)], &[(0.2, 2.9), (3.0, 2.9)]],
        'F' => &[&[(3.8, 0.0), (0.2, 0.0), (0.2, 6.0)], &[(0.2, 2.9), (3.0, 2.9)]],
        'G' => &[&[(4.0, 1.0), (3.0, 0.1), (1.4, 0.1), (0.3, 1.4), (0.1, 3.0), (0.3, 4.6), (1.4, 5.9), (3.0, 5.9), (4.0, 5.0), (4.0, 3.4), (2.6, 3.4)]],
        'H' => &[&[(0.2, 0.0), (0.2, 6.0)], &[(3.8, 0.0), (3.8, 6.0)], &[(0.2, 2.9), (3.8, 2.9)]],
        'I' => &[&[(2.0, 0.0), (2.0, 6.0)]],
        'K' => &[&[(0.2, 0.0), (0.2, 6.0)], &[(3.9, 0.0), (0.3, 3.3)], &[(1.5, 2.3), (4.0, 6.0)]],
        'L' => &[&[(0.2, 0.0), (0.2, 6.0), (3.8, 6.0)]],
        'M' => &[&[(0.0, 6.0), (0.3, 0.0), (2.0, 4.2), (3.7, 0.0), (4.0, 6.0)]],
        'N' => &[&[(0.2, 6.0), (0.2, 0.0), (3.8, 6.0), (3.8, 0.0)]],
        'O' => &[&[(2.0, 0.0), (0.8, 0.5), (0.1, 1.8), (0.0, 3.0), (0.1, 4.2), (0.8, 5.5), (2.0, 6.0), (3.2, 5.5), (3.9, 4.2), (4.0, 3.0), (3.9, 1.8), (3.2, 0.5), (2.0, 0.0)]],
        'P' => &[&[(0.2, 6.0), (0.2, 0.0), (2.6, 0.0), (3.7, 0.7), (3.8, 1.8), (3.5, 2.8), (2.6, 3.3), (0.2, 3.3)]],
        'R' => &[&[(0.2, 6.0), (0.2, 0.0), (2.6, 0.0), (3.6, 0.7), (3.8, 1.7), (3.5, 2.6), (2.6, 3.1), (0.2, 3.1)], &[(2.2, 3.1), (4.0, 6.0)]],
        'S' => &[&[(3.8, 0.9), (2.9, 0.1), (1.3, 0.1), (0.3, 0.8), (0.2, 1.8), (0.9, 2.6), (3.1, 3.4), (3.8, 4.3), (3.7, 5.2), (2.8, 5.9), (1.2, 5.9), (0.1, 5.0)]],
        'T' => &[&[(0.0, 0.0), (4.0, 0.0)], &[(2.0, 0.0), (2.0, 6.0)]],
        'V' => &[&[(0.0, 0.0), (2.0, 6.0), (4.0, 0.0)]],
        'Y' => &[&[(0.0, 0.0), (2.0, 3.0), (4.0, 0.0)], &[(2.0, 3.0), (2.0, 6.0)]],
        '1' => &[&[(1.0, 1.2), (2.2, 0.0), (2.2, 6.0)]],
        '2' => &[&[(0.2, 1.5), (0.6, 0.5), (1.8, 0.0), (3.2, 0.4), (3.7, 1.6), (3.2, 2.8), (0.1, 6.0), (4.0, 6.0)]],
        '6' => &[&[(3.6, 0.6), (2.4, 0.0), (1.0, 0.8), (0.2, 2.6), (0.1, 4.4), (0.8, 5.6), (2.0, 6.0), (3.2, 5.6), (3.9, 4.3), (3.2, 3.1), (2.0, 2.8), (0.8, 3.3), (0.1, 4.4)]],
        '9' => &[&[(0.4, 5.4), (1.6, 6.0), (3.0, 5.2), (3.8, 3.4), (3.9, 1.6), (3.2, 0.4), (2.0, 0.0), (0.8, 0.4), (0.1, 1.7), (0.8, 2.9), (2.0, 3.2), (3.2, 2.7), (3.9, 1.6)]],
        _ => &[],
    }
}

/// Width of a character and the space after it, in grid units.
fn advance(letter: char) -> f32 {
    match letter {
        'I' => 3.2,
        '1' => 4.2,
        ' ' => 3.4,
        'M' => 6.0,
        'E' | 'F' | 'L' => 5.1,
        _ => 5.5,
    }
}

/// Free space after a character, part of its advance.
const GAP: f32 = 1.5;

/// A centred line of lettering.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lettering {
    pub(super) text: &'static str,
    /// Middle of the line.
    pub(super) middle: Point,
    /// Height of a capital.
    pub(super) height: f32,
    /// Half the width of a stroke against the height.
    pub(super) weight: f32,
}

impl Lettering {
    /// Distance from the edge of the lettering; negative inside, 1 far away.
    pub(super) fn distance(&self, p: Point) -> f32 {
        let unit = self.height / 6.0;
        let v = (p.1 - self.middle.1) / unit + 3.0;
        if !(-2.0..8.0).contains(&v) {
            return 1.0;
        }
        let width = self.text.chars().map(advance).sum::<f32>() - GAP;
        let u = (p.0 - self.middle.0) / unit + 0.5 * width;
        let (mut start, mut nearest) = (0.0, f32::MAX);
        for letter in self.text.chars() {
            let here = u - start - if letter == 'I' { -0.9 } else { 0.0 };
            start += advance(letter);
            if (-2.0..6.0).contains(&here) {
                let pairs = strokes(letter).iter().flat_map(|line| line.windows(2));
                nearest = pairs.map(|pair| segment((here, v), pair[0], pair[1]).0).fold(nearest, f32::min);
            }
        }
        if nearest == f32::MAX { 1.0 } else { nearest * unit - self.weight * self.height }
    }
}

//! The geometry of one hole: its pixels, the trusted rim around it, and how deep each pixel lies.

use besom_scan::{Plane, Rect, RunMask};

/// Pixels around the mask that are read as its rim.
pub(crate) const RIM: i32 = 4;
/// Pixels kept around the mask in the local box: the rim, which is also the support of the filter that parts low from high.
const MARGIN: i32 = RIM;

/// A pixel of the hole or its rim, in the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Spot {
    pub x: i32,
    pub y: i32,
    /// Place in the local box's row order.
    pub index: usize,
    /// Hole: rings of pixels from the edge inwards, 1 at the edge, at most [`RIM`]. Rim: rings outwards.
    pub ring: u8,
}

impl Spot {
    /// How much a rim pixel counts: the nearer the edge, the more.
    pub(crate) fn weight(&self) -> f32 {
        1.0 / (1.0 + 0.5 * f32::from(self.ring))
    }
}

/// One hole in its local box.
pub(crate) struct Hole {
    /// The box in the frame.
    pub rect: Rect,
    /// The mask's pixels.
    pub inside: Vec<Spot>,
    /// Trusted pixels within [`RIM`] of the mask.
    pub rim: Vec<Spot>,
    /// For each box pixel: 0 picture, 1 another candidate's (not to be read), 2 the hole.
    pub state: Plane<u8>,
}

/// A picture pixel of the box.
pub(crate) const PICTURE: u8 = 0;
/// A box pixel under another candidate.
pub(crate) const OTHER: u8 = 1;
/// A box pixel of the hole.
pub(crate) const HOLE: u8 = 2;

impl Hole {
    /// The hole of a mask, or `None` when no pixel of it lies in the frame.
    pub(crate) fn new(mask: &RunMask, skip: &Plane<u8>) -> Option<Self> {
        let frame = skip.rect();
        let bounds = mask.bounds().intersect(&frame);
        if bounds.is_empty() {
            return None;
        }
        let rect = bounds.grown(MARGIN).intersect(&frame);
        let mut state = cut_out(skip, &rect).map(|v| if v == 0 { PICTURE } else { OTHER });
        paint(mask, &rect, &mut state);
        let (outwards, inwards) = (rings(&state, true), rings(&state, false));
        let (mut inside, mut rim) = (Vec::new(), Vec::new());
        for y in 0..state.height() {
            for x in 0..state.width() {
                let index = y * state.width() + x;
                let spot = |ring| Spot { x: rect.x0 + x as i32, y: rect.y0 + y as i32, index, ring };
                match state.at(x, y) {
                    HOLE => inside.push(spot(inwards[index])),
                    PICTURE if outwards[index] > 0 => rim.push(spot(outwards[index])),
                    _ => {}
                }
            }
        }
        if inside.is_empty() {
            return None;
        }
        Some(Self { rect, inside, rim, state })
    }

    /// Mean of a plane over the rim, codes; the middle of the range without a rim.
    pub(crate) fn level(&self, plane: &Plane) -> f32 {
        let sum: f32 = self.rim.iter().map(|s| plane.at(s.x as usize, s.y as usize)).sum();
        if self.rim.is_empty() { 512.0 } else { sum / self.rim.len() as f32 }
    }

    /// The smallest rectangle around the hole's pixels.
    pub(crate) fn bounds(&self) -> Rect {
        self.inside.iter().fold(Rect::default(), |r, s| r.union(&Rect::new(s.x, s.y, s.x + 1, s.y + 1)))
    }
}

/// A copy of the part of a plane inside a rectangle that lies in it, row by row.
pub(crate) fn cut_out<T: Copy + Default>(plane: &Plane<T>, rect: &Rect) -> Plane<T> {
    let mut samples = Vec::with_capacity(rect.area());
    for y in rect.y0..rect.y1 {
        samples.extend_from_slice(&plane.row(y as usize)[rect.x0 as usize..rect.x1 as usize]);
    }
    Plane::from_vec(rect.width(), rect.height(), samples).unwrap_or_else(|| Plane::new(rect.width(), rect.height()))
}

/// Marks the mask's pixels inside the box.
fn paint(mask: &RunMask, rect: &Rect, state: &mut Plane<u8>) {
    let first = mask.runs().partition_point(|r| (r.y as i64) < i64::from(rect.y0));
    for run in mask.runs()[first..].iter().take_while(|r| (r.y as i64) < i64::from(rect.y1)) {
        let x0 = i64::from(run.x0).max(i64::from(rect.x0)) - i64::from(rect.x0);
        let x1 = i64::from(run.x1).min(i64::from(rect.x1)) - i64::from(rect.x0);
        if x0 < x1 {
            state.row_mut((run.y as i32 - rect.y0) as usize)[x0 as usize..x1 as usize].fill(HOLE);
        }
    }
}

/// Rings of pixels (by a square brush) from the hole's edge: outwards into the rest (0 beyond [`RIM`]), or inwards into the
/// hole ([`RIM`] at most). The frame's border is no edge of the hole: there is nothing beyond it to blend with.
fn rings(state: &Plane<u8>, outwards: bool) -> Vec<u8> {
    let (width, height) = (state.width() as i32, state.height() as i32);
    // `reached` holds the ring at which a pixel was reached, 0 for never; the starting set is ring 255.
    let mut reached: Vec<u8> =
        state.as_slice().iter().map(|&s| if (s == HOLE) == outwards { 255 } else { 0 }).collect();
    let mut front: Vec<(i32, i32)> = Vec::new();
    for y in 0..height {
        for x in 0..width {
            if reached[(y * width + x) as usize] == 255 {
                front.push((x, y));
            }
        }
    }
    for ring in 1..=RIM as u8 {
        let mut next = Vec::new();
        for &(x, y) in &front {
            for ny in (y - 1).max(0)..=(y + 1).min(height - 1) {
                for nx in (x - 1).max(0)..=(x + 1).min(width - 1) {
                    let slot = &mut reached[(ny * width + nx) as usize];
                    if *slot == 0 {
                        *slot = ring;
                        next.push((nx, ny));
                    }
                }
            }
        }
        front = next;
    }
    let deepest = if outwards { 0 } else { RIM as u8 };
    for slot in &mut reached {
        *slot = match *slot {
            255 => 0,
            0 => deepest,
            ring => ring,
        };
    }
    reached
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used)]
    use super::*;

    #[test]
    fn rings_are_counted_from_the_edge() {
        let mask = RunMask::from_rect(&Rect::new(10, 10, 21, 21));
        let mut skip = Plane::<u8>::new(40, 40);
        skip.set(8, 15, 1);
        let hole = Hole::new(&mask, &skip).unwrap();
        let depth = |x, y| hole.inside.iter().find(|s| (s.x, s.y) == (x, y)).map(|s| s.ring);
        let out = |x, y| hole.rim.iter().find(|s| (s.x, s.y) == (x, y)).map(|s| s.ring);
        assert_eq!((depth(10, 15), depth(12, 15), depth(15, 15)), (Some(1), Some(3), Some(4)));
        assert_eq!((out(9, 15), out(6, 6), out(5, 15), out(8, 15)), (Some(1), Some(4), None, None));
        assert_eq!(hole.inside.len(), 121);
        assert_eq!(hole.rim.len(), 19 * 19 - 121 - 1);
        assert_eq!(hole.bounds(), Rect::new(10, 10, 21, 21));
    }

    #[test]
    fn the_frames_border_is_no_edge_of_the_hole() {
        let mask = RunMask::from_rect(&Rect::new(0, 0, 6, 40));
        let hole = Hole::new(&mask, &Plane::new(40, 40)).unwrap();
        let depth = |x, y| hole.inside.iter().find(|s| (s.x, s.y) == (x, y)).map(|s| s.ring);
        assert_eq!((depth(5, 0), depth(2, 0), depth(0, 20)), (Some(1), Some(4), Some(4)));
    }
}

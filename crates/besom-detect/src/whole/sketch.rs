//! A frame reduced to what damage of the whole frame is seen by.

use besom_scan::Plane;

use crate::prepare::luma_of;

/// Columns of a sketch, at most.
pub(super) const COLUMNS: usize = 128;
/// Side of a tile that is kept at full size, in pixels.
pub(super) const TILE: usize = 40;
/// Tiles along the width and along the height.
const TILES: (usize, usize) = (4, 3);
/// Strips of columns over which rows at the edges are averaged.
pub(crate) const STRIPS: usize = 48;
/// Share of the height at either edge that is kept row by row: where a splice's marks lie.
const EDGE: f32 = 0.12;
/// Samples that are taken along each side of a cell, at most: 16 in three channels leave a fifth of the grain.
const TAPS: usize = 4;

/// Mean luma of square cells, and a few tiles of the frame at full size, whose grain tells one frame from another.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    luma: Plane,
    tiles: Vec<Plane>,
    edges: Option<[Plane; 2]>,
    cell: usize,
    width: usize,
    height: usize,
}

impl Sketch {
    /// Reduces a frame: one or three planes of one size. `None` when there is none, or it is smaller than a few cells.
    pub fn new(planes: &[Plane]) -> Option<Self> {
        let first = planes.first()?;
        let (width, height) = (first.width(), first.height());
        if width < 32 || height < 24 || planes.iter().any(|p| p.width() != width || p.height() != height) {
            return None;
        }
        let cell = width.div_ceil(COLUMNS);
        let step = cell.div_ceil(TAPS);
        let taps: Vec<usize> = (step / 2..cell).step_by(step).collect();
        let (columns, rows) = (width / cell, height / cell);
        let mut luma = Plane::new(columns, rows);
        let share = 1.0 / (taps.len() * taps.len()) as f32;
        for r in 0..rows {
            for tap in &taps {
                let line = Line::of(planes, r * cell + tap);
                for (c, out) in luma.row_mut(r).iter_mut().enumerate() {
                    *out += share * taps.iter().map(|t| line.at(c * cell + t)).sum::<f32>();
                }
            }
        }
        Some(Self {
            luma,
            tiles: tiles(planes, width, height),
            edges: edges(planes, width, height),
            cell,
            width,
            height,
        })
    }

    /// Mean luma of the cells, analysis codes.
    pub fn luma(&self) -> &Plane {
        &self.luma
    }

    /// Luma of the tiles at full size, at the same places in every frame of a size.
    pub fn tiles(&self) -> &[Plane] {
        &self.tiles
    }

    /// The rows at the upper and at the lower edge, each averaged over [`STRIPS`] strips of columns; `None` when the frame
    /// is too small for them.
    pub(crate) fn edges(&self) -> Option<&[Plane; 2]> {
        self.edges.as_ref()
    }

    /// Pixels along a cell's side.
    pub fn cell(&self) -> usize {
        self.cell
    }

    /// Columns and rows of the frame.
    pub fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// Mean level of the frame.
    pub fn level(&self) -> f32 {
        let luma = self.luma.as_slice();
        luma.iter().sum::<f32>() / luma.len().max(1) as f32
    }
}

/// A row of luma without storing it.
enum Line<'a> {
    Grey(&'a [f32]),
    Colour([&'a [f32]; 3]),
}

impl<'a> Line<'a> {
    fn of(planes: &'a [Plane], y: usize) -> Self {
        match planes {
            [red, green, blue] => Self::Colour([red.row(y), green.row(y), blue.row(y)]),
            _ => Self::Grey(planes[0].row(y)),
        }
    }

    fn at(&self, x: usize) -> f32 {
        match self {
            Self::Grey(row) => row[x],
            Self::Colour([red, green, blue]) => luma_of(red[x], green[x], blue[x]),
        }
    }
}

fn tiles(planes: &[Plane], width: usize, height: usize) -> Vec<Plane> {
    let (across, down) = TILES;
    if width < across * TILE || height < down * TILE {
        return Vec::new();
    }
    let start = |k: usize, count: usize, size: usize| (2 * k + 1) * size / (2 * count) - TILE / 2;
    let mut tiles = Vec::with_capacity(across * down);
    for j in 0..down {
        for i in 0..across {
            let (x0, y0) = (start(i, across, width), start(j, down, height));
            let mut tile = Plane::new(TILE, TILE);
            for y in 0..TILE {
                let line = Line::of(planes, y0 + y);
                for (x, out) in tile.row_mut(y).iter_mut().enumerate() {
                    *out = line.at(x0 + x);
                }
            }
            tiles.push(tile);
        }
    }
    tiles
}

fn edges(planes: &[Plane], width: usize, height: usize) -> Option<[Plane; 2]> {
    let rows = (EDGE * height as f32) as usize;
    if width < 2 * STRIPS || rows < 8 {
        return None;
    }
    // Twenty samples a strip leave a quarter of the grain.
    let step = (width / STRIPS / 20).max(1);
    Some([0, height - rows].map(|top| {
        let mut means = Plane::new(STRIPS, rows);
        for y in 0..rows {
            let line = Line::of(planes, top + y);
            for (s, out) in means.row_mut(y).iter_mut().enumerate() {
                let columns = (s * width / STRIPS..(s + 1) * width / STRIPS).step_by(step);
                let count = columns.len();
                *out = columns.map(|x| line.at(x)).sum::<f32>() / count.max(1) as f32;
            }
        }
        means
    }))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn cells_hold_the_mean_of_their_pixels() {
        let plane = Plane::from_fn(2048, 320, |x, y| (x / 16) as f32 + 100.0 * (y / 16) as f32);
        let sketch = Sketch::new(std::slice::from_ref(&plane)).unwrap();
        assert_eq!((sketch.luma().width(), sketch.luma().height(), sketch.cell()), (128, 20, 16));
        assert_eq!(sketch.luma().at(7, 3), 307.0);
        assert_eq!(sketch.tiles().len(), 12);
        assert_eq!(sketch.tiles()[0].at(0, 0), plane.at(256 - 20, 53 - 20));
    }

    #[test]
    fn what_is_no_frame_has_no_sketch() {
        assert_eq!(Sketch::new(&[]), None);
        assert_eq!(Sketch::new(&[Plane::new(8, 8)]), None);
        assert_eq!(Sketch::new(&[Plane::new(64, 64), Plane::new(64, 63), Plane::new(64, 64)]), None);
    }
}

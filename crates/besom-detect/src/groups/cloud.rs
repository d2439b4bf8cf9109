//! Dense clouds of particles: places of one frame where marks stand far closer than elsewhere in it.
//!
//! Density-based grouping after Ester, Kriegel, Sander and Xu, "A density-based algorithm for discovering clusters in
//! large spatial databases with noise" (KDD 1996): marks with enough others around them are cores, cores within reach of
//! each other are one group, and marks within reach of a core belong to it. Here a mark counts with its confidence, and
//! how many are enough follows from how many the frame itself would put there: a frame that is dirty all over is no
//! cloud. Nor is a place that is as dense in both neighbouring frames, since a cloud lies on one frame and what stays
//! there belongs to the picture.

use std::collections::BTreeSet;

use super::{Group, GroupKind};
use crate::candidate::{Candidate, Kind};

/// Reach of a mark as a share of the frame's width, on a frame with little dirt: the width of a dense cloud is a few
/// hundredths of it.
const WIDEST_REACH: f32 = 0.04;
/// On a dirtier frame the reach shrinks until a disc of it holds this many marks of the frame's usual density.
const USUAL_IN_REACH: f32 = 1.5;
/// The reach never falls below this share of the width.
const NARROWEST_REACH: f32 = 0.01;
/// Columns of the grid whose emptier cells tell the frame's usual density.
const COLUMNS: usize = 10;
/// Share of the cells that a cloud may cover without being taken for what is usual.
const CLOUDED: f32 = 0.35;
/// A core holds its usual number of marks, this many standard deviations of it, and a few marks more.
const DEVIATIONS: f32 = 4.0;
const MORE: f32 = 4.0;
/// Least sum of confidences of a cloud. Fewer can be decided one by one.
const LEAST_SUM: f32 = 15.0;

/// The clouds of every frame, in order. Candidates that are `taken` are left out.
pub(super) fn clouds(
    frames: &[(u64, &[Candidate])],
    size: (usize, usize),
    taken: &BTreeSet<(u64, usize)>,
) -> Vec<Group> {
    let fields: Vec<Field> = frames.iter().map(|(number, list)| Field::of(*number, list, size, taken)).collect();
    let mut found = Vec::new();
    for (place, field) in fields.iter().enumerate() {
        if field.sum < LEAST_SUM {
            continue;
        }
        let beside = |at: Option<usize>, number: Option<u64>| {
            at.and_then(|at| fields.get(at)).filter(|other| Some(other.number) == number)
        };
        let before = beside(place.checked_sub(1), field.number.checked_sub(1));
        let after = beside(place.checked_add(1), field.number.checked_add(1));
        found.extend(field.clouds([before, after]));
    }
    found
}

/// One mark: its middle, and how much it counts.
struct Mark {
    x: f32,
    y: f32,
    weight: f32,
    /// Place in the frame's list.
    index: usize,
}

/// The marks of one frame in square cells as wide as the reach.
struct Field {
    number: u64,
    marks: Vec<Mark>,
    sum: f32,
    reach: f32,
    /// Marks that a disc of the reach holds where nothing is unusual.
    usual: f32,
    columns: usize,
    rows: usize,
    /// Places in `marks` by cell, and where each cell's begin.
    sorted: Vec<usize>,
    starts: Vec<usize>,
}

impl Field {
    fn of(number: u64, list: &[Candidate], (width, height): (usize, usize), taken: &BTreeSet<(u64, usize)>) -> Self {
        let marks: Vec<Mark> = list
            .iter()
            .enumerate()
            .filter(|(index, c)| matches!(c.kind, Kind::Dust | Kind::Hair) && !taken.contains(&(number, *index)))
            .map(|(index, c)| {
                let b = c.bounds();
                let middle = ((b.x0 + b.x1) as f32 / 2.0, (b.y0 + b.y1) as f32 / 2.0);
                Mark { x: middle.0, y: middle.1, weight: c.confidence, index }
            })
            .collect();
        let sum = marks.iter().map(|m| m.weight).sum();
        let density = usual_density(&marks, width, height);
        let widest = WIDEST_REACH * width as f32;
        let reach = (USUAL_IN_REACH / (std::f32::consts::PI * density.max(f32::MIN_POSITIVE)))
            .sqrt()
            .clamp(NARROWEST_REACH * width as f32, widest)
            .max(1.0);
        let columns = (width as f32 / reach) as usize + 1;
        let rows = (height as f32 / reach) as usize + 1;
        let mut field = Self {
            number,
            marks,
            sum,
            reach,
            usual: std::f32::consts::PI * reach * reach * density,
            columns,
            rows,
            sorted: Vec::new(),
            starts: Vec::new(),
        };
        field.sort_into_cells();
        field
    }

    fn cell(&self, x: f32, y: f32) -> (usize, usize) {
        let at = |v: f32, cells: usize| ((v.max(0.0) / self.reach) as usize).min(cells - 1);
        (at(x, self.columns), at(y, self.rows))
    }

    fn sort_into_cells(&mut self) {
        let cells: Vec<usize> = self
            .marks
            .iter()
            .map(|m| {
                let (column, row) = self.cell(m.x, m.y);
                row * self.columns + column
            })
            .collect();
        self.starts = vec![0; self.columns * self.rows + 1];
        for cell in &cells {
            self.starts[cell + 1] += 1;
        }
        for cell in 1..self.starts.len() {
            self.starts[cell] += self.starts[cell - 1];
        }
        // Stable, so that within a cell the order of the list stays.
        self.sorted = (0..self.marks.len()).collect();
        self.sorted.sort_by_key(|m| cells[*m]);
    }

    /// The marks within `reach` (not larger than the field's) of a place, in an order that only the candidates decide,
    /// with their squared distances.
    fn around(&self, x: f32, y: f32, reach: f32) -> impl Iterator<Item = (usize, f32)> + '_ {
        let ((left, top), (right, bottom)) = (self.cell(x - reach, y - reach), self.cell(x + reach, y + reach));
        (top..=bottom)
            .flat_map(move |row| {
                let cells = row * self.columns + left..row * self.columns + right + 1;
                &self.sorted[self.starts[cells.start]..self.starts[cells.end]]
            })
            .filter_map(move |m| {
                let (dx, dy) = (self.marks[*m].x - x, self.marks[*m].y - y);
                let distance = dx * dx + dy * dy;
                (distance <= reach * reach).then_some((*m, distance))
            })
    }

    fn weight_around(&self, x: f32, y: f32, reach: f32) -> f32 {
        self.around(x, y, reach).map(|(m, _)| self.marks[m].weight).sum()
    }

    /// True when far more marks are around this one than the frame and its neighbours would put there.
    fn is_core(&self, mark: &Mark, beside: [Option<&Self>; 2]) -> bool {
        let enough = |usual: f32| usual + DEVIATIONS * usual.sqrt() + MORE;
        let here = self.weight_around(mark.x, mark.y, self.reach);
        if here < enough(self.usual) {
            return false;
        }
        // Twice as wide a disc, because the picture may have moved and few marks are a rough measure.
        let there = |field: &Self| field.weight_around(mark.x, mark.y, 2.0 * self.reach) / 4.0;
        let least = beside.into_iter().flatten().map(there).fold(f32::INFINITY, f32::min);
        !least.is_finite() || here >= enough(least)
    }

    fn clouds(&self, beside: [Option<&Self>; 2]) -> Vec<Group> {
        let core: Vec<bool> = self.marks.iter().map(|m| self.is_core(m, beside)).collect();
        let mut cloud_of: Vec<Option<usize>> = vec![None; self.marks.len()];
        let mut clouds = 0;
        for first in 0..self.marks.len() {
            if !core[first] || cloud_of[first].is_some() {
                continue;
            }
            cloud_of[first] = Some(clouds);
            let mut open = vec![first];
            while let Some(at) = open.pop() {
                let mark = &self.marks[at];
                for (other, _) in self.around(mark.x, mark.y, self.reach) {
                    if core[other] && cloud_of[other].is_none() {
                        cloud_of[other] = Some(clouds);
                        open.push(other);
                    }
                }
            }
            clouds += 1;
        }
        for at in (0..self.marks.len()).filter(|at| !core[*at]) {
            cloud_of[at] = self.nearest_core(at, &core).and_then(|nearest| cloud_of[nearest]);
        }
        (0..clouds).filter_map(|cloud| self.group(&cloud_of, cloud)).collect()
    }

    /// The core nearest to a mark within its reach; of equally near ones the first.
    fn nearest_core(&self, at: usize, core: &[bool]) -> Option<usize> {
        let mark = &self.marks[at];
        let cores = self.around(mark.x, mark.y, self.reach).filter(|(other, _)| core[*other]);
        cores.min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0))).map(|(other, _)| other)
    }

    fn group(&self, cloud_of: &[Option<usize>], cloud: usize) -> Option<Group> {
        let members: Vec<&Mark> =
            self.marks.iter().zip(cloud_of).filter(|(_, c)| **c == Some(cloud)).map(|(m, _)| m).collect();
        let sum: f32 = members.iter().map(|m| m.weight).sum();
        (sum >= LEAST_SUM).then(|| Group {
            kind: GroupKind::Cloud,
            confidence: sum / members.len().max(1) as f32,
            members: members.into_iter().map(|m| (self.number, m.index)).collect(),
        })
    }
}

/// Marks a pixel in the emptier part of the frame.
fn usual_density(marks: &[Mark], width: usize, height: usize) -> f32 {
    let side = (width as f32 / COLUMNS as f32).max(1.0);
    let rows = ((height as f32 / side).round() as usize).max(1);
    let mut cells = vec![0f32; COLUMNS * rows];
    let at = |v: f32, length: usize, cells: usize| ((v / length.max(1) as f32 * cells as f32) as usize).min(cells - 1);
    for mark in marks {
        cells[at(mark.y, height, rows) * COLUMNS + at(mark.x, width, COLUMNS)] += mark.weight;
    }
    cells.sort_by(f32::total_cmp);
    let kept = ((cells.len() as f32 * (1.0 - CLOUDED)) as usize).max(1);
    let mean = cells[..kept].iter().sum::<f32>() / kept as f32;
    mean * cells.len() as f32 / (width * height).max(1) as f32
}

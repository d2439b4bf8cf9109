//! Dense clouds of particles: places of one frame where marks stand far closer than elsewhere in it.
//!
//! Density-based grouping after Ester, Kriegel, Sander and Xu, "A density-based algorithm for discovering clusters in
//! large spatial databases with noise" (KDD 1996): marks with enough others around them are cores, cores within reach of
//! each other are one group, and marks within reach of a core belong to it. Here a mark counts by its confidence; a
//! group needs a place far too crowded to be chance, and goes on from there to where the crowd thins out; and what is
//! crowded follows from how many marks the frame itself would put there: a frame that is dirty all over is no cloud. Nor
//! is a place that is as crowded in both neighbouring frames, since a cloud lies on one frame and what stays belongs to
//! the picture.

use std::collections::BTreeSet;

use super::{Group, GroupKind};
use crate::candidate::{Candidate, Kind};

/// Reach of a mark as a share of the frame's width, on a frame with little dirt. A cloud is a few hundredths to a quarter
/// of it wide.
const WIDEST_REACH: f32 = 0.06;
/// On a dirtier frame the reach shrinks until a disc of it holds this many marks of the frame's usual density.
const USUAL_IN_REACH: f32 = 1.5;
/// The reach never falls below this share of the width.
const NARROWEST_REACH: f32 = 0.01;
/// Columns of the grid whose emptier cells tell the frame's usual density.
const COLUMNS: usize = 10;
/// Share of the cells that a cloud may cover without being taken for what is usual.
const CLOUDED: f32 = 0.35;
/// A cloud begins where a disc holds its usual number of marks, this many standard deviations of it, and this many marks
/// more. Of 2000 frames with 200 evenly strewn marks each, 13 held a place that passes for a cloud; a usual
/// density corrected for being drawn from the emptier cells would hold fewer, and found 69 of 91 clouds instead of 75.
const BEGINS: (f32, f32) = (4.0, 4.0);
/// From there it goes on to where the crowd thins out to this.
const GOES_ON: (f32, f32) = (2.0, 2.0);
/// A mark counts with this many times its confidence, at most as one: next to a cut the detector is less sure of every mark,
/// which makes their crowd no thinner.
const FULL: f32 = 1.5;
/// Least sum of confidences of a cloud. Fewer can be decided one by one.
const LEAST_SUM: f32 = 12.0;

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

/// How crowded a mark's surroundings are.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Crowding {
    /// As anywhere in the frame.
    Usual,
    /// Enough for a cloud that begins elsewhere.
    GoesOn,
    /// Enough for a cloud.
    Begins,
}

/// One mark: its middle, and how much it counts.
struct Mark {
    x: f32,
    y: f32,
    weight: f32,
    confidence: f32,
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
                Mark {
                    x: middle.0,
                    y: middle.1,
                    weight: (FULL * c.confidence).min(1.0),
                    confidence: c.confidence,
                    index,
                }
            })
            .collect();
        let sum = marks.iter().map(|m| m.confidence).sum();
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

    /// The marks within `reach` of a place, in an order that only the candidates decide, with their squared distances.
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

    /// How crowded the surroundings of a mark are against what the frame and its neighbours would put there.
    fn crowding(&self, mark: &Mark, beside: [Option<&Self>; 2]) -> Crowding {
        let here = self.weight_around(mark.x, mark.y, self.reach);
        // Also a disc twice as wide, because the picture may have moved and few marks are a rough measure.
        let there = |field: &Self| {
            let [near, wide] = [1.0, 2.0].map(|times| field.weight_around(mark.x, mark.y, times * self.reach));
            near.max(wide / 4.0)
        };
        let stays = beside.into_iter().flatten().map(there).reduce(f32::min).unwrap_or(0.0);
        let usual = self.usual.max(stays);
        let exceeds = |(deviations, more): (f32, f32)| here >= usual + deviations * usual.sqrt() + more;
        match (exceeds(BEGINS), exceeds(GOES_ON)) {
            (true, _) => Crowding::Begins,
            (false, true) => Crowding::GoesOn,
            (false, false) => Crowding::Usual,
        }
    }

    fn clouds(&self, beside: [Option<&Self>; 2]) -> Vec<Group> {
        let crowding: Vec<Crowding> = self.marks.iter().map(|m| self.crowding(m, beside)).collect();
        let mut cloud_of: Vec<Option<usize>> = vec![None; self.marks.len()];
        let mut clouds = 0;
        for first in 0..self.marks.len() {
            if crowding[first] != Crowding::Begins || cloud_of[first].is_some() {
                continue;
            }
            cloud_of[first] = Some(clouds);
            let mut open = vec![first];
            while let Some(at) = open.pop() {
                let mark = &self.marks[at];
                for (other, _) in self.around(mark.x, mark.y, self.reach) {
                    if crowding[other] != Crowding::Usual && cloud_of[other].is_none() {
                        cloud_of[other] = Some(clouds);
                        open.push(other);
                    }
                }
            }
            clouds += 1;
        }
        let cores = cloud_of.clone();
        for at in (0..self.marks.len()).filter(|at| cores[*at].is_none()) {
            cloud_of[at] = self.nearest(at, &cores);
        }
        (0..clouds).filter_map(|cloud| self.group(&cloud_of, cloud)).collect()
    }

    /// The cloud of the core nearest to a mark within its reach; of equally near ones the first.
    fn nearest(&self, at: usize, cores: &[Option<usize>]) -> Option<usize> {
        let mark = &self.marks[at];
        let near = self.around(mark.x, mark.y, self.reach).filter(|(other, _)| cores[*other].is_some());
        near.min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0))).and_then(|(other, _)| cores[other])
    }

    fn group(&self, cloud_of: &[Option<usize>], cloud: usize) -> Option<Group> {
        let members: Vec<&Mark> =
            self.marks.iter().zip(cloud_of).filter(|(_, c)| **c == Some(cloud)).map(|(m, _)| m).collect();
        let sum: f32 = members.iter().map(|m| m.confidence).sum();
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

#[cfg(test)]
mod tests {
    use besom_scan::{Rect, RunMask};
    use proptest::prelude::*;

    use super::*;
    use crate::candidate::{Origin, Polarity, Risk};
    use crate::groups::groups;

    const SIZE: (usize, usize) = (1000, 760);

    fn speck(x: f32, y: f32, confidence: f32) -> Candidate {
        let (x, y) = (x.clamp(0.0, 990.0) as i32, y.clamp(0.0, 750.0) as i32);
        Candidate {
            mask: RunMask::from_rect(&Rect::new(x, y, x + 3, y + 3)),
            kind: Kind::Dust,
            polarity: Polarity::Dark,
            confidence,
            risk: Risk::default(),
            origin: Origin::Film,
            peak: 8.0,
            reasons: Vec::new(),
        }
    }

    /// Numbers from 0 to 1 without a pattern (splitmix64).
    fn random(seed: u64) -> impl FnMut() -> f32 {
        let mut state = seed;
        move || {
            state = state.wrapping_add(0x9E37_79B9_7F4A_7C15);
            let mut z = state;
            z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((z ^ (z >> 31)) >> 40) as f32 / (1u64 << 24) as f32
        }
    }

    /// Marks strewn evenly over the frame.
    fn strewn(count: usize, seed: u64) -> Vec<Candidate> {
        let mut dice = random(seed);
        (0..count).map(|_| speck(dice() * 1000.0, dice() * 760.0, 0.9)).collect()
    }

    /// Marks crowded around a place, a bell of this standard deviation (sum of twelve evenly spread numbers).
    fn crowd(count: usize, (x, y): (f32, f32), spread: f32, seed: u64) -> Vec<Candidate> {
        let mut dice = random(seed);
        let mut bell = || (0..12).map(|_| dice()).sum::<f32>() - 6.0;
        (0..count).map(|_| speck(x + spread * bell(), y + spread * bell(), 0.9)).collect()
    }

    fn of_one_frame(list: &[Candidate]) -> Vec<Group> {
        groups(&[(7, list)], SIZE.0, SIZE.1)
    }

    #[test]
    fn a_crowd_among_strewn_marks_is_one_cloud() {
        for (spread, background) in [(20.0, 30), (40.0, 30), (60.0, 80)] {
            let mut list = crowd(150, (300.0, 400.0), spread, 1);
            list.extend(strewn(background, 2));
            let found = of_one_frame(&list);
            assert_eq!(found.len(), 1, "{spread}");
            let taken = found[0].members.iter().filter(|(_, index)| *index < 150).count();
            // A bell puts 95 of 100 marks within 2.4 standard deviations.
            assert!(taken >= 142, "{taken} of 150 at {spread}");
            let strays = found[0].members.len() - taken;
            let area = std::f32::consts::PI * (3.0 * spread + 60.0).powi(2) / (1000.0 * 760.0);
            assert!(strays as f32 <= 2.0 * area * background as f32 + 2.0, "{strays} at {spread}");
            assert!((found[0].confidence - 0.9).abs() < 1e-4);
        }
    }

    #[test]
    fn a_frame_that_is_dirty_all_over_is_no_cloud() {
        for seed in 0..20 {
            for count in [30, 100, 400, 1500] {
                assert_eq!(of_one_frame(&strewn(count, seed)), [], "{count} marks, seed {seed}");
            }
        }
    }

    #[test]
    fn two_crowds_are_two_clouds() {
        let mut list = crowd(80, (200.0, 200.0), 20.0, 1);
        list.extend(crowd(120, (700.0, 500.0), 25.0, 2));
        let sizes: Vec<usize> = of_one_frame(&list).iter().map(|g| g.members.len()).collect();
        assert_eq!(sizes, [80, 120]);
    }

    #[test]
    fn a_crowd_that_stays_belongs_to_the_picture() {
        let glitter: Vec<Vec<Candidate>> = (0..5).map(|n| crowd(120, (300.0, 400.0), 40.0, n)).collect();
        let frames: Vec<(u64, &[Candidate])> = (10..).zip(&glitter).map(|(n, list)| (n, list.as_slice())).collect();
        assert_eq!(groups(&frames, SIZE.0, SIZE.1), []);
        // The same on one frame, or on two that follow each other, is dirt.
        let clean = strewn(20, 9);
        for dirty in [vec![12], vec![12, 13]] {
            let at = |n: u64| if dirty.contains(&n) { &glitter[n as usize - 10] } else { &clean };
            let frames: Vec<(u64, &[Candidate])> = (10..15).map(|n| (n, at(n).as_slice())).collect();
            let found: Vec<u64> = groups(&frames, SIZE.0, SIZE.1).iter().map(|g| g.members[0].0).collect();
            assert_eq!(found, dirty);
        }
        // Frames that were not searched say nothing: 11 and 13 are missing.
        let apart: Vec<(u64, &[Candidate])> = frames.iter().step_by(2).copied().collect();
        assert_eq!(groups(&apart, SIZE.0, SIZE.1).len(), 3);
    }

    #[test]
    fn unlikely_marks_make_no_cloud_and_lines_are_in_none() {
        let mut list = crowd(150, (300.0, 400.0), 30.0, 1);
        for candidate in &mut list {
            candidate.confidence = 0.06;
        }
        assert_eq!(of_one_frame(&list), []);
        let mut list = crowd(150, (300.0, 400.0), 30.0, 1);
        list[3].kind = Kind::Line;
        list[4].kind = Kind::Hand;
        let members = &of_one_frame(&list)[0].members;
        assert!(!members.contains(&(7, 3)) && !members.contains(&(7, 4)));
    }

    proptest! {
        #[test]
        fn no_candidate_is_in_two_groups(
            places in proptest::collection::vec((0f32..1000.0, 0f32..760.0, 0.05f32..1.0), 0..120),
            crowds in proptest::collection::vec((0f32..1000.0, 0f32..760.0, 5f32..80.0, 10usize..150, any::<u64>()), 0..3),
        ) {
            let mut list: Vec<Candidate> = places.into_iter().map(|(x, y, c)| speck(x, y, c)).collect();
            for (x, y, spread, count, seed) in crowds {
                list.extend(crowd(count, (x, y), spread, seed));
            }
            let found = of_one_frame(&list);
            let members: Vec<usize> = found.iter().flat_map(|g| g.members.iter().map(|m| m.1)).collect();
            let distinct: BTreeSet<usize> = members.iter().copied().collect();
            prop_assert_eq!(distinct.len(), members.len());
            prop_assert!(found.is_sorted_by_key(|g| g.members[0]));
            prop_assert!(found.iter().all(|g| g.members.is_sorted() && g.members.len() as f32 >= LEAST_SUM));
        }
    }
}

//! What lasts over frames: line scratches followed from frame to frame, and marks that stay at one place of the gate.
//!
//! Both are pure functions of the candidates of one shot. A scratch continues on the film from the bottom of one frame to
//! the top of the next, so a slanted one is looked for where it left the frame, and an upright one, which wanders by a few
//! pixels, at the same column. A mark in the gate (a hair, dirt on the scanner's glass) covers the same pixels again and
//! again, which dirt on the film does by chance only. Where detection saw a mark stand still against the moving picture it says
//! so itself (`Origin::Gate`): such a mark needs fewer frames here and may be missing for longer.

use std::collections::BTreeSet;

use besom_scan::RunMask;

use crate::candidate::{Candidate, Kind, Origin, Polarity};
use crate::groups::{Group, GroupKind};
use crate::lines::straight;

/// Most frames that a scratch or a mark may be missing in between.
const MOST_MISSING: u64 = 3;
/// How far a scratch may wander from one frame to the next on a 2K scan, in pixels, besides half of its width.
const WANDER: f32 = 8.0;
/// Widths of one scratch differ by less than this factor.
const WIDTHS: f32 = 3.0;
/// The same for a mark that detection saw stand still: it cannot while the picture stands still as well.
const MOST_MISSING_FIXED: u64 = 24;
/// Fewest frames of a mark in the gate.
const FEWEST_GATE: usize = 5;
/// Fewest frames of one that detection saw stand still, which takes three frames each time.
const FEWEST_FIXED: usize = 2;
/// Least share of their common pixels that two frames' marks in the gate share.
const SAME_PLACE: f32 = 0.4;

/// The line scratches that last two frames or more and the marks in the gate, in no particular order. `frames` holds a
/// shot's frames in the order of their numbers; `width` and `height` are the frame's, in pixels. Candidates in `taken` are
/// left alone.
pub fn links(
    frames: &[(u64, &[Candidate])],
    (width, height): (usize, usize),
    taken: &BTreeSet<(u64, usize)>,
) -> Vec<Group> {
    let free = |number: u64, index: usize| !taken.contains(&(number, index));
    let mut found = scratches(frames, width as f32, height as f32, &free);
    found.extend(gate_marks(frames, &free));
    found
}

/// A line as a straight one: its column at row 0, its slope in pixels a row, its width, and the rows it spans.
#[derive(Clone, Copy, Debug)]
struct Straight {
    column: f32,
    slope: f32,
    width: f32,
    rows: (f32, f32),
}

impl Straight {
    fn of(mask: &RunMask) -> Option<Self> {
        let runs = mask.runs();
        let (first, last) = (runs.first()?, runs.last()?);
        let (column, slope) = straight(runs.iter().map(|r| (r.y as f32, 0.5 * (r.x0 + r.x1) as f32)));
        let rows = (first.y as f32, last.y as f32 + 1.0);
        Some(Self { column, slope, width: mask.area() as f32 / runs.len() as f32, rows })
    }

    fn at(&self, row: f32) -> f32 {
        self.column + self.slope * row
    }

    /// Whether one stands above the other: pieces of one line of one frame do.
    fn apart(&self, other: &Self) -> bool {
        self.rows.1 <= other.rows.0 || other.rows.1 <= self.rows.0
    }

    /// How far `next`, `frames` frames later, lies from where this line leads, in pixels.
    fn misses(&self, next: &Self, frames: f32, height: f32) -> f32 {
        // A short piece's slope says nothing: it is taken to be upright.
        let known = self.rows.1 - self.rows.0 > 0.3 * height;
        let slope = if known { self.slope } else { 0.0 };
        let row = 0.5 * (next.rows.0 + next.rows.1);
        let from = 0.5 * (self.rows.0 + self.rows.1);
        let upright = (self.at(from) + slope * (row - from) - next.at(row)).abs();
        let onward = (self.at(from) + slope * (row + frames * height - from) - next.at(row)).abs();
        upright.min(onward)
    }
}

/// A thing being followed: its members, and the newest of them.
struct Chain<T> {
    polarity: Polarity,
    members: Vec<(u64, usize)>,
    newest: Vec<T>,
    confidence: f32,
    area: f32,
    /// Whether detection saw any member stand still against the picture.
    fixed: bool,
}

impl<T> Chain<T> {
    fn of(number: u64, index: usize, c: &Candidate, shape: T) -> Self {
        let area = c.area() as f32;
        let members = vec![(number, index)];
        let fixed = c.origin == Origin::Gate;
        Self { polarity: c.polarity, members, newest: vec![shape], confidence: c.confidence * area, area, fixed }
    }

    /// Whether it has been missing for too long to go on at a frame.
    fn lost_by(&self, number: u64) -> bool {
        let most = if self.fixed { MOST_MISSING_FIXED } else { MOST_MISSING };
        self.last() + most + 1 < number
    }

    fn last(&self) -> u64 {
        self.members.last().map_or(0, |m| m.0)
    }

    fn add(&mut self, number: u64, index: usize, c: &Candidate, shape: T) {
        if self.last() != number {
            self.newest.clear();
        }
        self.members.push((number, index));
        self.newest.push(shape);
        self.confidence += c.confidence * c.area() as f32;
        self.area += c.area() as f32;
        self.fixed |= c.origin == Origin::Gate;
    }

    /// The chain as a group: its confidence is the mean of its members', each as heavy as its area.
    fn group(mut self, kind: GroupKind) -> Group {
        self.members.sort_unstable();
        Group { kind, members: self.members, confidence: self.confidence / self.area.max(1.0) }
    }

    fn frames(&self) -> usize {
        self.members.iter().map(|m| m.0).collect::<BTreeSet<_>>().len()
    }
}

fn scratches(
    frames: &[(u64, &[Candidate])],
    width: f32,
    height: f32,
    free: &impl Fn(u64, usize) -> bool,
) -> Vec<Group> {
    let wander = WANDER * (width / 2048.0).max(0.5);
    let mut chains: Vec<Chain<Straight>> = Vec::new();
    let mut done = Vec::new();
    for (number, candidates) in frames {
        done.extend(chains.extract_if(.., |c| c.lost_by(*number)));
        let lines: Vec<(usize, &Candidate, Straight)> = candidates
            .iter()
            .enumerate()
            .filter(|(k, c)| c.kind == Kind::Line && free(*number, *k))
            .filter_map(|(k, c)| Straight::of(&c.mask).map(|s| (k, c, s)))
            .collect();
        let mut pairs: Vec<(f32, usize, usize)> = Vec::new();
        for (i, chain) in chains.iter().enumerate() {
            let frames = (number - chain.last()) as f32;
            for (j, (_, c, line)) in lines.iter().enumerate().filter(|(_, l)| l.1.polarity == chain.polarity) {
                let nearest = chain.newest.iter().map(|s| s.misses(line, frames, height)).fold(f32::MAX, f32::min);
                let wide = chain.newest.iter().map(|s| s.width).fold(0.0, f32::max);
                let alike = wide < WIDTHS * line.width + 2.0 && line.width < WIDTHS * wide + 2.0;
                if alike && nearest <= frames * wander + 0.5 * wide && !c.mask.is_empty() {
                    pairs.push((nearest, i, j));
                }
            }
        }
        pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        let mut placed = vec![false; lines.len()];
        for (_, i, j) in pairs {
            let (index, candidate, line) = lines[j];
            let chain = &mut chains[i];
            if !placed[j] && (chain.last() < *number || chain.newest.iter().all(|s| s.apart(&line))) {
                placed[j] = true;
                chain.add(*number, index, candidate, line);
            }
        }
        for (index, candidate, line) in lines.iter().enumerate().filter(|(j, _)| !placed[*j]).map(|(_, l)| l) {
            // The first frame of a broken line: its pieces stand above one another.
            let below = |s: &Straight| s.apart(line) && s.misses(line, 0.0, height) <= wander + 0.5 * s.width;
            let begun = chains.iter_mut().find(|chain| {
                chain.polarity == candidate.polarity && chain.last() == *number && chain.newest.iter().all(below)
            });
            match begun {
                Some(chain) => chain.add(*number, *index, candidate, *line),
                None => chains.push(Chain::of(*number, *index, candidate, *line)),
            }
        }
    }
    done.extend(chains);
    done.into_iter().filter(|c| c.frames() >= 2).map(|c| c.group(GroupKind::Line)).collect()
}

fn gate_marks(frames: &[(u64, &[Candidate])], free: &impl Fn(u64, usize) -> bool) -> Vec<Group> {
    let mut chains: Vec<Chain<RunMask>> = Vec::new();
    let mut done = Vec::new();
    for (number, candidates) in frames {
        done.extend(chains.extract_if(.., |c| c.lost_by(*number)));
        let marks = candidates
            .iter()
            .enumerate()
            .filter(|(k, c)| matches!(c.kind, Kind::Dust | Kind::Hair) && free(*number, *k));
        for (index, mark) in marks {
            let best = chains
                .iter()
                .enumerate()
                .filter(|(_, c)| c.polarity == mark.polarity && c.last() < *number)
                .map(|(i, c)| (i, c.newest.first().map_or(0.0, |m| same_place(c.fixed, m, mark))))
                .filter(|(_, share)| *share >= SAME_PLACE)
                .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
            match best {
                Some((i, _)) => chains[i].add(*number, index, mark, mark.mask.clone()),
                None => chains.push(Chain::of(*number, index, mark, mark.mask.clone())),
            }
        }
    }
    done.extend(chains);
    let lasts = |c: &Chain<RunMask>| c.frames() >= if c.fixed { FEWEST_FIXED } else { FEWEST_GATE };
    done.into_iter().filter(lasts).map(|c| c.group(GroupKind::Gate)).collect()
}

/// How much of one place two marks take, 0 to 1. Of a mark that was seen to stand still, another frame may show a part only.
fn same_place(fixed: bool, before: &RunMask, mark: &Candidate) -> f32 {
    let both = shared(before, &mark.mask);
    if fixed && mark.origin == Origin::Gate && both > 0.0 {
        before.overlap(&mark.mask) as f32 / before.area().min(mark.area()).max(1) as f32
    } else {
        both
    }
}

/// Pixels that both masks share, as a share of those that either has.
fn shared(a: &RunMask, b: &RunMask) -> f32 {
    if a.bounds().intersect(&b.bounds()).is_empty() {
        return 0.0;
    }
    let both = a.overlap(b) as f32;
    both / (a.area() as f32 + b.area() as f32 - both)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use besom_scan::{Rect, Run};

    use super::*;
    use crate::candidate::Risk;

    const SIZE: (usize, usize) = (400, 300);

    fn candidate(kind: Kind, polarity: Polarity, mask: RunMask) -> Candidate {
        let confidence = if kind == Kind::Line { 0.6 } else { 0.3 };
        Candidate {
            mask,
            kind,
            polarity,
            confidence,
            risk: Risk::default(),
            origin: Origin::Film,
            peak: 5.0,
            reasons: Vec::new(),
        }
    }

    /// A line from row `a` to row `b` whose column at row 0 is `x`, three pixels wide.
    fn line(polarity: Polarity, x: f32, slope: f32, (a, b): (u32, u32)) -> Candidate {
        let run = |y: u32| {
            let x0 = (x + slope * y as f32).round() as u32;
            Run { y, x0, x1: x0 + 3 }
        };
        candidate(Kind::Line, polarity, RunMask::from_runs((a..b).map(run).collect()))
    }

    fn linked(frames: &[(u64, Vec<Candidate>)]) -> Vec<Group> {
        let frames: Vec<(u64, &[Candidate])> = frames.iter().map(|(n, c)| (*n, c.as_slice())).collect();
        links(&frames, SIZE, &BTreeSet::new())
    }

    #[test]
    fn a_drifting_line_is_one_over_a_gap_and_apart_from_its_neighbours() {
        use Polarity::{Bright, Dark};
        let frames: Vec<(u64, Vec<Candidate>)> = (0..10)
            .map(|n| {
                let drift = 1.5 * n as f32;
                let mut all = vec![line(Dark, 300.0, 0.0, (0, 300))];
                // In two pieces on every frame, and missing on frames 4 and 5.
                if !(4..6).contains(&n) {
                    all.push(line(Bright, 100.0 + drift, 0.0, (0, 120)));
                    all.push(line(Bright, 100.0 + drift, 0.0, (180, 300)));
                }
                // Near the first, and of the other polarity.
                all.push(line(Dark, 106.0 + drift, 0.0, (0, 300)));
                (n, all)
            })
            .collect();
        let mut sizes: Vec<usize> = linked(&frames).iter().map(|g| g.members.len()).collect();
        sizes.sort_unstable();
        assert_eq!(sizes, vec![10, 10, 16]);
        assert!(linked(&frames).iter().all(|g| g.kind == GroupKind::Line && (g.confidence - 0.6).abs() < 1e-5));
    }

    #[test]
    fn a_slanted_line_goes_on_where_it_left_the_frame() {
        // Three degrees: the next frame shows it 0.0524 * 300 = 15.7 pixels further.
        let slope = 3.0f32.to_radians().tan();
        let frames: Vec<(u64, Vec<Candidate>)> =
            (0..6).map(|n| (n, vec![line(Polarity::Dark, 60.0 + slope * 300.0 * n as f32, slope, (0, 300))])).collect();
        let groups = linked(&frames);
        assert_eq!(groups.len(), 1);
        assert_eq!(groups[0].members.len(), 6);
    }

    #[test]
    fn lines_that_share_nothing_are_not_joined() {
        let frames: Vec<(u64, Vec<Candidate>)> =
            (0..6).map(|n| (n, vec![line(Polarity::Dark, 20.0 + 60.0 * n as f32, 0.0, (0, 300))])).collect();
        assert!(linked(&frames).is_empty());
        // Gone for too long: two lines of one frame each.
        let far = [
            (0, vec![line(Polarity::Dark, 20.0, 0.0, (0, 300))]),
            (9, vec![line(Polarity::Dark, 20.0, 0.0, (0, 300))]),
        ];
        assert!(linked(&far).is_empty());
    }

    #[test]
    fn a_mark_at_one_place_is_in_the_gate_from_five_frames_on() {
        let speck = |x: i32| candidate(Kind::Dust, Polarity::Dark, RunMask::from_rect(&Rect::new(x, 50, x + 6, 58)));
        let over = |count: u64, step: i32| -> Vec<(u64, Vec<Candidate>)> {
            (0..count).map(|n| (2 * n, vec![speck(300 - 20 * n as i32), speck(40 + step * n as i32)])).collect()
        };
        let groups = linked(&over(5, 0));
        assert_eq!(groups.len(), 1);
        assert_eq!(groups[0].kind, GroupKind::Gate);
        assert_eq!(groups[0].members, (0..5).map(|n| (2 * n, 1)).collect::<Vec<_>>());
        assert!(linked(&over(4, 0)).is_empty(), "four frames may be chance");
        assert!(linked(&over(8, 3)).is_empty(), "what moves by half of its size is not in the gate");
    }

    #[test]
    fn a_mark_that_detection_saw_stand_still_needs_two_frames_and_survives_a_still_second() {
        let fixed = |x: i32, wide: i32| {
            let mark = candidate(Kind::Hair, Polarity::Dark, RunMask::from_rect(&Rect::new(x, 50, x + wide, 53)));
            Candidate { origin: Origin::Gate, ..mark }
        };
        // A part of it is seen again twenty frames later.
        let groups = linked(&[(0, vec![fixed(40, 60)]), (20, vec![fixed(46, 20)])]);
        assert_eq!(groups.len(), 1);
        assert_eq!((groups[0].kind, groups[0].members.clone()), (GroupKind::Gate, vec![(0, 0), (20, 0)]));
        assert!(linked(&[(0, vec![fixed(40, 60)]), (26, vec![fixed(40, 60)])]).is_empty(), "a second and more");
        assert!(linked(&[(0, vec![fixed(40, 60)]), (3, vec![fixed(130, 60)])]).is_empty(), "at another place");
        // The same marks as dirt of the film are too few.
        let film = |x: i32| Candidate { origin: Origin::Film, ..fixed(x, 60) };
        assert!(linked(&[(0, vec![film(40)]), (2, vec![film(40)])]).is_empty());
    }

    #[test]
    fn what_is_taken_is_left_alone() {
        let frames: Vec<(u64, Vec<Candidate>)> =
            (0..4).map(|n| (n, vec![line(Polarity::Dark, 20.0, 0.0, (0, 300))])).collect();
        let frames: Vec<(u64, &[Candidate])> = frames.iter().map(|(n, c)| (*n, c.as_slice())).collect();
        let taken = BTreeSet::from([(1, 0)]);
        let groups = links(&frames, SIZE, &taken);
        assert_eq!(groups[0].members, vec![(0, 0), (2, 0), (3, 0)]);
    }
}

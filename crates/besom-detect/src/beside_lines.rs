//! Marks that touch a line scratch, apart from it.
//!
//! Where the picture moves, a scratch stands out from both neighbours as dirt does: a speck or a hair that touches it is one
//! object with it from the top of the frame to its bottom, and would vanish into the line.

use besom_scan::{Plane, Run, RunMask};

use crate::components::{Component, Thresholds, connected};
use crate::evidence::Evidence;

/// What a line's edges make of the picture beside its mask, in pixels.
const HALO: u32 = 2;

/// Takes the pixels of `lines` out of the objects that touch them. What stands on both sides of a line in one row is one mark
/// across it and keeps the pixels between; what lies within two pixels of a line and belongs to nothing farther is the line's own.
pub(crate) fn apart(
    found: Vec<Component>,
    lines: &[&RunMask],
    evidence: &Evidence,
    thresholds: &Thresholds,
) -> Vec<Component> {
    if lines.is_empty() {
        return found;
    }
    let mut on_line = Plane::<u8>::new(evidence.spike.width(), evidence.spike.height());
    for line in lines {
        paint_wide(line, &mut on_line);
    }
    for line in lines {
        line.paint(&mut on_line, LINE);
    }
    let mut left = Vec::with_capacity(found.len());
    for component in found {
        if component.mask.pixels().any(|(x, y)| on_line.at(x as usize, y as usize) == LINE) {
            left.extend(remains(&component, &on_line, evidence, thresholds));
        } else {
            left.push(component);
        }
    }
    left
}

/// Values of a plane of lines: beside one, on one.
const BESIDE: u8 = 1;
const LINE: u8 = 2;

fn paint_wide(line: &RunMask, plane: &mut Plane<u8>) {
    let wide = line.runs().iter().map(|r| Run { y: r.y, x0: r.x0.saturating_sub(HALO), x1: r.x1 + HALO });
    RunMask::from_runs(wide.collect()).paint(plane, BESIDE);
}

/// The marks that a component leaves when the lines are taken from it.
fn remains(whole: &Component, on_line: &Plane<u8>, evidence: &Evidence, thresholds: &Thresholds) -> Vec<Component> {
    let at = |x: u32, y: u32| on_line.at(x as usize, y as usize);
    let free = RunMask::from_pixels(whole.mask.pixels().filter(|&(x, y)| at(x, y) == 0));
    let marks: Vec<RunMask> = connected(&free).into_iter().filter(|m| thresholds.seeded(m, evidence)).collect();
    let outside = RunMask::from_runs(marks.iter().flat_map(RunMask::runs).copied().collect());
    if outside.is_empty() {
        return Vec::new();
    }
    let rest = whole.mask.minus(&outside);
    let regained = rest.runs().iter().filter_map(|run| regained(*run, &outside, on_line));
    let marks = connected(&outside.union(&RunMask::from_runs(regained.collect())));
    let large = marks.into_iter().filter(|m| m.area() >= thresholds.area);
    large.map(|mask| Component::new(mask, whole.polarity)).collect()
}

/// What of a run on or beside a line belongs to the marks that it touches in its row.
fn regained(run: Run, marks: &RunMask, on_line: &Plane<u8>) -> Option<Run> {
    let left = run.x0 > 0 && marks.contains(run.x0 - 1, run.y);
    let right = marks.contains(run.x1, run.y);
    let is_line = |x: &u32| on_line.at(*x as usize, run.y as usize) == LINE;
    let regained = match (left, right) {
        (true, true) => run,
        (true, false) => Run { x1: (run.x0..run.x1).find(is_line).unwrap_or(run.x1), ..run },
        (false, true) => Run { x0: (run.x0..run.x1).rev().find(is_line).map_or(run.x0, |x| x + 1), ..run },
        (false, false) => return None,
    };
    (regained.x0 < regained.x1).then_some(regained)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::candidate::Polarity;

    /// A picture of letters: `#` a strong response, `.` none.
    fn evidence(rows: &[&str]) -> Evidence {
        let rows: Vec<&[u8]> = rows.iter().map(|r| r.as_bytes()).collect();
        let spike = Plane::from_fn(rows[0].len(), rows.len(), |x, y| if rows[y][x] == b'#' { 6.0 } else { 0.0 });
        let rank = spike.clone();
        Evidence { spike, rank }
    }

    fn columns(x0: u32, x1: u32, rows: u32) -> RunMask {
        RunMask::from_runs((0..rows).map(|y| Run { y, x0, x1 }).collect())
    }

    fn apart_from(rows: &[&str], line: &RunMask) -> Vec<RunMask> {
        let (evidence, thresholds) = (evidence(rows), Thresholds::default());
        let found = crate::components::components(&evidence, &thresholds);
        apart(found, &[line], &evidence, &thresholds).into_iter().map(|c| c.mask).collect()
    }

    #[test]
    fn a_speck_beside_a_line_is_a_mark_and_the_lines_ragged_edge_is_none() {
        let rows = [
            "....##........",
            "....###.......",
            "....#######...",
            "...########...",
            "....##..###...",
            "....##........",
        ];
        let marks = apart_from(&rows, &columns(4, 6, 6));
        assert_eq!(marks.len(), 1);
        // Up to the line, not into it.
        assert_eq!(
            marks[0],
            RunMask::from_pixels((2..5).flat_map(|y| (6..11).map(move |x| (x, y))).filter(|&(x, y)| y < 4 || x > 7))
        );
    }

    #[test]
    fn a_mark_across_a_line_stays_whole() {
        let rows = ["......##......", "......##......", "..##########..", "..##########..", "......##......"];
        let marks = apart_from(&rows, &columns(6, 8, 5));
        assert_eq!(marks, vec![RunMask::from_pixels((2..4).flat_map(|y| (2..12).map(move |x| (x, y))))]);
    }

    #[test]
    fn what_touches_no_line_is_left_alone() {
        let rows = ["##....##......", "##....##......", "......##...##.", "......##...##."];
        let found = crate::components::components(&evidence(&rows), &Thresholds::default());
        let marks = apart_from(&rows, &columns(6, 8, 4));
        let untouched: Vec<RunMask> = [&found[0], &found[2]].map(|c| c.mask.clone()).into();
        assert_eq!(marks, untouched);
        assert!(found.iter().all(|c| c.polarity == Polarity::Bright));
    }
}

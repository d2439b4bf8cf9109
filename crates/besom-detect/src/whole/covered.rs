//! A large part of a frame that neither neighbour knows, while they know each other.

use besom_scan::{Plane, Rect, RunMask};

use super::link::{BLOCK, Block};
use super::sketch::Sketch;
use super::{Link, Links, Odd, What};
use crate::candidate::{Polarity, Risk};

/// Difference from a neighbour, in codes of a block's mean, from which a block is odd.
const ODD: f32 = 24.0;
/// Share of the frame that makes a region large.
const LARGE: f32 = 0.08;
/// Share of the frame from which the frame counts as lost.
const LOST: f32 = 0.9;

/// Whether a block's picture is not there in the other frame.
fn absent(block: &Block) -> bool {
    block.residue > ODD && block.residue > 0.5 * block.contrast
}

/// The large odd region of the current frame.
pub(super) fn find(links: &Links, current: &Sketch) -> Option<Odd> {
    let (across, count) = (links.back.across, links.back.blocks.len());
    let least = LARGE * count as f32;
    let raw: Vec<bool> =
        links.back.blocks.iter().zip(&links.ahead.blocks).map(|(b, a)| absent(b) && absent(a)).collect();
    if (raw.iter().filter(|o| **o).count() as f32) < least {
        return None;
    }
    let neighbours = links.between(1, 3)?;
    let odd: Vec<bool> = raw
        .iter()
        .zip(&neighbours.blocks)
        .zip(links.back.blocks.iter().zip(&links.ahead.blocks))
        .map(|((odd, known), (b, a))| *odd && known.residue < 0.5 * b.residue.min(a.residue))
        .collect();
    let region = largest(&odd, across);
    if (region.len() as f32) < least {
        return None;
    }
    judge(links, current, &neighbours, &region)
}

/// The largest set of odd blocks that touch by a side, in order.
fn largest(odd: &[bool], across: usize) -> Vec<usize> {
    let mut seen = vec![false; odd.len()];
    let mut best = Vec::new();
    for start in 0..odd.len() {
        if !odd[start] || seen[start] {
            continue;
        }
        let (mut region, mut open) = (Vec::new(), vec![start]);
        seen[start] = true;
        while let Some(at) = open.pop() {
            region.push(at);
            let x = at % across;
            let beside = [
                (x > 0).then(|| at - 1),
                (x + 1 < across).then_some(at + 1),
                at.checked_sub(across),
                Some(at + across).filter(|a| *a < odd.len()),
            ];
            for next in beside.into_iter().flatten() {
                if odd[next] && !seen[next] {
                    seen[next] = true;
                    open.push(next);
                }
            }
        }
        if region.len() > best.len() {
            best = region;
        }
    }
    best.sort_unstable();
    best
}

fn judge(links: &Links, current: &Sketch, neighbours: &Link, region: &[usize]) -> Option<Odd> {
    let (across, count) = (links.back.across, links.back.blocks.len());
    let share = region.len() as f32 / count as f32;
    let inside = |k: usize| region.binary_search(&k).is_ok();
    let previous = links.five[1]?;
    // Light changes the level and leaves the shapes.
    let told: Vec<&Block> = region.iter().map(|k| &links.back.blocks[*k]).filter(|b| b.contrast > 6.0).collect();
    let lit = told.iter().filter(|b| b.shape < 0.5 * b.contrast).count();
    let light = 2 * told.len() > region.len() && 10 * lit > 6 * told.len();
    // Motion disturbs the neighbours as well, or leaves the like of the region beside it.
    let disturbed = |link: Option<Link>| {
        link.map_or(0, |l| (0..count).filter(|k| l.blocks.get(*k).is_some_and(absent)).count()) as f32
    };
    let restless = (0..count).filter(|k| !inside(*k) && absent(&neighbours.blocks[*k])).count() as f32;
    let unrest = (restless + disturbed(links.between(1, 0)).max(disturbed(links.between(3, 4)))) / region.len() as f32;
    let found_again = reappears(links, current, region);
    if light && share > 0.6 {
        return None; // The whole frame is lit: a flash, not a cover.
    }
    let mut confidence: f32 = if share > 0.25 { 0.9 } else { 0.75 };
    confidence *= (1.0 - 1.5 * unrest).clamp(0.15, 1.0);
    if found_again || light {
        confidence = confidence.min(0.2);
    }
    let (contrast, bright) = signed(current, previous, region, across);
    let what = kind(current, region, across, share);
    let mut reasons = vec![
        format!("for: {:.0} % of the frame is in neither neighbouring frame", 100.0 * share),
        "for: the neighbouring frames agree with each other there".to_owned(),
    ];
    if unrest > 0.2 {
        reasons.push("against: the frames around it differ among themselves as well".to_owned());
    } else if found_again {
        reasons.push("against: its like stands nearby in a neighbouring frame".to_owned());
    } else if light {
        reasons.push("against: the shapes are the same, only the light differs".to_owned());
    }
    Some(Odd {
        what,
        confidence,
        region: if what == What::Lost { None } else { mask(links, current, region, across) },
        polarity: if bright { Polarity::Bright } else { Polarity::Dark },
        contrast,
        risk: Risk {
            neighbours_disagree: unrest > 0.2 || light,
            fast_motion: links.back.motion.length().max(links.ahead.motion.length()) > 2.0,
            reappears: found_again,
            ..Risk::default()
        },
        reasons,
    })
}

/// Torn film shows the lamp or nothing, at the border; all else is covered.
fn kind(current: &Sketch, region: &[usize], across: usize, share: f32) -> What {
    if share >= LOST {
        return What::Lost;
    }
    let down = current.luma().height() / BLOCK;
    let at_border = region.iter().any(|k| {
        let (x, y) = (k % across, k / across);
        x == 0 || y == 0 || x + 1 == across || y + 1 == down
    });
    let mut clear = 0usize;
    for k in region {
        let level = block_mean(current.luma(), *k, across);
        clear += usize::from(!(70.0..=880.0).contains(&level));
    }
    if at_border && 10 * clear > 8 * region.len() { What::Torn } else { What::Covered }
}

fn block_mean(luma: &Plane, block: usize, across: usize) -> f32 {
    let (x0, y0) = (block % across * BLOCK, block / across * BLOCK);
    let rows = (y0..y0 + BLOCK).map(|y| luma.row(y)[x0..x0 + BLOCK].iter().sum::<f32>());
    rows.sum::<f32>() / (BLOCK * BLOCK) as f32
}

/// Mean difference of the region from the previous frame, and its sign.
fn signed(current: &Sketch, previous: &Sketch, region: &[usize], across: usize) -> (f32, bool) {
    let sum: f32 =
        region.iter().map(|k| block_mean(current.luma(), *k, across) - block_mean(previous.luma(), *k, across)).sum();
    let mean = sum / region.len().max(1) as f32;
    (mean.abs(), mean > 0.0)
}

/// Whether most of the region's blocks that have shapes of their own stand farther away in a neighbour: a fast object.
fn reappears(links: &Links, current: &Sketch, region: &[usize]) -> bool {
    let across = links.back.across;
    let shaped: Vec<usize> = region.iter().copied().filter(|k| links.back.blocks[*k].contrast > 12.0).collect();
    if shaped.len() * 4 < region.len() {
        return false;
    }
    // A dozen of them are enough to say so, and keep the search cheap.
    let some: Vec<usize> = shaped.iter().copied().step_by(shaped.len().div_ceil(12)).collect();
    let again = |other: Option<&Sketch>| {
        other.map_or(0, |o| some.iter().filter(|k| stands_in(current.luma(), o.luma(), **k, across)).count())
    };
    2 * again(links.five[1]).max(again(links.five[3])) > some.len()
}

fn stands_in(a: &Plane, b: &Plane, block: usize, across: usize) -> bool {
    let (x0, y0) = (block % across * BLOCK, block / across * BLOCK);
    let own = block_mean(a, block, across);
    let contrast: f32 =
        (y0..y0 + BLOCK).map(|y| a.row(y)[x0..x0 + BLOCK].iter().map(|v| (v - own).abs()).sum::<f32>()).sum::<f32>();
    let from = |at: usize, reach: usize| at.saturating_sub(reach);
    let mut least = f32::INFINITY;
    for v in from(y0, 8)..=(y0 + 8).min(b.height() - BLOCK) {
        for u in from(x0, 40)..=(x0 + 40).min(b.width() - BLOCK) {
            let mut sum = 0.0;
            for j in 0..BLOCK {
                let there = &b.row(v + j)[u..u + BLOCK];
                sum += a.row(y0 + j)[x0..x0 + BLOCK].iter().zip(there).map(|(p, q)| (p - q).abs()).sum::<f32>();
            }
            least = least.min(sum);
        }
    }
    least < 0.4 * contrast
}

/// The region's pixels: the cells of its blocks, and of those beside it, that neither neighbour knows; its inner blocks whole.
fn mask(links: &Links, current: &Sketch, region: &[usize], across: usize) -> Option<RunMask> {
    let (a, before, after) = (current.luma(), links.five[1]?.luma(), links.five[3]?.luma());
    let (columns, rows) = (a.width(), a.height());
    let moved = |plane: &Plane, link: &Link, x: usize, y: usize| {
        let (dx, dy) = (link.motion.dx.round() as i32, link.motion.dy.round() as i32);
        plane.clamped(x as i32 + dx, y as i32 + dy)
    };
    let owns = |x: i32, y: i32| {
        let (i, j) = ((x / BLOCK as i32).min(across as i32 - 1), (y / BLOCK as i32).min((rows / BLOCK) as i32 - 1));
        x < 0 || y < 0 || region.binary_search(&(j as usize * across + i as usize)).is_ok()
    };
    let mut cells = Plane::<u8>::new(columns, rows);
    let reach = BLOCK as i32;
    for y in 0..rows {
        for x in 0..columns {
            let (u, v) = (x as i32, y as i32);
            let beside = [(u - reach, v), ((u + reach).min(columns as i32 - 1), v), (u, v - reach)];
            let sides =
                beside.iter().chain(&[(u, (v + reach).min(rows as i32 - 1))]).filter(|p| owns(p.0, p.1)).count();
            let step = (a.at(x, y) - moved(before, links.back, x, y))
                .abs()
                .min((a.at(x, y) - moved(after, links.ahead, x, y)).abs());
            let inside = if owns(u, v) { sides == 4 || step > 0.4 * ODD } else { sides > 0 && step > ODD };
            cells.set(x, y, u8::from(inside));
        }
    }
    let (cell, (width, height)) = (current.cell(), current.size());
    let mut runs = Vec::new();
    for run in RunMask::from_plane(&cells, 0, 0).grown(1, columns as u32, rows as u32).runs() {
        // The last cells reach to the border, whatever does not make a whole cell.
        let x1 = if run.x1 as usize == columns { width } else { run.x1 as usize * cell };
        let y1 = if run.y as usize + 1 == rows { height } else { (run.y as usize + 1) * cell };
        let rect = Rect::new((run.x0 as usize * cell) as i32, (run.y as usize * cell) as i32, x1 as i32, y1 as i32);
        runs.extend_from_slice(RunMask::from_rect(&rect).runs());
    }
    Some(RunMask::from_runs(runs))
}

//! The body of a chunk: reason texts, then scans with their candidates.

use std::collections::BTreeMap;

use besom_detect::{Candidate, Kind, Origin, Polarity, Risk};
use besom_scan::{Run, RunMask};

use super::super::packing::{Packer, Unpacker};
use super::{Chunk, ChunkHead};

const ORIGINS: [Origin; 3] = [Origin::Film, Origin::Gate, Origin::Scene];

/// Packs the frames; `None` when they are out of order, a mask leaves the frame or a number is none.
pub(super) fn pack(chunk: &Chunk) -> Option<Vec<u8>> {
    let all = || chunk.frames.iter().flat_map(|f| &f.1);
    let mut reasons: BTreeMap<&str, u64> = all().flat_map(|c| &c.reasons).map(|r| (r.as_str(), 0)).collect();
    let mut out = Packer::default();
    out.number(reasons.len() as u64);
    for (place, (text, index)) in reasons.iter_mut().enumerate() {
        *index = place as u64;
        out.text(text);
    }
    out.number(chunk.frames.len() as u64);
    let mut next = chunk.first;
    for (number, candidates) in &chunk.frames {
        out.number(number.checked_sub(next)?);
        next = number.checked_add(1)?;
        out.number(candidates.len() as u64);
        for candidate in candidates {
            pack_candidate(&mut out, candidate, &reasons, chunk)?;
        }
    }
    (next <= chunk.last.checked_add(1)?).then_some(out.bytes)
}

fn pack_candidate(out: &mut Packer, c: &Candidate, reasons: &BTreeMap<&str, u64>, chunk: &Chunk) -> Option<()> {
    if !(0.0..=1.0).contains(&c.confidence) || !c.peak.is_finite() {
        return None;
    }
    out.bytes.push(Kind::ALL.iter().position(|k| *k == c.kind)? as u8);
    out.bytes.push(u8::from(c.polarity == Polarity::Bright));
    out.bytes.push(risk_bits(c.risk));
    out.bytes.push(ORIGINS.iter().position(|o| *o == c.origin)? as u8);
    out.float(c.confidence);
    out.float(c.peak);
    out.number(c.reasons.len() as u64);
    for reason in &c.reasons {
        out.number(*reasons.get(reason.as_str())?);
    }
    pack_mask(out, &c.mask, chunk.width, chunk.height)
}

/// Rows as steps from the row before; in a new row columns count from 0, else from the end of the run before.
fn pack_mask(out: &mut Packer, mask: &RunMask, width: u32, height: u32) -> Option<()> {
    out.number(mask.runs().len() as u64);
    let (mut y, mut x) = (0, 0);
    for run in mask.runs() {
        if run.y >= height || run.x1 > width {
            return None;
        }
        if run.y != y {
            x = 0;
        }
        out.number(u64::from(run.y - y));
        out.number(u64::from(run.x0 - x));
        out.number(u64::from(run.x1 - run.x0));
        (y, x) = (run.y, run.x1);
    }
    Some(())
}

/// Unpacks the frames; `None` when the bytes make no sense.
pub(super) fn unpack(bytes: &[u8], head: &ChunkHead) -> Option<Vec<(u64, Vec<Candidate>)>> {
    let mut from = Unpacker::new(bytes);
    let mut reasons = Vec::with_capacity(from.count(1)?);
    for _ in 0..reasons.capacity() {
        reasons.push(from.text()?);
    }
    let mut frames = Vec::new();
    let mut next = head.first;
    for _ in 0..from.count(2)? {
        let number = next.checked_add(from.number()?).filter(|n| *n <= head.last)?;
        next = number.checked_add(1)?;
        // 4 bytes of classes, two floats, two counts: the least that a candidate takes.
        let count = from.count(14)?;
        let mut candidates = Vec::with_capacity(count);
        for _ in 0..count {
            candidates.push(unpack_candidate(&mut from, &reasons, head)?);
        }
        frames.push((number, candidates));
    }
    from.is_at_end().then_some(frames)
}

fn unpack_candidate(from: &mut Unpacker<'_>, reasons: &[&str], head: &ChunkHead) -> Option<Candidate> {
    let kind = *Kind::ALL.get(usize::from(from.byte()?))?;
    let polarity = match from.byte()? {
        0 => Polarity::Dark,
        1 => Polarity::Bright,
        _ => return None,
    };
    let risk = risk_of(from.byte()?)?;
    let origin = *ORIGINS.get(usize::from(from.byte()?))?;
    let confidence = from.float().filter(|c| (0.0..=1.0).contains(c))?;
    let peak = from.float().filter(|p| p.is_finite())?;
    let mut why = Vec::with_capacity(from.count(1)?);
    for _ in 0..why.capacity() {
        why.push((*reasons.get(from.small()? as usize)?).to_owned());
    }
    let mask = unpack_mask(from, head)?;
    Some(Candidate { mask, kind, polarity, confidence, risk, origin, peak, reasons: why })
}

fn unpack_mask(from: &mut Unpacker<'_>, head: &ChunkHead) -> Option<RunMask> {
    let count = from.count(3)?;
    let mut runs = Vec::with_capacity(count);
    let (mut y, mut x) = (0u32, 0u32);
    for _ in 0..count {
        let step = from.small()?;
        y = y.checked_add(step).filter(|y| *y < head.height)?;
        let x0 = if step > 0 { 0 } else { x }.checked_add(from.small()?)?;
        let x1 = x0.checked_add(from.small()?).filter(|x1| *x1 > x0 && *x1 <= head.width)?;
        runs.push(Run { y, x0, x1 });
        x = x1;
    }
    let mask = RunMask::from_runs(runs);
    // Runs that touch would be joined: then the file is not one that Besom wrote.
    (mask.runs().len() == count).then_some(mask)
}

fn risk_bits(risk: Risk) -> u8 {
    [risk.neighbours_disagree, risk.fast_motion, risk.reappears, risk.one_sided, risk.swarm]
        .iter()
        .enumerate()
        .map(|(bit, holds)| u8::from(*holds) << bit)
        .sum()
}

fn risk_of(bits: u8) -> Option<Risk> {
    let holds = |bit: u8| bits >> bit & 1 == 1;
    (bits < 32).then(|| Risk {
        neighbours_disagree: holds(0),
        fast_motion: holds(1),
        reappears: holds(2),
        one_sided: holds(3),
        swarm: holds(4),
    })
}

//! One mark, one candidate: what the temporal test found of a mark in the gate becomes part of it.

use crate::candidate::{Candidate, Kind};
use crate::detect::SURE;

/// Confidence from which a mark in the gate gives its origin to what the temporal test found there.
const TELLS: f32 = 0.35;

/// Joins `marks` in the gate to the other candidates of their frame, of `width` x `height` pixels. Where half of the smaller
/// one's pixels lie on the other or beside it, the two are one candidate with the higher confidence: in the gate when the mark
/// is believed, or believed more than the other; else the mark is dropped. Marks on a line scratch that is sure are part of it.
pub(crate) fn join(candidates: &mut Vec<Candidate>, marks: Vec<Candidate>, (width, height): (usize, usize)) {
    for mut mark in marks {
        let on_line = |c: &Candidate| {
            c.kind == Kind::Line && c.confidence >= SURE && 2 * c.mask.overlap(&mark.mask) > mark.area()
        };
        if candidates.iter().any(on_line) {
            continue;
        }
        // Two thin masks of one mark may lie beside each other for much of their length.
        let about = mark.mask.grown(1, width as u32, height as u32);
        let same = |c: &Candidate| {
            matches!(c.kind, Kind::Dust | Kind::Hair)
                && c.polarity == mark.polarity
                && 2 * c.mask.overlap(&about) >= c.area().min(mark.area())
        };
        let least = if mark.confidence >= TELLS { f32::MAX } else { mark.confidence };
        if candidates.iter().any(|c| c.confidence > least && same(c)) {
            continue;
        }
        let (part, rest): (Vec<Candidate>, Vec<Candidate>) = std::mem::take(candidates).into_iter().partition(same);
        *candidates = rest;
        for other in part {
            mark.confidence = mark.confidence.max(other.confidence);
            mark.peak = mark.peak.max(other.peak.abs());
            mark.mask = mark.mask.union(&other.mask);
        }
        candidates.push(mark);
    }
}

#[cfg(test)]
mod tests {
    use besom_scan::{Rect, RunMask};

    use super::*;
    use crate::candidate::{Origin, Polarity, Risk};

    fn candidate(kind: Kind, origin: Origin, rect: Rect, confidence: f32) -> Candidate {
        Candidate {
            mask: RunMask::from_rect(&rect),
            kind,
            polarity: Polarity::Dark,
            confidence,
            risk: Risk::default(),
            origin,
            peak: 5.0,
            reasons: Vec::new(),
        }
    }

    fn joined(others: &[Candidate], mark: Candidate) -> Vec<(Origin, f32, usize)> {
        let mut all = others.to_vec();
        join(&mut all, vec![mark], (300, 300));
        all.iter().map(|c| (c.origin, c.confidence, c.area())).collect()
    }

    #[test]
    fn a_mark_found_twice_is_one_candidate() {
        let mark = |p| candidate(Kind::Hair, Origin::Gate, Rect::new(10, 10, 40, 14), p);
        // Two pieces of it, one a little beside; and something else.
        let found = [
            candidate(Kind::Dust, Origin::Film, Rect::new(10, 9, 20, 13), 0.8),
            candidate(Kind::Dust, Origin::Film, Rect::new(30, 10, 40, 14), 0.2),
            candidate(Kind::Dust, Origin::Film, Rect::new(80, 10, 90, 14), 0.6),
        ];
        assert_eq!(joined(&found, mark(0.5)), [(Origin::Film, 0.6, 40), (Origin::Gate, 0.8, 130)]);
        // Doubtful, and one piece is believed more: the film keeps all three.
        assert_eq!(joined(&found, mark(0.3)).len(), 3);
        assert!(joined(&found, mark(0.3)).iter().all(|c| c.0 == Origin::Film));
        // Doubtful, but nothing else is better.
        assert_eq!(joined(&found[1..], mark(0.3)), [(Origin::Film, 0.6, 40), (Origin::Gate, 0.3, 120)]);
    }

    #[test]
    fn a_mark_of_the_other_polarity_or_on_a_line_is_no_part_of_it() {
        let mark = candidate(Kind::Hair, Origin::Gate, Rect::new(10, 10, 14, 60), 0.9);
        let bright =
            Candidate { polarity: Polarity::Bright, ..candidate(Kind::Dust, Origin::Film, mark.bounds(), 0.4) };
        assert_eq!(joined(&[bright], mark.clone()).len(), 2);
        let line = candidate(Kind::Line, Origin::Film, Rect::new(9, 0, 13, 200), 0.7);
        assert_eq!(joined(std::slice::from_ref(&line), mark.clone()), [(Origin::Film, 0.7, 800)]);
        let doubtful = Candidate { confidence: 0.2, ..line };
        assert_eq!(joined(&[doubtful], mark).len(), 2);
    }
}

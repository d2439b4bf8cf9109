//! What was found and what was marked for nothing.

use besom_scan::{Plane, RunMask};

use super::objects::{LEAST_PIXELS, near, objects};
use crate::ageing::{DUST, HAIR, LINE};

/// A true object is found when at least this share of its pixels is covered.
pub const FOUND_SHARE: f64 = 0.3;
/// A claim is false when less than this share of its pixels lies near any truth.
pub const FALSE_SHARE: f64 = 0.1;
/// Squared distance that counts as near: three pixels.
pub const NEAR_SQUARED: u32 = 9;
/// Dust of this many pixels is also counted by itself.
pub const LARGE_DUST: usize = 30;

/// True objects of one kind and how many of them were found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Recall {
    /// Objects found.
    pub found: u64,
    /// Objects there are.
    pub all: u64,
}

impl Recall {
    /// Share found; `None` without objects.
    pub fn share(self) -> Option<f64> {
        (self.all > 0).then(|| self.found as f64 / self.all as f64)
    }

    pub(crate) fn count(&mut self, found: bool) {
        self.found += u64::from(found);
        self.all += 1;
    }

    pub(crate) fn merge(&mut self, other: Self) {
        self.found += other.found;
        self.all += other.all;
    }
}

/// The detection score of any number of frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Detection {
    /// Dust and dirt.
    pub dust: Recall,
    /// Dust of at least [`LARGE_DUST`] pixels.
    pub large_dust: Recall,
    /// Hairs and fibres.
    pub hair: Recall,
    /// Line scratches.
    pub line: Recall,
    /// Claims of [`LEAST_PIXELS`] pixels or more.
    pub claims: u64,
    /// Those of them that are false.
    pub false_claims: u64,
    /// Frames scored.
    pub frames: u64,
    /// Pixels of all these frames.
    pub pixels: u64,
}

/// What is true of a frame, worked out once for any number of claims.
pub struct Truth {
    /// The objects of dust, of hairs and of lines.
    objects: [Vec<RunMask>; 3],
    /// Ones near any labelled pixel.
    near: Plane<u8>,
}

impl Truth {
    /// The truth that a frame's label bits state.
    pub fn new(labels: &Plane<u8>) -> Self {
        let objects = [DUST, HAIR, LINE].map(|bit| objects(labels, |v| v & bit != 0, LEAST_PIXELS));
        Self { objects, near: near(labels, NEAR_SQUARED) }
    }

    /// The score of the marked objects `claims`. Claims of fewer than [`LEAST_PIXELS`] pixels are ignored.
    pub fn score(&self, claims: &[RunMask]) -> Detection {
        let mut covered = Plane::new(self.near.width(), self.near.height());
        let mut score = Detection { frames: 1, pixels: self.near.rect().area() as u64, ..Detection::default() };
        for claim in claims {
            let Some(real) = self.judge(claim) else { continue };
            claim.paint(&mut covered, 1);
            score.claims += 1;
            score.false_claims += u64::from(!real);
        }
        let [dust, hairs, lines] = &self.objects;
        for object in dust {
            let found = is_found(object, &covered);
            score.dust.count(found);
            if object.area() >= LARGE_DUST {
                score.large_dust.count(found);
            }
        }
        for (objects, recall) in [(hairs, &mut score.hair), (lines, &mut score.line)] {
            for object in objects {
                recall.count(is_found(object, &covered));
            }
        }
        score
    }

    /// Whether a claim is real: `Some(false)` when less than [`FALSE_SHARE`] of its pixels lies within three pixels
    /// (Euclidean) of any labelled pixel, `None` when it has fewer than [`LEAST_PIXELS`] pixels. Pixels outside the frame
    /// lie near nothing.
    pub fn judge(&self, claim: &RunMask) -> Option<bool> {
        let hit = claim.pixels().filter(|(x, y)| self.near.get(*x as i32, *y as i32) == Some(1)).count();
        (claim.area() >= LEAST_PIXELS).then(|| hit as f64 >= FALSE_SHARE * claim.area() as f64)
    }
}

impl Detection {
    /// The score of one frame: `labels` are its truth, `claims` the marked objects; see [`Truth::score`].
    pub fn of_frame(labels: &Plane<u8>, claims: &[RunMask]) -> Self {
        Truth::new(labels).score(claims)
    }

    /// Adds another score.
    pub fn merge(&mut self, other: &Self) {
        self.dust.merge(other.dust);
        self.large_dust.merge(other.large_dust);
        self.hair.merge(other.hair);
        self.line.merge(other.line);
        self.claims += other.claims;
        self.false_claims += other.false_claims;
        self.frames += other.frames;
        self.pixels += other.pixels;
    }

    /// Share of the claims that are not false; `None` without claims.
    pub fn precision(&self) -> Option<f64> {
        (self.claims > 0).then(|| 1.0 - self.false_claims as f64 / self.claims as f64)
    }

    /// False claims a frame; 0 without frames.
    pub fn false_per_frame(&self) -> f64 {
        self.false_claims as f64 / self.frames.max(1) as f64
    }

    /// False claims a frame of a million pixels; 0 without pixels.
    pub fn false_per_megapixel(&self) -> f64 {
        self.false_claims as f64 * 1e6 / self.pixels.max(1) as f64
    }
}

/// Whether at least [`FOUND_SHARE`] of an object's pixels are covered, that is not 0 in `covered`.
pub fn is_found(object: &RunMask, covered: &Plane<u8>) -> bool {
    let hit = object.pixels().filter(|(x, y)| covered.at(*x as usize, *y as usize) != 0).count();
    hit as f64 >= FOUND_SHARE * object.area() as f64
}

#[cfg(test)]
mod tests {
    use super::super::objects::tests::drawn;
    use super::*;
    use besom_scan::Rect;

    fn block(x0: i32, y0: i32, x1: i32, y1: i32) -> RunMask {
        RunMask::from_rect(&Rect::new(x0, y0, x1, y1))
    }

    fn judge(labels: &Plane<u8>, claims: &[RunMask]) -> Vec<Option<bool>> {
        claims.iter().map(|claim| Truth::new(labels).judge(claim)).collect()
    }

    #[test]
    fn a_frame_scored_by_hand() {
        // One dust of 10 pixels, a hair of 6, a line of 4, dust of 3 that is too small to count.
        let labels = drawn(&[
            "11111......4......", //
            "11111......4......", //
            "...........4.....1", //
            "...........4.....1", //
            ".................1", //
            "222222............",
        ]);
        // Covers 3 of the dust's 10 pixels: 30 %, found.
        let dust = block(0, 0, 3, 1).union(&block(0, 3, 1, 4));
        // Covers 1 of the hair's 6: 17 %, not found, but near.
        let hair = block(5, 5, 9, 6);
        // Column 7 is four columns from the line, the nearest truth of rows 0 and 1 (dust ends at column 4: three away).
        let beside = block(7, 0, 8, 4);
        // Three pixels do not count as a claim, however false.
        let tiny = block(14, 0, 17, 1);
        let score = Detection::of_frame(&labels, &[dust, hair, beside, tiny]);
        assert_eq!(score.dust, Recall { found: 1, all: 1 });
        assert_eq!(score.large_dust, Recall::default());
        assert_eq!(score.hair, Recall { found: 0, all: 1 });
        assert_eq!(score.line, Recall { found: 0, all: 1 });
        assert_eq!((score.claims, score.false_claims), (3, 0));
        assert_eq!(score.pixels, 108);
    }

    #[test]
    fn the_limits_are_where_the_definitions_put_them() {
        let mut labels = Plane::new(60, 60);
        block(10, 10, 20, 20).paint(&mut labels, DUST);
        let covered = |n: i32| Detection::of_frame(&labels, &[block(10, 10, 10 + n, 20)]).dust.found;
        assert_eq!((covered(2), covered(3)), (0, 1), "20 % and 30 % of 100 pixels");
        // A bar from column 20 on: columns 20 to 22 lie within three pixels of column 19.
        let real = |to: i32| judge(&labels, &[block(20, 12, to, 13)]);
        assert_eq!(real(50), vec![Some(true)], "3 of 30 pixels are near");
        assert_eq!(real(51), vec![Some(false)], "3 of 31 pixels are near");
        assert_eq!(judge(&labels, &[block(23, 12, 28, 13)]), vec![Some(false)], "four pixels away");
        assert_eq!(judge(&labels, &[block(0, 0, 3, 1)]), vec![None]);
        // The corner is measured in a straight line: (22, 22) is 3 * sqrt 2 away.
        assert_eq!(judge(&labels, &[block(22, 22, 24, 24)]), vec![Some(false)]);
    }

    #[test]
    fn rates_are_per_frame_and_megapixel() {
        let clean = Plane::new(1000, 500);
        let mut score = Detection::default();
        for frame in 0..4 {
            let claims: Vec<RunMask> = (0..frame).map(|i| block(i * 10, 0, i * 10 + 2, 2)).collect();
            score.merge(&Detection::of_frame(&clean, &claims));
        }
        assert_eq!((score.frames, score.claims, score.false_claims), (4, 6, 6));
        assert_eq!(score.precision(), Some(0.0));
        assert_eq!((score.false_per_frame(), score.false_per_megapixel()), (1.5, 3.0));
        assert_eq!(Detection::default().precision(), None);
    }

    #[test]
    fn two_claims_together_can_find_one_object() {
        let mut labels = Plane::new(30, 30);
        block(0, 0, 20, 1).paint(&mut labels, LINE);
        let halves = [block(0, 0, 4, 1), block(10, 0, 14, 1)];
        assert_eq!(Detection::of_frame(&labels, &halves[..1]).line.found, 0);
        assert_eq!(Detection::of_frame(&labels, &halves).line.found, 1);
    }
}

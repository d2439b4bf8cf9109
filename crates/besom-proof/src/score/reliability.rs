//! Whether a confidence of 0.9 is right nine times of ten.

/// Bins of the diagram.
pub const BINS: usize = 10;

/// A reliability diagram in ten equal bins of confidence, and the expected calibration error.
///
/// Bins by confidence as in `DeGroot` & Fienberg, The Statistician 32, 1983; expected calibration error as in Naeini,
/// Cooper & Hauskrecht, AAAI 2015 (from memory).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Reliability {
    bins: [Bin; BINS],
}

/// One bin of the diagram.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bin {
    /// Candidates in it.
    pub count: u64,
    /// Those of them that are real.
    pub real: u64,
    /// Sum of their confidences.
    pub confidence: f64,
}

impl Bin {
    /// The mean confidence; `None` when empty.
    pub fn stated(&self) -> Option<f64> {
        (self.count > 0).then(|| self.confidence / self.count as f64)
    }

    /// The share that is real; `None` when empty.
    pub fn observed(&self) -> Option<f64> {
        (self.count > 0).then(|| self.real as f64 / self.count as f64)
    }
}

impl Reliability {
    /// Counts a candidate. Confidences outside 0..=1 count in the first or last bin.
    pub fn add(&mut self, confidence: f32, real: bool) {
        let bin = &mut self.bins[((confidence * BINS as f32) as usize).min(BINS - 1)];
        bin.count += 1;
        bin.real += u64::from(real);
        bin.confidence += f64::from(confidence);
    }

    /// Adds another diagram.
    pub fn merge(&mut self, other: &Self) {
        for (bin, o) in self.bins.iter_mut().zip(&other.bins) {
            bin.count += o.count;
            bin.real += o.real;
            bin.confidence += o.confidence;
        }
    }

    /// The bins, from confidence 0 up.
    pub fn bins(&self) -> &[Bin; BINS] {
        &self.bins
    }

    /// The expected calibration error: the mean distance between stated and observed, weighted by the candidates in each
    /// bin; `None` without candidates.
    pub fn error(&self) -> Option<f64> {
        let count: u64 = self.bins.iter().map(|b| b.count).sum();
        let gaps: f64 = self.bins.iter().map(|b| (b.confidence - b.real as f64).abs()).sum();
        (count > 0).then(|| gaps / count as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_by_hand() {
        let mut diagram = Reliability::default();
        // Four at 0.75, two real: gap 0.25. One at 0.05, not real: gap 0.05. One at 1.0, real: none.
        for real in [true, true, false, false] {
            diagram.add(0.75, real);
        }
        diagram.add(0.05, false);
        let mut other = Reliability::default();
        other.add(1.0, true);
        diagram.merge(&other);
        approx::assert_abs_diff_eq!(diagram.error().unwrap_or(9.0), (4.0 * 0.25 + 0.05) / 6.0, epsilon = 1e-7);
        assert_eq!(diagram.bins()[7].observed(), Some(0.5));
        assert_eq!(diagram.bins()[9].count, 1);
        assert_eq!(diagram.bins()[3].stated(), None);
        assert_eq!(Reliability::default().error(), None);
    }
}

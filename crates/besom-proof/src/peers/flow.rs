//! Dense flow fields and the `.flo` files that hold them.
//!
//! The format (Baker et al., "A database and evaluation methodology for optical flow", IJCV 92, 2011, with the Middlebury
//! benchmark's code; from memory): little-endian, the f32 202021.25 as a tag, width and height as i32, then `u` and `v`
//! of each pixel as interleaved f32 in row order. Components above 1e9 in size say that nothing is known there.

use besom_motion::Vector;
use besom_motion::interpolate::sample;
use besom_scan::Plane;
use rayon::prelude::*;

const TAG: f32 = 202_021.25;
/// Components above this size mean "unknown".
const UNKNOWN: f32 = 1e9;
/// What the writer puts where nothing is known, as the benchmark does.
const UNKNOWN_WRITTEN: f32 = 1e10;
/// No side of a field may be longer, as in the benchmark's reader.
const LONGEST: i32 = 99_999;
/// Longer than any frame.
const FAR: f32 = 1e6;

/// Why a `.flo` file could not be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FlowError {
    /// The tag is missing.
    #[error("it is not a .flo file")]
    Tag,
    /// The size is not between 1 and 99999.
    #[error("its size of {0} x {1} is not between 1 and {LONGEST}")]
    Size(i32, i32),
    /// The file's length does not follow from its size.
    #[error("it should be {wanted} bytes long but is {found}")]
    Length {
        /// Bytes by its header.
        wanted: u64,
        /// Bytes there are.
        found: u64,
    },
}

/// For each pixel of the current frame, where its picture stands in the reference.
#[derive(Clone, Debug, PartialEq)]
pub struct Flow {
    dx: Plane,
    dy: Plane,
}

impl Flow {
    /// A field computed pixel by pixel; a vector that is not a number says that nothing is known.
    pub fn from_fn(width: usize, height: usize, vector: impl Fn(usize, usize) -> Vector) -> Self {
        Self {
            dx: Plane::from_fn(width, height, |x, y| vector(x, y).dx),
            dy: Plane::from_fn(width, height, |x, y| vector(x, y).dy),
        }
    }

    /// Columns.
    pub fn width(&self) -> usize {
        self.dx.width()
    }

    /// Rows.
    pub fn height(&self) -> usize {
        self.dx.height()
    }

    /// The vector at a pixel; not a number where nothing is known.
    ///
    /// # Panics
    /// When the position is outside.
    pub fn at(&self, x: usize, y: usize) -> Vector {
        Vector::new(self.dx.at(x, y), self.dy.at(x, y))
    }

    /// Reads the bytes of a `.flo` file. Any bytes are safe to give.
    ///
    /// # Errors
    /// [`FlowError`].
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, FlowError> {
        let word = |at: usize| bytes.get(at..at + 4).and_then(|b| <[u8; 4]>::try_from(b).ok());
        let (Some(tag), Some(width), Some(height)) = (word(0), word(4), word(8)) else { return Err(FlowError::Tag) };
        if f32::from_le_bytes(tag) != TAG {
            return Err(FlowError::Tag);
        }
        let (width, height) = (i32::from_le_bytes(width), i32::from_le_bytes(height));
        if !(1..=LONGEST).contains(&width) || !(1..=LONGEST).contains(&height) {
            return Err(FlowError::Size(width, height));
        }
        let (wanted, found) = (12 + width as u64 * height as u64 * 8, bytes.len() as u64);
        if wanted != found {
            return Err(FlowError::Length { wanted, found });
        }
        let width = width as usize;
        let component = |index: usize| {
            let value = word(12 + index * 4).map_or(f32::NAN, f32::from_le_bytes);
            if value.abs() <= UNKNOWN { value } else { f32::NAN }
        };
        Ok(Self::from_fn(width, height as usize, |x, y| {
            let index = (y * width + x) * 2;
            Vector::new(component(index), component(index + 1))
        }))
    }

    /// The bytes of a `.flo` file.
    pub fn to_bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(12 + self.dx.as_slice().len() * 8);
        bytes.extend_from_slice(&TAG.to_le_bytes());
        bytes.extend_from_slice(&(self.width() as i32).to_le_bytes());
        bytes.extend_from_slice(&(self.height() as i32).to_le_bytes());
        for (dx, dy) in self.dx.as_slice().iter().zip(self.dy.as_slice()) {
            for v in [dx, dy] {
                bytes.extend_from_slice(&if v.is_nan() { UNKNOWN_WRITTEN } else { *v }.to_le_bytes());
            }
        }
        bytes
    }

    /// The reference as seen from the current frame, by cubic interpolation; not a number where nothing is known.
    /// Vectors that leave the frame take its border.
    pub fn compensate(&self, reference: &Plane) -> Plane {
        let mut seen = Plane::new(self.width(), self.height());
        let width = self.width().max(1);
        seen.as_mut_slice().par_chunks_mut(width).enumerate().for_each(|(y, row)| {
            for (x, value) in row.iter_mut().enumerate() {
                let v = self.at(x, y);
                let known = v.dx.is_finite() && v.dy.is_finite();
                // Far outside is far outside: the limit keeps positions within what integers hold.
                let place = |at: usize, d: f32| at as f32 + d.clamp(-FAR, FAR);
                *value = if known { sample(reference, place(x, v.dx), place(y, v.dy)) } else { f32::NAN };
            }
        });
        seen
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    // Written by OpenCV 5.0.0 (`cv2.writeOpticalFlow`) from the field in the test below.
    const WRITTEN_ELSEWHERE: [u8; 60] = [
        80, 73, 69, 72, 3, 0, 0, 0, 2, 0, 0, 0, 0, 0, 192, 63, 0, 0, 16, 192, 0, 0, 0, 0, 0, 0, 64, 64, 0, 0, 64, 64,
        0, 0, 144, 192, 0, 0, 0, 190, 0, 0, 128, 64, 0, 0, 200, 66, 0, 0, 224, 192, 0, 0, 128, 190, 0, 0, 0, 65,
    ];

    #[test]
    fn a_file_written_elsewhere_reads_and_writes_the_same() {
        let flow = Flow::from_bytes(&WRITTEN_ELSEWHERE).unwrap();
        assert_eq!((flow.width(), flow.height()), (3, 2));
        let got: Vec<(f32, f32)> = (0..6).map(|i| flow.at(i % 3, i / 3)).map(|v| (v.dx, v.dy)).collect();
        assert_eq!(got, [(1.5, -2.25), (0.0, 3.0), (3.0, -4.5), (-0.125, 4.0), (100.0, -7.0), (-0.25, 8.0)]);
        assert_eq!(flow.to_bytes(), WRITTEN_ELSEWHERE);
    }

    #[test]
    fn damaged_files_are_refused() {
        let good = WRITTEN_ELSEWHERE.to_vec();
        assert_eq!(Flow::from_bytes(&[]), Err(FlowError::Tag));
        assert_eq!(Flow::from_bytes(&[vec![0; 4], good[4..].to_vec()].concat()), Err(FlowError::Tag));
        assert_eq!(
            Flow::from_bytes(&good[..good.len() - 1]),
            Err(FlowError::Length { wanted: good.len() as u64, found: good.len() as u64 - 1 })
        );
        let mut huge = good.clone();
        huge[4..8].copy_from_slice(&i32::MAX.to_le_bytes());
        assert_eq!(Flow::from_bytes(&huge), Err(FlowError::Size(i32::MAX, 2)));
        let mut wide = good;
        wide[4..8].copy_from_slice(&99_999i32.to_le_bytes());
        assert!(matches!(Flow::from_bytes(&wide), Err(FlowError::Length { .. })));
    }

    #[test]
    fn unknown_vectors_stay_unknown() {
        let flow = Flow::from_fn(2, 1, |x, _| if x == 0 { Vector::new(f32::NAN, 0.0) } else { Vector::new(-1.0, 0.0) });
        let read = Flow::from_bytes(&flow.to_bytes()).unwrap();
        assert!(read.at(0, 0).dx.is_nan());
        let seen = read.compensate(&Plane::from_fn(2, 1, |x, _| 10.0 + x as f32));
        assert!(seen.at(0, 0).is_nan());
        assert_eq!(seen.at(1, 0), 10.0);
    }

    #[test]
    fn compensation_fetches_from_where_the_vector_points() {
        let reference = Plane::from_fn(9, 7, |x, y| 10.0 * x as f32 + y as f32);
        let seen = Flow::from_fn(9, 7, |_, _| Vector::new(2.0, 1.0)).compensate(&reference);
        assert_eq!(seen.at(3, 2), reference.at(5, 3));
        assert_eq!(seen.at(8, 6), reference.at(8, 6), "outside, the border holds");
    }

    proptest! {
        #[test]
        fn files_read_back_the_same(values in proptest::collection::vec((-1e6f32..1e6, -1e6f32..1e6), 12)) {
            let flow = Flow::from_fn(4, 3, |x, y| { let v = values[y * 4 + x]; Vector::new(v.0, v.1) });
            prop_assert_eq!(Flow::from_bytes(&flow.to_bytes()).unwrap(), flow);
        }
    }
}

//! A displacement from one frame to another.

/// The picture at `(x, y)` of the current frame stands at `(x + dx, y + dy)` of the reference. Pixels.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Vector {
    /// Columns to the right.
    pub dx: f32,
    /// Rows down.
    pub dy: f32,
}

impl Vector {
    /// The displacement `(dx, dy)`.
    pub const fn new(dx: f32, dy: f32) -> Self {
        Self { dx, dy }
    }

    /// Length in pixels.
    pub fn length(self) -> f32 {
        self.dx.hypot(self.dy)
    }

    /// Distance between the ends of two displacements, in pixels.
    pub fn distance(self, other: Self) -> f32 {
        (self.dx - other.dx).hypot(self.dy - other.dy)
    }
}

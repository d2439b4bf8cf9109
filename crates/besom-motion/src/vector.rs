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

    /// Length in pixels. Not `hypot`: vectors neither overflow nor vanish, and its care costs ten times a root.
    #[inline]
    pub fn length(self) -> f32 {
        (self.dx * self.dx + self.dy * self.dy).sqrt()
    }

    /// Distance between the ends of two displacements, in pixels.
    #[inline]
    pub fn distance(self, other: Self) -> f32 {
        Self::new(self.dx - other.dx, self.dy - other.dy).length()
    }
}

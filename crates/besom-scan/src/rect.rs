//! The one rectangle type: half-open, in pixels of the frame.

/// A half-open rectangle `[x0, x1) x [y0, y1)` in pixels; the origin is the frame's top left corner.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Rect {
    /// First column inside.
    pub x0: i32,
    /// First row inside.
    pub y0: i32,
    /// First column outside.
    pub x1: i32,
    /// First row outside.
    pub y1: i32,
}

impl Rect {
    /// The rectangle `[x0, x1) x [y0, y1)`.
    pub const fn new(x0: i32, y0: i32, x1: i32, y1: i32) -> Self {
        Self { x0, y0, x1, y1 }
    }

    /// The whole of a frame of this size.
    pub const fn of_size(width: usize, height: usize) -> Self {
        Self::new(0, 0, width as i32, height as i32)
    }

    /// Columns inside; 0 when empty.
    pub const fn width(&self) -> usize {
        if self.x1 > self.x0 { (self.x1 - self.x0) as usize } else { 0 }
    }

    /// Rows inside; 0 when empty.
    pub const fn height(&self) -> usize {
        if self.y1 > self.y0 { (self.y1 - self.y0) as usize } else { 0 }
    }

    /// Pixels inside.
    pub const fn area(&self) -> usize {
        self.width() * self.height()
    }

    /// True when no pixel is inside.
    pub const fn is_empty(&self) -> bool {
        self.area() == 0
    }

    /// True when the pixel at `x`, `y` is inside.
    pub const fn contains(&self, x: i32, y: i32) -> bool {
        x >= self.x0 && x < self.x1 && y >= self.y0 && y < self.y1
    }

    /// The rectangle grown by `by` pixels on every side (shrunk when negative).
    #[must_use]
    pub const fn grown(&self, by: i32) -> Self {
        Self::new(self.x0 - by, self.y0 - by, self.x1 + by, self.y1 + by)
    }

    /// What both rectangles cover; empty when they do not meet.
    #[must_use]
    pub fn intersect(&self, other: &Self) -> Self {
        Self::new(self.x0.max(other.x0), self.y0.max(other.y0), self.x1.min(other.x1), self.y1.min(other.y1))
    }

    /// The smallest rectangle that covers both; an empty one counts for nothing.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        if self.is_empty() {
            return *other;
        }
        if other.is_empty() {
            return *self;
        }
        Self::new(self.x0.min(other.x0), self.y0.min(other.y0), self.x1.max(other.x1), self.y1.max(other.y1))
    }
}

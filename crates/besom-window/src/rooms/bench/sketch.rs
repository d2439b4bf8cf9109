//! What a hand is drawing on a frame: strokes of a round brush, closed outlines, straight lines, each added to one mask or
//! taken from it. No window in here: pointer and keys drive it alike.

use besom_reel::drawn::{self, Point};
use besom_scan::RunMask;

/// Narrowest and broadest brush in picture pixels.
pub(super) const BREADTHS: std::ops::RangeInclusive<f64> = 1.0..=400.0;
/// Masks kept for taking strokes back.
const KEPT: usize = 200;

/// How a hand draws.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Tool {
    /// A rectangle from corner to corner; the form that offers it keeps it.
    Box,
    /// A round brush.
    Brush,
    /// A closed outline, drawn at one go or corner by corner.
    Outline,
    /// A straight line as broad as the brush.
    Line,
}

impl Tool {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Box => "Box",
            Self::Brush => "Brush",
            Self::Outline => "Outline",
            Self::Line => "Line",
        }
    }

    /// What to do with it, in one sentence.
    pub(super) const fn hint(self) -> &'static str {
        match self {
            Self::Box => "Drag from corner to corner, or type the numbers.",
            Self::Brush => "Paint with the pointer. Held Shift takes away.",
            Self::Outline => "Draw around it, or set corners by clicks and close with Enter. Held Shift takes away.",
            Self::Line => "Drag from end to end. Held Shift takes away.",
        }
    }

    /// True when the breadth of the brush matters.
    pub(super) const fn has_breadth(self) -> bool {
        matches!(self, Self::Brush | Self::Line)
    }
}

/// A shape that was begun and is not in the mask yet.
#[derive(Clone, Debug, PartialEq)]
struct Begun {
    points: Vec<Point>,
    /// It will take pixels away.
    takes: bool,
    /// The pointer is down.
    held: bool,
    /// Corners that were set before the pointer went down.
    corners: usize,
}

/// A mask in the making.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sketch {
    size: (u32, u32),
    tools: &'static [Tool],
    tool: Tool,
    /// Picture pixels across.
    breadth: f64,
    /// Where the ring is: where the pointer was last, or where keys moved it.
    at: Point,
    mask: RunMask,
    /// The masks before each step, the newest last.
    before: Vec<RunMask>,
    begun: Option<Begun>,
}

impl Sketch {
    /// An empty mask for a frame of this size; the first tool is in hand, the ring about the frame's middle.
    pub(super) fn new(size: (u32, u32), tools: &'static [Tool]) -> Self {
        let tool = tools.first().copied().unwrap_or(Tool::Brush);
        let at = (f64::from(size.0) / 2.0, f64::from(size.1) / 2.0);
        // About a mark that is easily overlooked at 2K.
        let breadth = (f64::from(size.0) / 160.0).round().clamp(3.0, 24.0);
        Self { size, tools, tool, breadth, at, mask: RunMask::default(), before: Vec::new(), begun: None }
    }

    pub(super) fn mask(&self) -> &RunMask {
        &self.mask
    }

    /// Starts from pixels that are there already.
    pub(super) fn set_mask(&mut self, mask: RunMask) {
        (self.mask, self.begun) = (mask, None);
        self.before.clear();
    }

    pub(super) const fn size(&self) -> (u32, u32) {
        self.size
    }

    pub(super) const fn tools(&self) -> &'static [Tool] {
        self.tools
    }

    pub(super) const fn tool(&self) -> Tool {
        self.tool
    }

    /// Takes a tool in hand; what was begun with another one is dropped.
    pub(super) fn set_tool(&mut self, tool: Tool) {
        if self.tool != tool {
            (self.tool, self.begun) = (tool, None);
        }
    }

    /// Takes the next tool in hand.
    pub(super) fn next_tool(&mut self) {
        let place = self.tools.iter().position(|t| *t == self.tool).map_or(0, |place| place + 1);
        self.set_tool(self.tools.get(place % self.tools.len().max(1)).copied().unwrap_or(self.tool));
    }

    pub(super) const fn breadth(&self) -> f64 {
        self.breadth
    }

    pub(super) fn set_breadth(&mut self, breadth: f64) {
        if breadth.is_finite() {
            self.breadth = breadth.clamp(*BREADTHS.start(), *BREADTHS.end());
        }
    }

    /// A fifth broader or narrower, by at least one pixel.
    pub(super) fn change_breadth(&mut self, broader: bool) {
        let step = (self.breadth * 0.2).round().max(1.0);
        self.set_breadth(self.breadth.round() + if broader { step } else { -step });
    }

    pub(super) const fn at(&self) -> Point {
        self.at
    }

    /// Brings the ring to a place, at the frame's border at most.
    pub(super) fn go(&mut self, (x, y): Point) {
        self.at = (x.clamp(0.0, f64::from(self.size.0)), y.clamp(0.0, f64::from(self.size.1)));
    }

    /// Moves the ring by steps of a quarter of the brush, at least one pixel.
    pub(super) fn step(&mut self, across: f64, down: f64) {
        let step = if self.tool.has_breadth() { (self.breadth / 4.0).floor().max(1.0) } else { 1.0 };
        self.go((self.at.0 + across * step, self.at.1 + down * step));
    }

    /// What is begun: its points, and whether it takes away.
    pub(super) fn begun(&self) -> Option<(&[Point], bool)> {
        self.begun.as_ref().map(|begun| (begun.points.as_slice(), begun.takes))
    }

    /// True while the pointer draws.
    pub(super) fn held(&self) -> bool {
        self.begun.as_ref().is_some_and(|begun| begun.held)
    }

    /// The line from where it began to the ring, while there is one.
    pub(super) fn line_so_far(&self) -> Option<(RunMask, bool)> {
        let begun = self.begun.as_ref().filter(|_| self.tool == Tool::Line)?;
        let from = begun.points.first()?;
        Some((drawn::stroke(&[*from, self.at], self.breadth, self.size.0, self.size.1), begun.takes))
    }

    /// The pointer goes down.
    pub(super) fn press(&mut self, at: Point, takes: bool) {
        self.at = at;
        if self.tool == Tool::Brush {
            self.remember();
            self.begun = Some(Begun { points: vec![at], takes, held: true, corners: 0 });
            self.paint(&[at], takes);
            return;
        }
        // Corners that were set by clicks or keys go on with this press.
        let going_on = self.begun.take().filter(|_| self.tool == Tool::Outline);
        let mut begun = going_on.unwrap_or(Begun { points: Vec::new(), takes, held: true, corners: 0 });
        (begun.held, begun.corners) = (true, begun.points.len());
        begun.points.push(at);
        self.begun = Some(begun);
    }

    /// The pointer moves while it is down.
    pub(super) fn drag(&mut self, at: Point) {
        self.at = at;
        let Some(begun) = self.begun.as_mut().filter(|begun| begun.held) else { return };
        let last = begun.points.last().copied();
        if last == Some(at) {
            return;
        }
        match (self.tool, last) {
            (Tool::Brush, Some(last)) => {
                begun.points = vec![at];
                let takes = begun.takes;
                self.paint(&[last, at], takes);
            }
            (Tool::Outline, _) => begun.points.push(at),
            _ => {}
        }
    }

    /// The pointer goes up. Less than `slack` pixels of way count as a click: it sets a corner of an outline, and closes
    /// it on its first corner.
    pub(super) fn release(&mut self, slack: f64) {
        let Some(begun) = self.begun.as_mut() else { return };
        begun.held = false;
        let far = |a: Point, b: Point| (a.0 - b.0).hypot(a.1 - b.1) > slack;
        match self.tool {
            Tool::Line => {
                self.finish_line();
            }
            Tool::Outline => {
                let pressed = begun.points.get(begun.corners).copied();
                let moved = pressed.is_some_and(|p| begun.points.iter().skip(begun.corners).any(|q| far(p, *q)));
                if !moved {
                    begun.points.truncate(begun.corners + 1);
                }
                let home = begun.points.first().copied().zip(pressed).is_some_and(|(first, p)| !far(first, p));
                if (moved && begun.corners == 0) || (!moved && begun.corners >= 3 && home) {
                    self.close();
                }
            }
            Tool::Box | Tool::Brush => self.begun = None,
        }
    }

    /// What a click does, at the ring: a dab, a corner, one end of a line.
    pub(super) fn put_down(&mut self, takes: bool) {
        let at = self.at;
        match (self.tool, self.begun.as_mut()) {
            (Tool::Box, _) => {}
            (Tool::Brush, _) => {
                self.remember();
                self.paint(&[at], takes);
            }
            (Tool::Line, Some(_)) => self.finish_line(),
            (Tool::Outline, Some(begun)) => begun.points.push(at),
            (Tool::Line | Tool::Outline, None) => {
                self.begun = Some(Begun { points: vec![at], takes, held: false, corners: 1 });
            }
        }
    }

    fn finish_line(&mut self) {
        if let (Some((line, takes)), Some(_)) = (self.line_so_far(), self.begun.take()) {
            self.remember();
            self.apply(&line, takes);
        }
    }

    /// Closes the outline (or ends the line) that is begun; false when there is none.
    pub(super) fn close(&mut self) -> bool {
        match self.tool {
            Tool::Line if self.begun.is_some() => {
                self.finish_line();
                true
            }
            Tool::Outline => {
                let Some(begun) = self.begun.take() else { return false };
                let inside = drawn::outline(&begun.points, self.size.0, self.size.1);
                if !inside.is_empty() {
                    self.remember();
                    self.apply(&inside, begun.takes);
                }
                true
            }
            _ => false,
        }
    }

    /// Drops what is begun; false when nothing is.
    pub(super) fn drop_begun(&mut self) -> bool {
        self.begun.take().is_some()
    }

    /// Takes the last step back; false when there is none.
    pub(super) fn step_back(&mut self) -> bool {
        if self.drop_begun() {
            return true;
        }
        let before = self.before.pop();
        let some = before.is_some();
        self.mask = before.unwrap_or_else(|| std::mem::take(&mut self.mask));
        some
    }

    fn remember(&mut self) {
        if self.before.len() >= KEPT {
            self.before.remove(0);
        }
        self.before.push(self.mask.clone());
    }

    fn paint(&mut self, path: &[Point], takes: bool) {
        let stroke = drawn::stroke(path, self.breadth, self.size.0, self.size.1);
        self.apply(&stroke, takes);
    }

    fn apply(&mut self, pixels: &RunMask, takes: bool) {
        self.mask = if takes { self.mask.minus(pixels) } else { self.mask.union(pixels) };
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use besom_scan::Rect;

    const ALL: &[Tool] = &[Tool::Brush, Tool::Outline, Tool::Line];

    fn sketch(tool: Tool) -> Sketch {
        let mut sketch = Sketch::new((64, 48), ALL);
        sketch.set_tool(tool);
        sketch.set_breadth(3.0);
        sketch
    }

    #[test]
    fn a_stroke_paints_and_one_with_shift_takes_away() {
        let mut sketch = sketch(Tool::Brush);
        sketch.press((10.5, 10.5), false);
        for x in 11..=20 {
            sketch.drag((f64::from(x) + 0.5, 10.5));
        }
        sketch.release(0.0);
        let line = drawn::stroke(&[(10.5, 10.5), (20.5, 10.5)], 3.0, 64, 48);
        assert_eq!(sketch.mask(), &line);
        sketch.press((10.5, 10.5), true);
        sketch.release(0.0);
        assert_eq!(sketch.mask().area(), line.area() - drawn::stroke(&[(10.5, 10.5)], 3.0, 64, 48).overlap(&line));
        assert!(sketch.step_back());
        assert_eq!(sketch.mask(), &line, "a stroke is one step");
        assert!(sketch.step_back());
        assert!(sketch.mask().is_empty());
        assert!(!sketch.step_back());
    }

    #[test]
    fn an_outline_is_drawn_at_one_go_or_corner_by_corner() {
        let square = RunMask::from_rect(&Rect::new(10, 10, 20, 20));
        let corners = [(10.0, 10.0), (20.0, 10.0), (20.0, 20.0), (10.0, 20.0)];
        let mut drawn = sketch(Tool::Outline);
        drawn.press(corners[0], false);
        corners[1..].iter().for_each(|c| drawn.drag(*c));
        assert!(drawn.held() && drawn.mask().is_empty());
        drawn.release(2.0);
        assert_eq!(drawn.mask(), &square);

        let mut clicked = sketch(Tool::Outline);
        for corner in corners {
            clicked.press(corner, false);
            clicked.release(2.0);
        }
        assert_eq!(clicked.begun().map(|(points, _)| points.len()), Some(4), "open until it is closed");
        clicked.press((10.5, 9.5), false);
        clicked.release(2.0);
        assert_eq!((clicked.mask().area(), clicked.begun()), (100, None), "a click on the first corner closes it");

        let mut typed = sketch(Tool::Outline);
        for corner in corners {
            typed.go(corner);
            typed.put_down(false);
        }
        assert!(typed.close());
        assert_eq!(typed.mask(), &square);
        assert!(!typed.close(), "nothing is begun any more");
        typed.put_down(false);
        assert!(typed.drop_begun());
        assert_eq!(typed.mask(), &square);
    }

    #[test]
    fn a_line_runs_from_press_to_release_and_is_seen_on_its_way() {
        let mut sketch = sketch(Tool::Line);
        sketch.press((5.5, 5.5), false);
        sketch.drag((15.5, 5.5));
        sketch.drag((25.5, 5.5));
        let line = drawn::stroke(&[(5.5, 5.5), (25.5, 5.5)], 3.0, 64, 48);
        assert_eq!(sketch.line_so_far(), Some((line.clone(), false)));
        assert!(sketch.mask().is_empty());
        sketch.release(2.0);
        assert_eq!(sketch.mask(), &line);
        sketch.go((40.5, 5.5));
        sketch.put_down(false);
        sketch.step(4.0, 0.0);
        assert_eq!(sketch.at(), (44.5, 5.5), "the narrowest brush steps by pixels");
        sketch.put_down(false);
        assert_eq!(sketch.mask(), &line.union(&drawn::stroke(&[(40.5, 5.5), (44.5, 5.5)], 3.0, 64, 48)));
    }

    #[test]
    fn tools_go_round_and_breadth_and_ring_stay_in_bounds() {
        let mut sketch = sketch(Tool::Brush);
        let mut seen = Vec::new();
        for _ in 0..4 {
            seen.push(sketch.tool());
            sketch.next_tool();
        }
        assert_eq!(seen, [Tool::Brush, Tool::Outline, Tool::Line, Tool::Brush]);
        for _ in 0..60 {
            sketch.change_breadth(false);
        }
        assert_eq!(sketch.breadth(), 1.0);
        for _ in 0..60 {
            sketch.change_breadth(true);
        }
        assert_eq!(sketch.breadth(), 400.0);
        sketch.go((-5.0, 500.0));
        assert_eq!(sketch.at(), (0.0, 48.0));
    }
}

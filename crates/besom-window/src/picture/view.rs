//! Where the picture lies on the screen: one transform a frame, and everything else uses it or its inverse.
//!
//! Zoom is in *physical* screen pixels a picture pixel, and the picture's corner is put on a whole physical pixel, so that
//! 1:1 shows exactly the stored samples whatever the screen's scale.

use egui::{Pos2, Rect, Vec2, pos2, vec2};
use serde::{Deserialize, Serialize};

/// Largest zoom.
const LARGEST: f32 = 32.0;
/// Seconds an animated change takes.
const GLIDE_SECS: f32 = 0.14;

/// The transform of one frame: points of the window from pixels of the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    /// Where the picture's top left corner is, in points.
    pub(crate) origin: Pos2,
    /// Points a picture pixel.
    pub(crate) scale: f32,
}

impl Placed {
    /// A place in the window from a place in the picture.
    pub(crate) fn window(&self, x: f32, y: f32) -> Pos2 {
        self.origin + vec2(x, y) * self.scale
    }

    /// A place in the picture from a place in the window.
    pub(crate) fn picture(&self, at: Pos2) -> (f32, f32) {
        let v = (at - self.origin) / self.scale;
        (v.x, v.y)
    }

    /// A rectangle of the picture, in the window.
    pub(crate) fn rect(&self, r: &besom_scan::Rect) -> Rect {
        Rect::from_min_max(self.window(r.x0 as f32, r.y0 as f32), self.window(r.x1 as f32, r.y1 as f32))
    }
}

/// The canvas the picture is shown on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Canvas {
    /// In points.
    pub(crate) rect: Rect,
    /// Physical pixels a point.
    pub(crate) density: f32,
    /// Size of the picture in its pixels.
    pub(crate) picture: Vec2,
}

impl Canvas {
    /// The zoom at which the whole picture just fits, with a small margin.
    pub(crate) fn fit_zoom(&self) -> f32 {
        let room = (self.rect.size() - Vec2::splat(16.0)).max(Vec2::splat(1.0)) * self.density;
        let size = self.picture.max(Vec2::splat(1.0));
        (room.x / size.x).min(room.y / size.y)
    }

    fn smallest(&self) -> f32 {
        (self.fit_zoom() * 0.5).min(1.0)
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Glide {
    from: (f32, Vec2),
    to: (f32, Vec2),
    /// The picture pixel that glides from one offset to the other.
    anchor: Vec2,
    part: f32,
    fit: bool,
}

/// What the viewer chose: fit, or a zoom about a centre; and the glide from one to the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct View {
    fit: bool,
    zoom: f32,
    /// The picture pixel in the canvas's middle.
    centre: Vec2,
    glide: Option<Glide>,
}

/// How a picture lies on its canvas, to be kept while the window is closed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub(crate) struct Framing {
    /// The zoom when it is not the one at which the whole picture just fits.
    pub(crate) zoom: Option<f32>,
    /// The picture pixel in the canvas's middle.
    pub(crate) centre: (f32, f32),
}

impl Default for View {
    fn default() -> Self {
        Self { fit: true, zoom: 1.0, centre: Vec2::ZERO, glide: None }
    }
}

impl View {
    /// Moves the glide on by `dt` seconds; true while it goes on. Also settles fit and keeps the picture in reach.
    pub(crate) fn settle(&mut self, canvas: &Canvas, dt: f32) -> bool {
        if self.fit && self.glide.is_none() {
            (self.zoom, self.centre) = (canvas.fit_zoom(), canvas.picture * 0.5);
        }
        if let Some(mut glide) = self.glide {
            glide.part = (glide.part + dt / GLIDE_SECS).min(1.0);
            let t = glide.part * glide.part * (3.0 - 2.0 * glide.part);
            self.zoom = (glide.from.0.ln() * (1.0 - t) + glide.to.0.ln() * t).exp();
            let offset = glide.from.1 * (1.0 - t) + glide.to.1 * t;
            self.centre = glide.anchor - offset / self.zoom;
            self.fit = glide.fit && glide.part >= 1.0;
            self.glide = (glide.part < 1.0).then_some(glide);
        }
        self.centre = self.centre.clamp(Vec2::ZERO, canvas.picture);
        self.glide.is_some()
    }

    /// The transform for this frame.
    pub(crate) fn place(&self, canvas: &Canvas) -> Placed {
        let corner = canvas.rect.center().to_vec2() * canvas.density - self.centre * self.zoom;
        let snapped = vec2(corner.x.round(), corner.y.round()) / canvas.density;
        Placed { origin: pos2(snapped.x, snapped.y), scale: self.zoom / canvas.density }
    }

    /// Physical pixels a picture pixel.
    #[cfg(test)]
    fn zoom(&self) -> f32 {
        self.zoom
    }

    /// Where the zoom is going (the zoom itself when it rests).
    pub(crate) fn goal_zoom(&self) -> f32 {
        self.glide.map_or(self.zoom, |g| g.to.0)
    }

    /// True when the whole picture is asked for.
    pub(crate) fn is_fit(&self) -> bool {
        self.glide.map_or(self.fit, |g| g.fit)
    }

    /// How the picture lies, or will once a glide has ended.
    pub(crate) fn framing(&self) -> Framing {
        let centre = self.glide.map_or(self.centre, |g| g.anchor - g.to.1 / g.to.0.max(1e-3));
        Framing { zoom: (!self.is_fit()).then(|| self.goal_zoom()), centre: centre.into() }
    }

    /// A view of a picture that lies like this. What no canvas would show is brought within reach when it is placed.
    pub(crate) fn framed(framing: Framing) -> Self {
        let (x, y) = framing.centre;
        match framing.zoom {
            Some(zoom) if zoom.is_finite() && x.is_finite() && y.is_finite() => {
                Self { fit: false, zoom: zoom.clamp(0.01, LARGEST), centre: vec2(x, y), glide: None }
            }
            _ => Self::default(),
        }
    }

    /// Glides to the whole picture.
    pub(crate) fn glide_to_fit(&mut self, canvas: &Canvas) {
        let middle = canvas.picture * 0.5;
        self.start_glide(canvas.fit_zoom(), middle, Vec2::ZERO, true);
    }

    /// Glides to a zoom, the picture pixel under `at` (the middle when `None`) staying where it is.
    pub(crate) fn glide_to_zoom(&mut self, canvas: &Canvas, zoom: f32, at: Option<Pos2>) {
        let offset = at.map_or(Vec2::ZERO, |p| (p - canvas.rect.center()) * canvas.density);
        let anchor = self.centre + offset / self.zoom;
        self.start_glide(zoom.clamp(canvas.smallest(), LARGEST), anchor, offset, false);
    }

    /// Glides until a picture pixel is in the middle.
    pub(crate) fn glide_to_centre(&mut self, x: f32, y: f32) {
        let zoom = self.goal_zoom();
        self.start_glide(zoom, vec2(x, y), Vec2::ZERO, false);
    }

    /// Multiplies the zoom at once about a pointer: for the wheel, whose steps egui already smooths.
    pub(crate) fn zoom_by(&mut self, canvas: &Canvas, factor: f32, at: Pos2) {
        let offset = (at - canvas.rect.center()) * canvas.density;
        let anchor = self.centre + offset / self.zoom;
        self.zoom = (self.zoom * factor).clamp(canvas.smallest(), LARGEST);
        self.centre = anchor - offset / self.zoom;
        (self.fit, self.glide) = (false, None);
    }

    /// Moves the picture by a distance in points.
    pub(crate) fn pan(&mut self, canvas: &Canvas, by: Vec2) {
        self.centre = (self.centre - by * canvas.density / self.zoom).clamp(Vec2::ZERO, canvas.picture);
        (self.fit, self.glide) = (false, None);
    }

    fn start_glide(&mut self, zoom: f32, anchor: Vec2, to_offset: Vec2, fit: bool) {
        let from_offset = (anchor - self.centre) * self.zoom;
        self.fit = false;
        self.glide =
            Some(Glide { from: (self.zoom.max(1e-3), from_offset), to: (zoom, to_offset), anchor, part: 0.0, fit });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn canvas(density: f32) -> Canvas {
        let rect = Rect::from_min_max(pos2(103.3, 51.7), pos2(903.3, 651.7));
        Canvas { rect, density, picture: vec2(2048.0, 1556.0) }
    }

    #[test]
    fn the_pixel_under_the_pointer_stays_there() {
        let canvas = canvas(1.0);
        let mut view = View::default();
        view.settle(&canvas, 0.0);
        let at = pos2(300.0, 200.0);
        let before = view.place(&canvas).picture(at);
        // The picture's corner is put on a whole screen pixel before and after: each may move things by half of one.
        let half = |view: &View| 0.5 / view.zoom() + 1e-3;
        let first = half(&view);
        let near = |a: (f32, f32), b: (f32, f32), slack: f32| (a.0 - b.0).abs() <= slack && (a.1 - b.1).abs() <= slack;
        view.zoom_by(&canvas, 1.7, at);
        let after = view.place(&canvas).picture(at);
        assert!(near(before, after, first + half(&view)), "{before:?} {after:?}");
        view.glide_to_zoom(&canvas, 4.0, Some(at));
        while view.settle(&canvas, 0.016) {}
        let after = view.place(&canvas).picture(at);
        assert!(near(before, after, first + half(&view)), "{before:?} {after:?}");
        assert!((view.zoom() - 4.0).abs() < 1e-3);
    }

    #[test]
    fn at_one_to_one_picture_pixels_lie_on_screen_pixels() {
        for density in [1.0, 1.5, 2.0] {
            let canvas = canvas(density);
            let mut view = View::default();
            view.settle(&canvas, 0.0);
            view.glide_to_zoom(&canvas, 1.0, None);
            while view.settle(&canvas, 0.016) {}
            let corner = view.place(&canvas).origin.to_vec2() * density;
            assert!((corner.x - corner.x.round()).abs() < 1e-2 && (corner.y - corner.y.round()).abs() < 1e-2);
        }
    }

    #[test]
    fn fit_shows_all_and_ends_as_fit() {
        let canvas = canvas(2.0);
        let mut view = View::default();
        view.settle(&canvas, 0.0);
        view.glide_to_zoom(&canvas, 4.0, None);
        while view.settle(&canvas, 0.016) {}
        assert!(!view.is_fit());
        view.glide_to_fit(&canvas);
        while view.settle(&canvas, 0.016) {}
        assert!(view.is_fit());
        let placed = view.place(&canvas);
        let all = Rect::from_min_max(placed.window(0.0, 0.0), placed.window(2048.0, 1556.0));
        assert!(canvas.rect.contains_rect(all), "{all:?}");
    }

    #[test]
    fn a_view_is_laid_as_it_lay_and_nonsense_fits() {
        let canvas = canvas(1.0);
        let mut view = View::default();
        view.settle(&canvas, 1.0);
        assert_eq!(View::framed(view.framing()), View::default());
        view.glide_to_zoom(&canvas, 4.0, None);
        view.glide_to_centre(300.0, 200.0);
        let kept = View::framed(view.framing());
        while view.settle(&canvas, 0.05) {}
        assert!((kept.centre - view.centre).length() < 0.1 && (kept.zoom - view.zoom).abs() < 1e-3 && !kept.is_fit());
        let odd = Framing { zoom: Some(f32::NAN), centre: (0.0, f32::INFINITY) };
        assert!(View::framed(odd).is_fit());
    }
}

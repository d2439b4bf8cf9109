//! Ageing: gives clean pictures what time, handling and printing add, and keeps the truth.
//!
//! First the picture itself: weave and flicker of the gate, then grain. That is the clean truth. Then the dirt on top:
//! line scratches, hairs, dust, and at last the marks that are fixed in the gate. A label marks every pixel where the dirt's opacity is above 0.2 and the largest change
//! of a channel exceeds three grain sigmas (two for line scratches).
//!
//! A frame depends on the clean frame, its number, the settings and the seed alone: any number of threads, and any
//! order of frames, gives the same bytes.

mod dice;
pub mod files;
mod fixed;
mod gate;
mod grain;
mod hair;
pub mod infrared;
mod lines;
pub(crate) mod noise;
mod particle;
mod picture;
mod stamp;
pub mod style;

pub use gate::Gate;
pub use grain::{SHARED_VARIANCE, sigma_at};
pub use lines::LineStyle;
pub use style::Style;

use besom_scan::Plane;
use rayon::prelude::*;

use fixed::Fixed;
use lines::Line;
use stamp::Stamp;
use style::PictureStyle;

/// Label bit of dust and dirt.
pub const DUST: u8 = 1;
/// Label bit of hairs and fibres.
pub const HAIR: u8 = 2;
/// Label bit of line scratches.
pub const LINE: u8 = 4;
/// Label bit of marks fixed in the gate or on the scanner's glass.
pub const GATE: u8 = 8;

/// Lowest opacity that a label marks.
pub const LABEL_OPACITY: f32 = 0.2;

/// How bad the film is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// No dirt at all, only grain, weave and flicker: what a clean reel must suffer without a false alarm.
    Undamaged,
    /// A well kept print.
    Light,
    /// A print that was run for years.
    Heavy,
}

/// What is added, and how much of it. Fields may be set to anything not negative; zero switches a part off.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Mean standard deviation of the grain in codes of 0..1023.
    pub grain: f32,
    /// Root mean square of the picture's unsteadiness along each axis, in pixels.
    pub weave: f32,
    /// Root mean square of the exposure's change, as a share: 0.015 is 1.5 %.
    pub flicker: f32,
    /// Mean number of dust particles on a full 2K frame (2048 x 1556); smaller frames get fewer by the square root of
    /// their area, because particles do not shrink below what can be seen.
    pub dust: f32,
    /// The same for hairs.
    pub hairs: f32,
    /// Probability that a frame carries a dense cloud of particles.
    pub clouds: f32,
    /// Line scratches that cross a frame on average.
    pub lines: f32,
    /// Marks fixed in the gate or on the scanner's glass that a clip carries on average.
    pub gate_marks: f32,
    /// What kind of film and dirt it is.
    pub style: Style,
}

impl Settings {
    /// The preset of a level.
    pub fn of(level: Level) -> Self {
        let film = Self {
            grain: 7.0,
            weave: 0.5,
            flicker: 0.015,
            dust: 0.0,
            hairs: 0.0,
            clouds: 0.0,
            lines: 0.0,
            gate_marks: 0.0,
            style: Style::default(),
        };
        match level {
            Level::Undamaged => film,
            Level::Light => Self { dust: 45.0, hairs: 5.0, clouds: 0.04, lines: 0.7, ..film },
            Level::Heavy => Self { dust: 220.0, hairs: 28.0, clouds: 0.15, lines: 2.5, ..film },
        }
    }

    /// Largest change of a channel, in codes, up to which a pixel with these label bits is not labelled.
    pub fn visible(&self, kind: u8) -> f32 {
        // Film without grain still has the rounding of its scan.
        let sigma = self.grain.max(1.0);
        if kind == LINE { 2.0 * sigma } else { 3.0 * sigma }
    }
}

/// One aged frame and its truth. Planes hold whole codes of 0..1023, as a 10-bit file does.
#[derive(Clone, Debug, PartialEq)]
pub struct AgedFrame {
    /// The picture with grain, weave and flicker, before the dirt: the truth a repair is held against.
    pub clean: Vec<Plane>,
    /// The picture with the dirt.
    pub aged: Vec<Plane>,
    /// Label bits ([`DUST`], [`HAIR`], [`LINE`], [`GATE`]) of each pixel.
    pub labels: Plane<u8>,
    /// Opacity of dust, hairs and lines at each pixel, 0..1.
    pub opacity: [Plane; 3],
    /// What the gate did.
    pub gate: Gate,
}

/// An aged clip and its truth, frame by frame; see [`AgedFrame`].
#[derive(Clone, Debug, PartialEq)]
pub struct Aged {
    /// The truth.
    pub clean: Vec<Vec<Plane>>,
    /// The pictures with dirt.
    pub aged: Vec<Vec<Plane>>,
    /// Label bits.
    pub labels: Vec<Plane<u8>>,
}

/// Ages a whole clip, frames in parallel. Frames are planes of one size: one channel, or red, green, blue.
pub fn age(frames: &[Vec<Plane>], settings: &Settings, seed: u64) -> Aged {
    let size = frames.first().and_then(|f| f.first()).map_or((0, 0), |p| (p.width(), p.height()));
    let ageing = Ageing::new(settings, size.0, size.1, frames.len(), seed);
    let done: Vec<AgedFrame> = frames.par_iter().enumerate().map(|(n, planes)| ageing.frame(n, planes)).collect();
    let mut aged = Aged { clean: Vec::new(), aged: Vec::new(), labels: Vec::new() };
    for frame in done {
        aged.clean.push(frame.clean);
        aged.aged.push(frame.aged);
        aged.labels.push(frame.labels);
    }
    aged
}

/// The ageing of a clip, frame by frame, for clips that do not fit in memory.
#[derive(Clone, Debug)]
pub struct Ageing {
    settings: Settings,
    seed: u64,
    size: (usize, usize),
    lines: Vec<Line>,
    fixed: Vec<Fixed>,
    clouds: Vec<usize>,
}

impl Ageing {
    /// Plans the ageing of a clip of `frames` frames of `width` x `height` pixels.
    pub fn new(settings: &Settings, width: usize, height: usize, frames: usize, seed: u64) -> Self {
        let lines = lines::plan(settings.lines, frames, (width, height), &settings.style.line, size_scale(width), seed);
        let fixed = fixed::plan(settings.gate_marks, frames, seed);
        Self { settings: settings.clone(), seed, size: (width, height), lines, fixed, clouds: Vec::new() }
    }

    /// The same with a dense cloud of particles on frame `number`, whatever the dice say.
    #[must_use]
    pub fn with_cloud(mut self, number: usize) -> Self {
        self.clouds.push(number);
        self
    }

    /// Ages frame `number` (from 0) of the clip, whose clean planes are given.
    pub fn frame(&self, number: usize, planes: &[Plane]) -> AgedFrame {
        let settings = &self.settings;
        let style = &settings.style;
        let here = (self.seed, number);
        let gate = Gate::of_frame(settings.weave, settings.flicker, &style.gate, here);
        let mut clean = if style.picture == PictureStyle::default() {
            gate.apply(planes)
        } else {
            gate.apply(&picture::styled(planes, &style.picture))
        };
        // What an earlier film held is needed again only where dirt was printed in from it.
        let bare = (style.dirt.printed > 0.0).then(|| clean.clone());
        grain::add(&mut clean, settings.grain, &style.grain, here);
        round_to_codes(&mut clean);
        let mut aged = clean.clone();
        let opacity = self.soil(number, &mut aged, bare.as_deref());
        let fixed = self.lay_fixed(number, gate.shift, &mut aged, bare.as_deref());
        round_to_codes(&mut aged);
        let labels = label(settings, &clean, &aged, &opacity, fixed.as_ref());
        AgedFrame { clean, aged, labels, opacity, gate }
    }

    /// Lays all dirt of a frame on it and returns the opacities of dust, hairs and lines. `bare` is the picture without grain.
    fn soil(&self, number: usize, planes: &mut [Plane], bare: Option<&[Plane]>) -> [Plane; 3] {
        let (width, height) = self.size;
        let mut opacity = std::array::from_fn(|_| Plane::new(width, height));
        let [dust, hair, line] = &mut opacity;
        for scratch in &self.lines {
            scratch.lay(number, planes, line);
        }
        let [hairs, particles] = self.stamps(number);
        for stamp in hairs {
            stamp.lay(planes, bare, hair);
        }
        for stamp in particles {
            stamp.lay(planes, bare, dust);
        }
        opacity
    }

    /// Lays the marks fixed in the gate on a frame and returns their opacity; `None` for a clip without any.
    fn lay_fixed(
        &self,
        number: usize,
        shift: (f32, f32),
        planes: &mut [Plane],
        bare: Option<&[Plane]>,
    ) -> Option<Plane> {
        let (width, height) = self.size;
        let mut opacity = (!self.fixed.is_empty()).then(|| Plane::new(width, height))?;
        for mark in &self.fixed {
            if let Some(stamp) = mark.stamp(number, shift, self.size, size_scale(width), &self.settings.style) {
                stamp.lay(planes, bare, &mut opacity);
            }
        }
        Some(opacity)
    }

    /// The hairs and the particles of a frame, in the order in which they are laid on it.
    fn stamps(&self, number: usize) -> [Vec<Stamp>; 2] {
        let (width, height) = self.size;
        let (scale, here) = (size_scale(width), (self.seed, number));
        let share = libm::sqrtf((width * height) as f32 / (2048.0 * 1556.0));
        let settings = &self.settings;
        let cloud = if self.clouds.contains(&number) { 1.0 } else { settings.clouds };
        [
            hair::of_frame(settings.hairs * share, self.size, scale, &settings.style, here),
            particle::of_frame((settings.dust * share, cloud), self.size, scale, &settings.style.dirt, here),
        ]
    }
}

/// Size of dirt on a frame of a width against a 2K scan. Dirt on small clips keeps a size that can be seen and that the
/// four-pixel limit of an object does not swallow.
fn size_scale(width: usize) -> f32 {
    (width as f32 / 2048.0).max(0.55)
}

fn round_to_codes(planes: &mut [Plane]) {
    for sample in planes.iter_mut().flat_map(Plane::as_mut_slice) {
        *sample = sample.round().clamp(0.0, 1023.0);
    }
}

fn label(
    settings: &Settings,
    clean: &[Plane],
    aged: &[Plane],
    opacity: &[Plane; 3],
    fixed: Option<&Plane>,
) -> Plane<u8> {
    let (width, height) = (opacity[0].width(), opacity[0].height());
    Plane::from_fn(width, height, |x, y| {
        let changes = clean.iter().zip(aged).map(|(c, a)| (c.at(x, y) - a.at(x, y)).abs());
        let change = changes.fold(0.0, f32::max);
        let kinds = [DUST, HAIR, LINE].into_iter().zip(opacity).chain(fixed.map(|opacity| (GATE, opacity)));
        kinds.fold(0, |bits, (kind, opacity)| {
            let seen = opacity.at(x, y) > LABEL_OPACITY && change > settings.visible(kind);
            if seen { bits | kind } else { bits }
        })
    })
}

#[cfg(test)]
mod tests;

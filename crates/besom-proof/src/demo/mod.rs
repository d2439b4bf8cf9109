//! The demo reel: reel 2 of "Lamps of Skerry Point", an invented documentary of 1961 about the lighthouse service.
//!
//! Every frame is painted by this module, aged by [`crate::ageing`] and comes with its truth. The shots tempt a detector
//! with what belongs to the picture: a title scuffed on purpose, sea glitter, snow past the lamp room and a lamp that
//! changes the exposure, flags that whip before a stained wall, hands at a winch. No person or place in it exists.
//!
//! A frame depends on the settings and its number alone, so any number of threads gives the same bytes.

mod dusk;
mod film;
mod flags;
mod lamp_room;
mod launch;
mod letters;
mod paint;
mod render;
mod sky_sea;
mod splice;
mod title;
mod winch;
mod write;

use std::ops::Range;

use besom_scan::Plane;

use crate::ageing::{Ageing, Level, Settings as AgeingSettings};
use paint::Scene;
pub use splice::SPLICE;
pub use write::{Parts, write};

/// Frames a second.
pub const FRAME_RATE: f32 = 24.0;

/// Number of the reel's first scan: one hour at 24 frames a second, as reels begin by custom.
pub const FIRST_NUMBER: u64 = 86_400;

/// Bits of the moving specks that belong to the picture.
pub mod belonging {
    /// Scuffs and chalk of the title card.
    pub const SCUFFS: u8 = 1;
    /// Glints of the sun on the sea.
    pub const GLITTER: u8 = 2;
    /// Snowflakes.
    pub const SNOW: u8 = 4;
    /// Gulls, and the last glints, at dusk.
    pub const GULLS: u8 = 8;
}

/// Size, length and seed of a demo reel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Columns; pictures are composed for 4:3.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// Frames of the whole reel.
    pub frames: usize,
    /// Another seed gives other clouds, stones and dirt.
    pub seed: u64,
}

impl Default for Settings {
    /// The small reel that the repository carries.
    fn default() -> Self {
        Self { width: 512, height: 384, frames: 24, seed: 1961 }
    }
}

/// What a shot shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Subject {
    Title,
    Launch,
    LampRoom,
    Flags,
    Winch,
    Dusk,
}

impl Subject {
    fn name(self) -> &'static str {
        match self {
            Self::Title => "title slate",
            Self::Launch => "launch on the sea",
            Self::LampRoom => "lamp room in snow",
            Self::Flags => "signal flags",
            Self::Winch => "hands at the winch",
            Self::Dusk => "tower at dusk",
        }
    }

    fn scene(self, seed: u32) -> Box<dyn Scene> {
        match self {
            Self::Title => Box::new(title::Title::new(seed)),
            Self::Launch => Box::new(launch::Launch::new(seed)),
            Self::LampRoom => Box::new(lamp_room::LampRoom { seed }),
            Self::Flags => Box::new(flags::Flags { seed }),
            Self::Winch => Box::new(winch::Winch { seed }),
            Self::Dusk => Box::new(dusk::Dusk::new(seed)),
        }
    }

    /// Bit of what belongs in it.
    fn belongs(self) -> u8 {
        match self {
            Self::Title => belonging::SCUFFS,
            Self::Launch => belonging::GLITTER,
            Self::LampRoom => belonging::SNOW,
            Self::Dusk => belonging::GULLS,
            Self::Flags | Self::Winch => 0,
        }
    }

    /// Frames into its action at which a shot begins.
    fn entry(self) -> usize {
        match self {
            Self::LampRoom => 27,
            Self::Winch => 3,
            _ => 8,
        }
    }
}

/// A shot of the reel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shot {
    /// What it shows.
    pub name: &'static str,
    /// Its frames, counted from 0.
    pub range: Range<usize>,
    subject: Subject,
    take: u32,
}

/// One frame and its truth; planes hold whole codes of 0..1023 on the printing-density scale.
#[derive(Clone, Debug, PartialEq)]
pub struct DemoFrame {
    /// The picture with grain, weave and flicker, before the dirt.
    pub clean: Vec<Plane>,
    /// The picture as it is scanned.
    pub aged: Vec<Plane>,
    /// Label bits of the dirt, as [`crate::ageing::DUST`] and so on, and [`SPLICE`].
    pub labels: Plane<u8>,
    /// Bits of [`belonging`]: specks that a restorer leaves alone.
    pub belongs: Plane<u8>,
}

/// A demo reel, computed one frame at a time.
pub struct DemoReel {
    settings: Settings,
    shots: Vec<Shot>,
    ageing: Ageing,
    dirt: AgeingSettings,
}

/// Longest shot in frames; a longer reel repeats its subjects in other takes.
const LONGEST: usize = 96;

/// Plans a reel; frames are rendered by [`DemoReel::frame`].
pub fn render(settings: &Settings) -> DemoReel {
    let dirt = AgeingSettings { dust: 150.0, hairs: 22.0, clouds: 0.0, lines: 1.2, ..AgeingSettings::of(Level::Heavy) };
    let shots = cut(settings.frames);
    let cloudy = shots.iter().find(|shot| shot.subject == Subject::Flags);
    let cloud = cloudy.map(|shot| shot.range.start + shot.range.len() / 2);
    let ageing = Ageing::new(&dirt, settings.width, settings.height, settings.frames, settings.seed);
    let ageing = cloud.into_iter().fold(ageing, Ageing::with_cloud);
    DemoReel { settings: settings.clone(), shots, ageing, dirt }
}

/// Shares the frames among the shots. A short reel leaves out the last subject, so that shots are long enough for
/// neighbours two frames away.
fn cut(frames: usize) -> Vec<Shot> {
    use Subject::{Dusk, Flags, LampRoom, Launch, Title, Winch};
    let subjects: &[Subject] = if frames < 36 {
        &[Title, Launch, LampRoom, Flags, Winch]
    } else {
        &[Title, Launch, LampRoom, Flags, Winch, Dusk]
    };
    let takes = frames.div_ceil(LONGEST * subjects.len()).max(1);
    let count = takes * subjects.len();
    let bound = |n: usize| frames * n / count;
    (0..count)
        .map(|n| {
            let subject = subjects[n % subjects.len()];
            Shot { name: subject.name(), range: bound(n)..bound(n + 1), subject, take: (n / subjects.len()) as u32 }
        })
        .filter(|shot| !shot.range.is_empty())
        .collect()
}

impl DemoReel {
    /// The reel's settings.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Its shots in order.
    pub fn shots(&self) -> &[Shot] {
        &self.shots
    }

    /// First frame after the spliced cut; the mark lies on it and on the frame before. `None` in a reel of one shot.
    pub fn splice(&self) -> Option<usize> {
        self.shots.iter().find(|shot| shot.subject == Subject::LampRoom).map(|shot| shot.range.start).filter(|&n| n > 0)
    }

    /// Renders frame `number`, counted from 0; `None` past the end.
    pub fn frame(&self, number: usize) -> Option<DemoFrame> {
        let shot = self.shots.iter().find(|shot| shot.range.contains(&number))?;
        let Settings { width, height, seed, .. } = self.settings;
        let scene = shot.subject.scene((seed as u32).wrapping_add(shot.take.wrapping_mul(7919)) & 0x00FF_FFFF);
        let moment = number - shot.range.start + shot.subject.entry();
        let (mut planes, specks) = render::frame(scene.as_ref(), width, height, moment, FRAME_RATE);
        film::develop(&mut planes);
        let aged = self.ageing.frame(number, &planes);
        let mut done = DemoFrame {
            belongs: belonging_plane(&specks, aged.gate.shift, shot.subject.belongs()),
            clean: aged.clean,
            aged: aged.aged,
            labels: aged.labels,
        };
        self.splice_onto(number, &mut done);
        Some(done)
    }

    fn splice_onto(&self, number: usize, frame: &mut DemoFrame) {
        let Some(after) = self.splice() else { return };
        let end = match number {
            n if n == after => splice::End::Upper,
            n if n + 1 == after => splice::End::Lower,
            _ => return,
        };
        let visible = self.dirt.visible(SPLICE);
        splice::mark(&mut frame.aged, &mut frame.labels, end, visible, self.settings.seed as u32 & 0xFFFF);
    }
}

/// Pixels with a speck that belongs, moved with the gate's weave and one pixel larger than the speck.
fn belonging_plane(specks: &Plane, shift: (f32, f32), bit: u8) -> Plane<u8> {
    let (dx, dy) = (shift.0.round() as i32, shift.1.round() as i32);
    let seen = |x: i32, y: i32| specks.get(x, y).is_some_and(|cover| cover > 0.12);
    Plane::from_fn(specks.width(), specks.height(), |x, y| {
        let (x, y) = (x as i32 - dx, y as i32 - dy);
        let near = (-1..=1).any(|j| (-1..=1).any(|i| seen(x + i, y + j)));
        if near { bit } else { 0 }
    })
}

#[cfg(test)]
mod tests;

//! Making a reel folder, opening it, and reading what changed.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use besom_detect::Candidate;
use besom_scan::{Rect, Run, RunMask};
use rayon::prelude::*;

use super::Reel;
use crate::error::{ReelError, ReelErrorKind};
use crate::file::{candidates, journal, reel, shots};
use crate::fold::{Fold, Stacks};
use crate::model::artist::Artist;
use crate::model::info::ReelInfo;
use crate::model::record::Deed;
use crate::model::shot::Shot;

/// Name, length and time of each candidate file: the files are immutable, so the same stamp means the same candidates.
pub(super) type ChunkStamp = Vec<(PathBuf, u64, Option<SystemTime>)>;

impl Reel {
    /// Makes a reel folder. `folder` must not exist, or be an empty folder; on a failure what was made is taken away.
    ///
    /// # Errors
    /// Also when there is no shot, or when facts or shots make no sense.
    pub fn create(folder: &Path, info: &ReelInfo, shots: &[Shot]) -> Result<(), ReelError> {
        let existed = folder.exists();
        if existed && !is_empty_folder(folder) {
            return Err(ReelError::request(format!("{}: it exists already and is not empty", folder.display())));
        }
        if shots.is_empty() {
            return Err(ReelError::request(format!("{}: a reel needs at least one shot", folder.display())));
        }
        // The facts come last: a folder without them is no reel folder, whatever else is in it.
        let made = shots::write(folder, shots).and_then(|()| reel::write(folder, info));
        if made.is_err() {
            let _ =
                if existed { std::fs::remove_file(folder.join("shots.ron")) } else { std::fs::remove_dir_all(folder) };
        }
        made
    }

    /// Opens a reel folder to work in it as `artist` (see [`Artist`] for the names that can be). Candidates and
    /// journals that are there are loaded; a torn last line of a journal is left out and listed in
    /// [`Reel::problems`].
    ///
    /// Writes nothing: the artist's journal is made by the first record.
    ///
    /// # Errors
    /// Not a reel folder, a file of it damaged or from a newer Besom, or a name that cannot be used. Damaged candidate
    /// files and damaged lines of journals are not errors: they are listed in [`Reel::problems`].
    pub fn open(folder: &Path, artist: &str) -> Result<Self, ReelError> {
        let artist = free_name(folder, artist)?;
        Self::load(folder, Some(artist))
    }

    /// From now on another artist works here: records go to their journal, and undo takes back what they did. What is loaded
    /// stays; the next record reads the journals again if that artist has one.
    ///
    /// # Errors
    /// A reel opened to read, or a name that cannot be used; the artist stays who it was then.
    pub fn work_as(&mut self, artist: &str) -> Result<(), ReelError> {
        if self.artist.is_none() {
            return Err(super::read_only());
        }
        let artist = free_name(&self.folder, artist)?;
        if self.artist.as_ref() == Some(&artist) {
            return Ok(());
        }
        // What of their journal was loaded is not known by its length: any length but none makes the next record look.
        self.own_bytes = if journal::path_of(&self.folder, &artist).exists() { u64::MAX } else { 0 };
        self.writer = None;
        self.stacks = Stacks::of(self.records(), artist.as_str());
        self.artist = Some(artist);
        Ok(())
    }

    /// Opens a reel folder to look at it; every edit is refused.
    pub fn open_to_read(folder: &Path) -> Result<Self, ReelError> {
        Self::load(folder, None)
    }

    fn load(folder: &Path, artist: Option<Artist>) -> Result<Self, ReelError> {
        let info = reel::read(folder)?;
        let frames = info.frames(folder);
        let fold = empty_fold(folder, &info)?;
        let mut reel = Self {
            folder: folder.to_owned(),
            artist,
            info,
            frames,
            fold,
            stacks: Stacks::default(),
            problems: Vec::new(),
            chunks: ChunkStamp::new(),
            own_bytes: 0,
            writer: None,
            groups: super::groups::Cache::default(),
        };
        let mut problems = reel.load_candidates()?;
        problems.extend(reel.load_journals()?);
        reel.problems = problems;
        Ok(reel)
    }

    /// Reads what changed on disk since: facts, shots, candidates, other artists' records. On an error the reel stays
    /// as it was. Candidate numbers may mean other candidates afterwards.
    pub fn refresh(&mut self) -> Result<(), ReelError> {
        let info = reel::read(&self.folder)?;
        let fresh = empty_fold(&self.folder, &info)?;
        let same_ground = info == self.info && fresh.shots == self.fold.shots && stamp(&self.folder)? == self.chunks;
        if same_ground {
            // Candidate files are listed as damaged by an earlier load only; keep those sentences.
            let own_folder = candidates::folder_in(&self.folder).display().to_string();
            let mut problems: Vec<String> =
                self.problems.iter().filter(|p| p.starts_with(&own_folder)).cloned().collect();
            problems.extend(self.load_journals()?);
            self.problems = problems;
            return Ok(());
        }
        let mut reel = Self::load(&self.folder, self.artist.clone())?;
        reel.writer = self.writer.take();
        if self.fold.defers_lessons() {
            reel.fold.defer_lessons();
        }
        *self = reel;
        Ok(())
    }

    fn load_candidates(&mut self) -> Result<Vec<String>, ReelError> {
        self.chunks = stamp(&self.folder)?;
        let read: Vec<_> = self.chunks.par_iter().map(|(path, _, _)| candidates::read(path)).collect();
        let mut problems = Vec::new();
        let mut chunks = Vec::new();
        for (chunk, (path, _, _)) in read.into_iter().zip(&self.chunks) {
            match chunk {
                Ok(c) if (c.width as usize, c.height as usize) == (self.info.width, self.info.height) => chunks.push(c),
                Ok(_) => {
                    let path = path.display();
                    problems.push(format!("{path}: it speaks of frames of another size and is left out"));
                }
                Err(error) if error.kind() == ReelErrorKind::Newer => return Err(error),
                Err(error) => problems.push(error.to_string()),
            }
        }
        // The later detection counts; of one detection's overlapping chunks any would do, so the choice only has to be
        // the same everywhere.
        chunks.sort_by_key(|c| (c.generation, c.first, c.last, c.fingerprint));
        let mut found: BTreeMap<usize, Vec<Candidate>> = BTreeMap::new();
        for (number, list) in chunks.into_iter().flat_map(|c| c.frames) {
            if let Some(place) = self.fold.position(number) {
                found.insert(place, list);
            }
        }
        self.fold.set_candidates(found);
        Ok(problems)
    }

    fn load_journals(&mut self) -> Result<Vec<String>, ReelError> {
        let own = self.artist.as_ref().map(|artist| journal::path_of(&self.folder, artist));
        let mut records = Vec::new();
        let mut problems = Vec::new();
        let mut own_bytes = 0;
        for path in journal::list(&self.folder)? {
            let read = journal::read(&path)?;
            if own.as_ref() == Some(&path) {
                own_bytes = read.all_bytes;
            }
            records.extend(read.records);
            problems.extend(read.problems);
        }
        for record in &mut records {
            if let Deed::Protect { rect, .. } | Deed::ChangeRegion { rect, .. } = &mut record.deed {
                *rect = rect.intersect(&Rect::of_size(self.info.width, self.info.height));
            }
            if let Deed::Reshape { masks, .. } = &mut record.deed {
                for mask in masks.iter_mut() {
                    *mask = cut_to_frame(mask, &self.info);
                }
                masks.retain(|mask| !mask.is_empty());
            } else if let Deed::HandMark { mask, .. }
            | Deed::HandMarks { mask, .. }
            | Deed::Protect { mask: Some(mask), .. }
            | Deed::ChangeRegion { mask: Some(mask), .. } = &mut record.deed
            {
                *mask = cut_to_frame(mask, &self.info);
            }
        }
        self.own_bytes = own_bytes;
        problems.extend(self.fold.set_records(records));
        self.stacks = self.artist().map(|a| Stacks::of(self.records(), a)).unwrap_or_default();
        Ok(problems)
    }
}

/// The artist of this name, unless their journal could be taken for that of somebody else.
fn free_name(folder: &Path, artist: &str) -> Result<Artist, ReelError> {
    let artist = Artist::new(artist)?;
    for path in journal::list(folder)? {
        let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
        if stem != artist.as_str() && stem.to_lowercase() == artist.as_str().to_lowercase() {
            // Some file systems would take both names for one file, and two artists never write one file.
            return Err(ReelError::request(format!(
                "the artist name {:?} differs from {stem:?}, who already works on this reel, only in capitals",
                artist.as_str()
            )));
        }
    }
    Ok(artist)
}

fn empty_fold(folder: &Path, info: &ReelInfo) -> Result<Fold, ReelError> {
    let mut shots = shots::read(folder)?;
    if shots.is_empty() {
        return Err(ReelError::damaged(&folder.join("shots.ron"), "it holds no shot"));
    }
    cover(&mut shots, info);
    let numbers = info.frames(folder).into_iter().map(|f| f.number).collect();
    Ok(Fold::new(numbers, shots, info.default_sensitivity, (info.width, info.height)))
}

/// Stretches shots over scans that the survey left out (unreadable ones, say), so that every scan has a shot.
fn cover(shots: &mut [Shot], info: &ReelInfo) {
    let starts: Vec<u64> = shots.iter().skip(1).map(|s| s.first).collect();
    for (shot, next_first) in shots.iter_mut().zip(starts) {
        shot.last = next_first - 1;
    }
    if let Some(first) = shots.first_mut() {
        first.first = first.first.min(info.first);
    }
    if let Some(last) = shots.last_mut() {
        last.last = last.last.max(info.last);
    }
}

/// A journal from elsewhere may hold a mark beyond the frame; whoever repairs relies on masks that lie inside.
fn cut_to_frame(mask: &RunMask, info: &ReelInfo) -> RunMask {
    let (width, height) = (info.width as u32, info.height as u32);
    let inside = mask.runs().iter().filter(|r| r.y < height && r.x0 < width);
    RunMask::from_runs(inside.map(|r| Run { x1: r.x1.min(width), ..*r }).collect())
}

fn stamp(folder: &Path) -> Result<ChunkStamp, ReelError> {
    let paths = candidates::list(folder)?;
    let facts = |path: PathBuf| {
        let facts = std::fs::metadata(&path).ok();
        let length = facts.as_ref().map_or(0, std::fs::Metadata::len);
        (path, length, facts.and_then(|f| f.modified().ok()))
    };
    Ok(paths.into_iter().map(facts).collect())
}

fn is_empty_folder(folder: &Path) -> bool {
    std::fs::read_dir(folder).is_ok_and(|mut entries| entries.next().is_none())
}

//! `journal/ARTIST.ron`: what one artist did, one record a line, never changed once written.
//!
//! A record is acknowledged only after its line has been written and synced. A crash can therefore leave at most one
//! incomplete line at the end; it is left out by readers and cut off by the artist's next record. Only one Besom at a
//! time writes a journal: it holds a lock on `ARTIST.lock` beside it (a file of its own, because some systems keep
//! others from reading what is locked).

use std::fs::{File, OpenOptions, TryLockError};
use std::io::Write as _;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::record_line;
use crate::error::{ReelError, ReelErrorKind};
use crate::model::artist::Artist;
use crate::model::record::Record;

/// The version of the records that this Besom writes, and the newest that it reads.
pub const VERSION: u64 = record_line::VERSION;

/// What a journal holds.
#[derive(Debug, Default, PartialEq)]
pub struct Journal {
    /// Its records, as they stand in the file.
    pub records: Vec<Record>,
    /// Bytes of the file up to the end of its last record.
    pub good_bytes: u64,
    /// Bytes of the file.
    pub all_bytes: u64,
    /// True when the last record lacks only its line end.
    pub unended: bool,
    /// What had to be left out, one sentence each.
    pub problems: Vec<String>,
}

/// The folder of the journals.
pub fn folder_in(folder: &Path) -> PathBuf {
    folder.join("journal")
}

/// The journal of an artist.
pub fn path_of(folder: &Path, artist: &Artist) -> PathBuf {
    folder_in(folder).join(format!("{artist}.ron"))
}

/// Every journal of a reel folder, sorted by name.
pub fn list(folder: &Path) -> Result<Vec<PathBuf>, ReelError> {
    super::list_files(&folder_in(folder), "ron")
}

/// Reads one journal. A file that is not there is an empty journal.
///
/// An incomplete last line is left out and listed, and so is a line inside that cannot be read (it is kept in the
/// file). A record from a newer Besom is refused.
pub fn read(path: &Path) -> Result<Journal, ReelError> {
    match std::fs::read(path) {
        Ok(bytes) => parse(path, &bytes),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Journal::default()),
        Err(e) => Err(ReelError::access(path, "it cannot be read", &e)),
    }
}

enum LineRead {
    Record(Box<Record>),
    Newer(u64),
    Bad(String),
}

fn read_line(bytes: &[u8]) -> LineRead {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return LineRead::Bad("it is not UTF-8 text".to_owned());
    };
    match record_line::version_of(text) {
        Some(version) if version > VERSION => LineRead::Newer(version),
        _ => match record_line::parse(text) {
            Ok(record) => LineRead::Record(Box::new(record)),
            Err(reason) => LineRead::Bad(reason),
        },
    }
}

fn parse(path: &Path, bytes: &[u8]) -> Result<Journal, ReelError> {
    let mut pieces: Vec<&[u8]> = bytes.split(|b| *b == b'\n').collect();
    // What stands after the last line end: nothing, or a record that lacks its line end, or a torn one.
    let tail = pieces.pop().unwrap_or_default();
    let read: Vec<LineRead> = pieces.par_iter().map(|line| read_line(line)).collect();
    let mut journal = Journal {
        records: Vec::with_capacity(read.len() + 1),
        good_bytes: (bytes.len() - tail.len()) as u64,
        all_bytes: bytes.len() as u64,
        ..Journal::default()
    };
    for (index, line) in read.into_iter().enumerate() {
        match line {
            LineRead::Record(record) => journal.records.push(*record),
            LineRead::Newer(version) => return Err(ReelError::newer(path, version, VERSION)),
            LineRead::Bad(reason) => journal.problems.push(format!(
                "{}: line {} cannot be read and is left out: {reason}",
                path.display(),
                index + 1
            )),
        }
    }
    if !tail.is_empty() {
        match read_line(tail) {
            LineRead::Record(record) => {
                journal.records.push(*record);
                journal.good_bytes = journal.all_bytes;
                journal.unended = true;
            }
            LineRead::Newer(version) => return Err(ReelError::newer(path, version, VERSION)),
            LineRead::Bad(_) => journal.problems.push(format!(
                "{}: its last line is incomplete ({} bytes) and is left out",
                path.display(),
                tail.len()
            )),
        }
    }
    Ok(journal)
}

/// The one writer of a journal.
#[derive(Debug)]
pub struct Writer {
    path: PathBuf,
    file: File,
    /// Held, not read: dropping it lets go of the lock.
    _lock: File,
    length: u64,
}

impl Writer {
    /// Opens an artist's journal to write: takes the lock, reads what is there, cuts off an incomplete last line.
    /// The journal comes back so that the caller can see records that it has not read yet.
    ///
    /// # Errors
    /// Besides failures of the file system: the artist's journal is written by another Besom at this moment, or holds
    /// records from a newer one.
    pub fn open(folder: &Path, artist: &Artist) -> Result<(Self, Journal), ReelError> {
        let path = path_of(folder, artist);
        let failed = |e: &std::io::Error| ReelError::access(&path, "it cannot be opened to write", e);
        std::fs::create_dir_all(folder_in(folder)).map_err(|e| failed(&e))?;
        let lock_path = path.with_extension("lock");
        let lock = OpenOptions::new().create(true).append(true).open(&lock_path).map_err(|e| failed(&e))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                let path = path.display();
                return Err(ReelError::new(
                    ReelErrorKind::InUse,
                    format!("{path}: another Besom is writing as {artist}; close it or work under another name"),
                ));
            }
            Err(TryLockError::Error(e)) => return Err(failed(&e)),
        }
        let journal = read(&path)?;
        let file = OpenOptions::new().create(true).append(true).open(&path).map_err(|e| failed(&e))?;
        let mut writer = Self { path: path.clone(), file, _lock: lock, length: journal.good_bytes };
        if journal.good_bytes < journal.all_bytes {
            writer.file.set_len(journal.good_bytes).map_err(|e| failed(&e))?;
        }
        if journal.unended {
            writer.put(b"\n")?;
        }
        writer.file.sync_all().map_err(|e| failed(&e))?;
        sync_folder(&folder_in(folder));
        Ok((writer, journal))
    }

    /// Appends one record; it is on disk when this returns. On an error the file is as it was before.
    pub fn append(&mut self, record: &Record) -> Result<(), ReelError> {
        let mut line = record_line::write(record).map_err(|reason| ReelError::damaged(&self.path, reason))?;
        line.push('\n');
        self.put(line.as_bytes())
    }

    fn put(&mut self, bytes: &[u8]) -> Result<(), ReelError> {
        let written = self.file.write_all(bytes).and_then(|()| self.file.sync_data());
        if let Err(error) = written {
            // Best effort: should this fail too, the next opening cuts the incomplete line.
            let _ = self.file.set_len(self.length);
            return Err(ReelError::access(&self.path, "the record could not be written", &error));
        }
        self.length += bytes.len() as u64;
        Ok(())
    }
}

/// Makes a new file's name last through a crash, where the system can sync folders.
fn sync_folder(folder: &Path) {
    if let Ok(folder) = File::open(folder) {
        // Windows cannot sync a folder and some network file systems will not; the file itself is synced anyway.
        let _ = folder.sync_all();
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::fold::samples;
    use proptest::prelude::*;

    fn ines() -> Artist {
        Artist::new("Ines").unwrap()
    }

    fn numbered(deeds: Vec<Record>) -> Vec<Record> {
        (1u64..).zip(deeds).map(|(sequence, r)| Record { sequence, artist: "Ines".into(), ..r }).collect()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(8))]

        /// Cut anywhere: it opens, every whole line before the cut is there, and writing goes on.
        #[test]
        fn a_journal_cut_at_any_byte_opens(records in proptest::collection::vec(samples::records(), 4..9)) {
            let records = numbered(records);
            let folder = tempfile::tempdir().unwrap();
            let path = path_of(folder.path(), &ines());
            let (mut writer, _) = Writer::open(folder.path(), &ines()).unwrap();
            let mut ends = vec![0usize];
            for record in &records {
                writer.append(record).unwrap();
                ends.push(std::fs::metadata(&path).unwrap().len() as usize);
            }
            drop(writer);
            let whole = std::fs::read(&path).unwrap();
            for cut in whole.len().saturating_sub(500)..=whole.len() {
                let journal = parse(&path, &whole[..cut]).unwrap();
                // A line whose end alone is missing is whole.
                let expected = ends.iter().skip(1).filter(|end| **end <= cut + 1).count();
                prop_assert_eq!(&journal.records[..], &records[..expected], "cut at {}", cut);
                let torn = !ends.contains(&cut) && !ends.contains(&(cut + 1));
                prop_assert_eq!(journal.problems.len(), usize::from(torn));
            }
            for cut in [whole.len() - 1, whole.len() - 3, ends[2] + 1] {
                std::fs::write(&path, &whole[..cut]).unwrap();
                let (mut writer, before) = Writer::open(folder.path(), &ines()).unwrap();
                writer.append(&records[0]).unwrap();
                let after = read(&path).unwrap();
                prop_assert_eq!(after.records.len(), before.records.len() + 1);
                prop_assert!(after.problems.is_empty());
            }
        }
    }

    #[test]
    fn a_damaged_line_inside_is_listed_and_nothing_else_is_lost() {
        let path = Path::new("journal/Ines.ron");
        let note = |n: u64| {
            format!(
                "(version:1,sequence:{n},time:\"2026-03-04T09:30:00Z\",artist:\"Ines\",what:Note(frame:None,text:\"x\"))\n"
            )
        };
        let text = format!("{}(version:1,seq\u{0}\n{}", note(1), note(3));
        let journal = parse(path, text.as_bytes()).unwrap();
        assert_eq!(journal.records.iter().map(|r| r.sequence).collect::<Vec<_>>(), [1, 3]);
        assert_eq!(journal.problems.len(), 1);
        assert!(journal.problems[0].contains("line 2"), "{:?}", journal.problems);
        assert_eq!(journal.good_bytes, text.len() as u64, "it is not cut off");
    }

    #[test]
    fn a_newer_record_is_refused_by_name_even_without_its_line_end() {
        for text in ["(version:2,sequence:1,mood:Fine(1))\n", "(version:2,sequence:1,mood:Fi"] {
            let error = parse(Path::new("journal/Ines.ron"), text.as_bytes()).unwrap_err();
            assert_eq!(error.kind(), ReelErrorKind::Newer);
            assert!(error.to_string().contains("Ines.ron"));
        }
    }

    #[test]
    fn a_second_writer_of_one_artist_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let first = Writer::open(folder.path(), &ines()).unwrap();
        let error = Writer::open(folder.path(), &ines()).unwrap_err();
        assert_eq!(error.kind(), ReelErrorKind::InUse);
        assert!(Writer::open(folder.path(), &Artist::new("Mara").unwrap()).is_ok());
        drop(first);
        assert!(Writer::open(folder.path(), &ines()).is_ok());
        assert_eq!(list(folder.path()).unwrap().len(), 2, "the locks are no journals");
    }

    /// A device that is always full stands for a full disk.
    #[cfg(target_os = "linux")]
    #[test]
    fn a_failed_write_is_an_error_that_names_the_file() {
        let folder = tempfile::tempdir().unwrap();
        let (mut writer, _) = Writer::open(folder.path(), &ines()).unwrap();
        writer.file = OpenOptions::new().write(true).open("/dev/full").unwrap();
        let record: Record =
            record_line::parse("(version:1,sequence:1,time:\"2026-03-04T09:30:00Z\",artist:\"Ines\",what:Undo(of:1))")
                .unwrap();
        let error = writer.append(&record).unwrap_err();
        assert_eq!(error.kind(), ReelErrorKind::Access);
        assert!(error.to_string().contains("Ines.ron"), "{error}");
    }
}

//! Chunks come back as they were, and no damage makes the reader panic.
#![allow(clippy::unwrap_used)]

use besom_detect::{Kind, Origin, Polarity, Risk};
use besom_scan::{Run, RunMask};
use proptest::prelude::*;

use super::*;
use crate::error::ReelErrorKind;

prop_compose! {
    fn candidates()(
        runs in proptest::collection::vec((0u32..90, 0u32..100, 1u32..20), 0..12),
        kind in 0usize..6,
        bright in any::<bool>(),
        risk in proptest::array::uniform5(any::<bool>()),
        origin in 0usize..3,
        confidence in 0f32..=1.0,
        peak in -50f32..50.0,
        reasons in proptest::collection::vec("[a-z é\n]{0,12}", 0..3),
    ) -> Candidate {
        Candidate {
            mask: RunMask::from_runs(runs.into_iter().map(|(y, x0, w)| Run { y, x0, x1: x0 + w }).collect()),
            kind: Kind::ALL[kind],
            polarity: if bright { Polarity::Bright } else { Polarity::Dark },
            confidence,
            risk: Risk {
                neighbours_disagree: risk[0],
                fast_motion: risk[1],
                reappears: risk[2],
                one_sided: risk[3],
                swarm: risk[4],
            },
            origin: [Origin::Film, Origin::Gate, Origin::Scene][origin],
            peak,
            reasons,
        }
    }
}

prop_compose! {
    fn chunks()(frames in proptest::collection::btree_map(
        1000u64..1020, proptest::collection::vec(candidates(), 0..4), 0..6,
    ), generation in any::<u32>(), fingerprint in any::<[u8; 32]>()) -> Chunk {
        Chunk {
            generation,
            fingerprint,
            width: 120,
            height: 90,
            first: 1000,
            last: 1019,
            frames: frames.into_iter().collect(),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_chunk_comes_back_as_it_was(chunk in chunks()) {
        let bytes = encode(&chunk).unwrap();
        prop_assert_eq!(decode(Path::new("a.cand"), &bytes), Ok(chunk.clone()));
        prop_assert_eq!(encode(&chunk), Some(bytes), "the same chunk gives the same bytes");
    }

    #[test]
    fn any_flipped_bit_or_cut_is_refused(chunk in chunks(), at in any::<prop::sample::Index>(), bit in 0u8..8) {
        let good = encode(&chunk).unwrap();
        let at = at.index(good.len());
        let mut bad = good.clone();
        bad[at] ^= 1 << bit;
        prop_assert!(decode(Path::new("a.cand"), &bad).is_err());
        prop_assert!(decode(Path::new("a.cand"), &good[..at]).is_err());
    }

    /// Past the checksums, as a hostile file would be: any body at all.
    #[test]
    fn no_body_makes_the_reader_panic(
        chunk in chunks(),
        edits in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut body = body::pack(&chunk).unwrap();
        for (at, value) in edits {
            let at = at.index(body.len());
            body[at] = value;
        }
        let head = decode_head(Path::new("a.cand"), &encode(&chunk).unwrap()).unwrap();
        if let Some(frames) = body::unpack(&body, &head) {
            let read = Chunk { frames, ..chunk };
            prop_assert!(body::pack(&read).is_some(), "what is accepted is a chunk that could have been written");
        }
    }

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        prop_assert!(decode(Path::new("a.cand"), &bytes).is_err());
    }
}

#[test]
fn a_claim_of_huge_size_is_refused_before_memory_is_taken() {
    let chunk =
        Chunk { generation: 1, fingerprint: [0; 32], width: 8, height: 8, first: 1, last: 1, frames: Vec::new() };
    let mut bytes = encode(&chunk).unwrap();
    bytes[72..80].copy_from_slice(&u64::MAX.to_le_bytes());
    let crc = crc32fast::hash(&bytes[..96]);
    bytes[96..100].copy_from_slice(&crc.to_le_bytes());
    let error = decode(Path::new("a.cand"), &bytes).unwrap_err();
    assert!(error.to_string().contains("claims more"), "{error}");
}

#[test]
fn files_are_listed_superseded_and_refused_when_newer() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(list(folder.path()).unwrap(), Vec::<PathBuf>::new());
    assert_eq!(next_generation(folder.path()).unwrap(), 1);
    let mut chunk =
        Chunk { generation: 4, fingerprint: [7; 32], width: 8, height: 8, first: 1, last: 3, frames: Vec::new() };
    let path = write(folder.path(), &chunk).unwrap();
    assert_eq!(list(folder.path()).unwrap(), std::slice::from_ref(&path));
    assert_eq!(next_generation(folder.path()).unwrap(), 5);
    assert_eq!(read(&path).unwrap(), chunk);
    chunk.frames = vec![(4, Vec::new())];
    assert!(write(folder.path(), &chunk).is_err(), "a frame outside the range is refused");
    chunk.frames = vec![(2, Vec::new()), (2, Vec::new())];
    assert!(write(folder.path(), &chunk).is_err(), "a frame that comes twice is refused");
    let mut bytes = std::fs::read(&path).unwrap();
    bytes[8] = 2;
    std::fs::write(&path, bytes).unwrap();
    assert_eq!(read(&path).map_err(|e| e.kind()), Err(ReelErrorKind::Newer));
}

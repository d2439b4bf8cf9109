//! Damaged files of every format: an error or a picture, never a panic, never memory out of proportion.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod made;

use besom_scan::read_header;
use exr::prelude::Compression as ExrCompression;
use made::{Dice, Variant, scan, store};
use tiff::encoder::{Compression, DeflateLevel};

fn files() -> Vec<(&'static str, Vec<u8>)> {
    let dpx = Variant {
        depth: 10,
        packing: 1,
        big_endian: true,
        components: 3,
        width: 13,
        height: 9,
        padded: true,
        line_padding: 0,
        pad_bits: false,
    };
    vec![
        ("dpx", dpx.file(&dpx.codes(&mut Dice(1)))),
        ("tiff", made::tiff_file(Compression::Uncompressed, 19, 23).0),
        ("tiff lzw", made::tiff_file(Compression::Lzw, 19, 23).0),
        ("tiff deflate", made::tiff_file(Compression::Deflate(DeflateLevel::Fast), 19, 23).0),
        ("tiff packbits", made::tiff_file(Compression::Packbits, 19, 23).0),
        ("exr none", made::exr_file(ExrCompression::Uncompressed, 17, 20, false).0),
        ("exr zip", made::exr_file(ExrCompression::ZIP16, 17, 20, false).0),
        ("exr piz tiles", made::exr_file(ExrCompression::PIZ, 17, 20, true).0),
        ("exr rle", made::exr_file(ExrCompression::RLE, 17, 20, false).0),
        ("png", made::png_file(png::ColorType::Rgb, true, 19, 23)),
    ]
}

/// Reads damaged bytes; a picture that does come out must also be patchable or say why not.
fn read(bytes: Vec<u8>) -> bool {
    let Ok(scan) = scan(bytes) else { return false };
    let frame = scan.frame();
    assert_eq!(frame.samples.len(), frame.width * frame.height * frame.channels);
    let edit = besom_scan::SampleEdit { x: 0, y: 0, channel: 0, bits: 1 };
    let _ = scan.patched(&[edit]);
    true
}

#[test]
fn a_cut_file_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (name, file) in files() {
        for length in (0..file.len()).step_by(if file.len() > 2000 { 7 } else { 3 }) {
            let whole = read(file[..length].to_vec());
            // An uncompressed TIFF may end in tags or text that the picture does not need.
            assert!(!whole || name.starts_with("tiff"), "{name} cut to {length} of {}", file.len());
            let path = store(folder.path(), "cut", &file[..length]);
            let header = read_header(&path);
            assert!(header.is_ok() || !whole, "{name} cut to {length}: header {header:?}");
        }
    }
}

#[test]
fn flipped_bits_never_panic() {
    let folder = tempfile::tempdir().unwrap();
    for (name, file) in files() {
        let mut dice = Dice(file.len() as u64);
        let mut readable = 0;
        for round in 0..600 {
            let mut harmed = file.clone();
            // Headers decide most, so half of the rounds harm the first 400 bytes (or the last, where TIFF has tags).
            for _ in 0..=dice.below(3) {
                let at = match round % 3 {
                    0 => dice.below(file.len()),
                    1 => dice.below(400.min(file.len())),
                    _ => file.len() - 1 - dice.below(400.min(file.len())),
                };
                harmed[at] ^= 1 << dice.below(8);
            }
            let path = store(folder.path(), "harmed", &harmed);
            let _ = read_header(&path);
            readable += u32::from(read(harmed));
        }
        assert!(readable < 600, "{name}: no damage was noticed");
    }
}

#[test]
fn a_picture_larger_than_its_data_is_refused() {
    let mut file = made::png_file(png::ColorType::Rgb, true, 19, 23);
    file[16..20].copy_from_slice(&0x7000_0000u32.to_be_bytes());
    let text = scan(file).unwrap_err().to_string();
    assert!(text.contains("more than its data can hold"), "{text}");

    let (mut file, _) = made::exr_file(ExrCompression::Uncompressed, 17, 20, false);
    let at = file.windows(11).position(|w| w == b"dataWindow\0").unwrap() + 11 + 6 + 4;
    file[at + 8..at + 16].copy_from_slice(&[0xFF, 0xFF, 0xFF, 0, 0xFF, 0xFF, 0xFF, 0]);
    assert!(scan(file).is_err());
}

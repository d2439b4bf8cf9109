//! TIFF, OpenEXR and PNG: read, patched, verified against files made by other encoders.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod made;

use besom_scan::{Format, Guarantee, RunMask, SampleEdit, Scan, read_header, verify};
use exr::prelude::Compression as ExrCompression;
use made::{bits, scan, store};
use tiff::encoder::{Compression, DeflateLevel};

const EDITS: [SampleEdit; 4] = [
    SampleEdit { x: 0, y: 0, channel: 0, bits: 0x12 },
    SampleEdit { x: 5, y: 7, channel: 1, bits: 0x34 },
    SampleEdit { x: 18, y: 19, channel: 2, bits: 0x7E },
    SampleEdit { x: 18, y: 19, channel: 0, bits: 0x01 },
];

/// Patches with the first `count` edits, checks every sample, and proves the result.
fn patch_and_prove(file: &[u8], count: usize) -> Vec<u8> {
    let source = scan(file.to_vec()).unwrap();
    let edits = &EDITS[..count];
    let patched = source.patched(edits).unwrap();
    assert!(patched == source.patched(edits).unwrap(), "the same patch gives the same bytes");
    let mut expected = bits(&source);
    let (width, channels) = (source.frame().width, source.frame().channels);
    let mut allowed = RunMask::default();
    for edit in edits {
        expected[(edit.y as usize * width + edit.x as usize) * channels + usize::from(edit.channel)] = edit.bits;
        let pixel = besom_scan::Run { y: edit.y, x0: edit.x, x1: edit.x + 1 };
        allowed = allowed.union(&RunMask::from_runs(vec![pixel]));
    }
    assert_eq!(bits(&scan(patched.clone()).unwrap()), expected);
    let folder = tempfile::tempdir().unwrap();
    let (a, b) = (store(folder.path(), "a", file), store(folder.path(), "b", &patched));
    let found = verify::compare(&a, &b, &allowed).unwrap();
    assert!(found.proved() && found.samples_changed > 0, "{found:?}");
    let found = verify::compare(&a, &b, &RunMask::default()).unwrap();
    assert!(!found.proved() && found.samples_changed_outside > 0, "{found:?}");
    assert_eq!(read_header(&a).unwrap(), *source.header());
    patched
}

#[test]
fn uncompressed_tiff_changes_only_the_samples() {
    let (file, codes) = made::tiff_file(Compression::Uncompressed, 19, 23);
    let read = scan(file.clone()).unwrap();
    assert_eq!(bits(&read), codes.iter().map(|c| u32::from(*c)).collect::<Vec<_>>());
    assert_eq!((read.format(), read.guarantee()), (Format::Tiff, Guarantee::EveryByte));
    let patched = patch_and_prove(&file, 3);
    let changed = file.iter().zip(&patched).filter(|(a, b)| a != b).count();
    assert!(patched.len() == file.len() && changed <= 6, "{changed} bytes changed for three samples");
}

#[test]
fn compressed_tiff_is_read_and_read_only() {
    let kinds = [
        ("LZW", Compression::Lzw),
        ("Deflate", Compression::Deflate(DeflateLevel::Balanced)),
        ("PackBits", Compression::Packbits),
    ];
    for (name, compression) in kinds {
        // Large enough for LZW to fill its table and begin anew.
        for (width, height) in [(19, 23), (900, 40)] {
            let (file, codes) = made::tiff_file(compression, width, height);
            let read = scan(file).unwrap();
            assert!(bits(&read) == codes.iter().map(|c| u32::from(*c)).collect::<Vec<_>>(), "{name}");
            assert_eq!(read.header().fact("Compression"), Some(name));
            assert_eq!(read.guarantee(), Guarantee::ReadOnly);
            let text = read.patched(&EDITS).unwrap_err().to_string();
            assert!(text.contains("can be read but not repaired"), "{text}");
        }
    }
}

/// A little TIFF by hand: 2 x 2 pixels of three 16-bit samples, in the given byte order, plane by plane or not.
fn small_tiff(big_endian: bool, planar: bool) -> Vec<u8> {
    let short = |v: u16| if big_endian { v.to_be_bytes() } else { v.to_le_bytes() };
    let long = |v: u32| if big_endian { v.to_be_bytes() } else { v.to_le_bytes() };
    let strips: u32 = if planar { 3 } else { 1 };
    let mut file = if big_endian { b"MM".to_vec() } else { b"II".to_vec() };
    file.extend(short(42));
    file.extend(long(8));
    // Tag, type (3 short, 4 long), count, value or its place.
    let places = 8 + 2 + 10 * 12 + 4;
    let pixels = places + 6 + 2 + strips * 8;
    let entries: [(u16, u16, u32, u32); 10] = [
        (256, 4, 1, 2),
        (257, 4, 1, 2),
        (258, 3, 3, places),
        (259, 4, 1, 1),
        (262, 4, 1, 2),
        (273, 4, strips, if planar { places + 8 } else { pixels }),
        (277, 4, 1, 3),
        (278, 4, 1, 2),
        (279, 4, strips, if planar { places + 8 + strips * 4 } else { 24 }),
        (284, 4, 1, if planar { 2 } else { 1 }),
    ];
    file.extend(short(10));
    for (tag, kind, count, value) in entries {
        file.extend(short(tag));
        file.extend(short(kind));
        file.extend(long(count));
        file.extend(long(value));
    }
    file.extend(long(0));
    file.extend([short(16), short(16), short(16)].concat());
    file.extend([0; 2]);
    (0..strips).for_each(|s| file.extend(long(pixels + 8 * s)));
    (0..strips).for_each(|_| file.extend(long(8)));
    for i in 0..12u16 {
        let (pixel, channel) = if planar { (i % 4, i / 4) } else { (i / 3, i % 3) };
        file.extend(short(1000 * channel + pixel));
    }
    file
}

#[test]
fn both_byte_orders_and_plane_orders_of_tiff() {
    for big_endian in [false, true] {
        for planar in [false, true] {
            let file = small_tiff(big_endian, planar);
            let read = scan(file.clone()).unwrap();
            let expected: Vec<u32> = (0..12).map(|i| 1000 * (i % 3) + i / 3).collect();
            assert_eq!(bits(&read), expected, "big endian {big_endian}, planar {planar}");
            let patched = read.patched(&[SampleEdit { x: 1, y: 1, channel: 2, bits: 0xABCD }]).unwrap();
            let again = scan(patched.clone()).unwrap();
            assert_eq!(again.frame().native_bits(1, 1, 2), 0xABCD);
            assert_eq!(file.iter().zip(&patched).filter(|(a, b)| a != b).count(), 2);
        }
    }
}

#[test]
fn openexr_keeps_header_and_untouched_blocks() {
    let kinds = [
        ExrCompression::Uncompressed,
        ExrCompression::RLE,
        ExrCompression::ZIP1,
        ExrCompression::ZIP16,
        ExrCompression::PIZ,
    ];
    for compression in kinds {
        for tiles in [false, true] {
            let (file, codes) = made::exr_file(compression, 37, 70, tiles);
            let read = scan(file.clone()).unwrap();
            assert_eq!(bits(&read), codes, "{compression:?}, tiles {tiles}");
            assert_eq!(read.format(), Format::OpenExr);
            let patched = patch_and_prove(&file, 4);
            if compression == ExrCompression::Uncompressed {
                assert_eq!(read.guarantee(), Guarantee::EveryByte);
                assert_eq!(patched.len(), file.len());
            } else {
                assert_eq!(read.guarantee(), Guarantee::UntouchedBlocks);
            }
        }
    }
}

#[test]
fn an_openexr_channel_named_ir_is_infrared_and_alpha_is_not() {
    for (name, infrared) in [("IR", Some("channel IR")), ("A", None)] {
        let read = scan(made::exr_file_with_fourth(name)).unwrap();
        assert_eq!((read.frame().channels, read.header().fact("Infrared")), (4, infrared));
        let fourth: Vec<u32> = (0..5).map(|x| read.frame().native_bits(x, 1, 3)).collect();
        assert_eq!(fourth, (0..5).map(|x| 0x3000 + 3 * (5 + x)).collect::<Vec<u32>>());
    }
}

#[test]
fn a_change_in_another_openexr_block_is_found() {
    let (file, _) = made::exr_file(ExrCompression::ZIP16, 37, 70, false);
    let read = scan(file.clone()).unwrap();
    // One edit in the first block of 16 rows, one in the last: only the first is allowed.
    let edits = [EDITS[0], SampleEdit { x: 3, y: 66, channel: 1, bits: 0x3C00 }];
    let folder = tempfile::tempdir().unwrap();
    let a = store(folder.path(), "a.exr", &file);
    let b = store(folder.path(), "b.exr", &read.patched(&edits).unwrap());
    let allowed = RunMask::from_rect(&besom_scan::Rect::new(0, 0, 1, 1));
    let found = verify::compare(&a, &b, &allowed).unwrap();
    assert_eq!(found.samples_changed_outside, 1);
    assert!(found.bytes_changed_outside > 0);
    assert!(found.first_offence.unwrap().contains("block 4"));
}

#[test]
fn lossy_openexr_is_refused() {
    for compression in [ExrCompression::B44, ExrCompression::B44A] {
        let (file, _) = made::exr_file(compression, 37, 40, false);
        let text = scan(file).unwrap_err().to_string();
        assert!(text.contains("loses detail"), "{text}");
    }
}

#[test]
fn png_keeps_every_other_chunk() {
    use png::ColorType::{Grayscale, Rgb, Rgba};
    for colour in [Rgb, Rgba] {
        for sixteen in [false, true] {
            let file = made::png_file(colour, sixteen, 19, 23);
            let patched = patch_and_prove(&file, 4);
            for text in [&b"Lamps of Skerry Point"[..], b"skRy", b"after the picture"] {
                assert!(patched.windows(text.len()).any(|w| w == text));
            }
        }
    }
    let grey = scan(made::png_file(Grayscale, true, 8, 8)).unwrap();
    assert_eq!((grey.frame().channels, grey.frame().encoding.bits), (1, 16));
    assert_eq!(grey.guarantee(), Guarantee::AllButPixelStream);
    assert!(grey.header().fact("Other chunks").unwrap().contains("tEXt"));
}

#[test]
fn a_changed_png_text_is_found() {
    let file = made::png_file(png::ColorType::Rgb, false, 19, 23);
    let at = file.windows(5).position(|w| w == b"Lamps").unwrap();
    let mut harmed = file.clone();
    harmed[at] = b'D';
    let folder = tempfile::tempdir().unwrap();
    let (a, b) = (store(folder.path(), "a.png", &file), store(folder.path(), "b.png", &harmed));
    let found = verify::compare(&a, &b, &RunMask::default()).unwrap();
    assert_eq!((found.bytes_changed_outside, found.samples_changed), (1, 0));
}

#[test]
fn edits_outside_the_frame_or_the_range_are_refused() {
    let read = scan(made::png_file(png::ColorType::Rgb, false, 19, 23)).unwrap();
    for edit in [
        SampleEdit { x: 19, y: 0, channel: 0, bits: 0 },
        SampleEdit { x: 0, y: 23, channel: 0, bits: 0 },
        SampleEdit { x: 0, y: 0, channel: 3, bits: 0 },
        SampleEdit { x: 0, y: 0, channel: 0, bits: 256 },
    ] {
        assert!(read.patched(&[edit]).is_err(), "{edit:?}");
    }
}

#[test]
fn compare_refuses_to_prove_files_of_different_size() {
    let folder = tempfile::tempdir().unwrap();
    let a = store(folder.path(), "a.png", &made::png_file(png::ColorType::Rgb, false, 19, 23));
    let b = store(folder.path(), "b.png", &made::png_file(png::ColorType::Rgb, false, 23, 19));
    assert!(!verify::compare(&a, &b, &RunMask::from_rect(&besom_scan::Rect::new(0, 0, 99, 99))).unwrap().proved());
    // FIPS 180-2, appendix B.1: the digest of "abc".
    let known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    assert_eq!(verify::sha256(b"abc"), known);
    assert!(Scan::read(&folder.path().join("none.dpx")).unwrap_err().to_string().contains("cannot be read"));
}

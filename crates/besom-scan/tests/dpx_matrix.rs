//! Every DPX variant the crate reads, made by an independent writer: read, patched, verified.
#![allow(clippy::unwrap_used, clippy::expect_used)]

mod made;

use besom_scan::{Encoding, Frame, Guarantee, Picture, Run, RunMask, SampleEdit, Samples, Scan, Transfer, dpx, verify};
use made::{Dice, Variant, bits, scan, store};
use proptest::prelude::*;

const WIDTHS: [usize; 14] = [4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 37, 48];

fn variants() -> impl Iterator<Item = Variant> {
    let depths = [(8u8, 0u16), (8, 1), (10, 0), (10, 1), (10, 2), (12, 0), (12, 1), (12, 2), (16, 0), (16, 1)];
    depths.into_iter().flat_map(|(depth, packing)| {
        WIDTHS.into_iter().flat_map(move |width| {
            [1usize, 3, 4].into_iter().flat_map(move |components| {
                [(false, false), (false, true), (true, false), (true, true)].into_iter().map(
                    move |(big_endian, pad_bits)| Variant {
                        depth,
                        packing,
                        big_endian,
                        components,
                        width,
                        height: 3,
                        padded: true,
                        line_padding: 0,
                        pad_bits,
                    },
                )
            })
        })
    })
}

/// Some edits, and the codes after them.
fn edits(variant: &Variant, codes: &[u32], dice: &mut Dice) -> (Vec<SampleEdit>, Vec<u32>) {
    let mut after = codes.to_vec();
    let edits = (0..9)
        .map(|_| {
            let (x, y, c) = (dice.below(variant.width), dice.below(variant.height), dice.below(variant.components));
            let value = dice.roll() & ((1 << variant.depth) - 1);
            after[(y * variant.width + x) * variant.components + c] = value;
            SampleEdit { x: x as u32, y: y as u32, channel: c as u8, bits: value }
        })
        .collect();
    (edits, after)
}

fn check(variant: &Variant, dice: &mut Dice) {
    let codes = variant.codes(dice);
    let file = variant.file(&codes);
    let read = scan(file.clone()).unwrap_or_else(|e| panic!("{variant:?}: {e}"));
    assert_eq!(bits(&read), codes, "{variant:?}");
    assert_eq!(read.guarantee(), Guarantee::EveryByte);
    assert_eq!(read.frame().encoding.bits, variant.depth);
    assert_eq!(read.patched(&[]).unwrap(), file);
    let (edits, after) = edits(variant, &codes, dice);
    assert!(read.patched(&edits).unwrap() == variant.file(&after), "{variant:?}: patched is not freshly written");
}

#[test]
fn every_variant_is_read_and_patched_exactly() {
    let mut dice = Dice(1961);
    let mut count = 0;
    for variant in variants() {
        check(&variant, &mut dice);
        count += 1;
    }
    assert_eq!(count, 10 * 14 * 3 * 4);
}

/// The planes read straight from a file are those of its decoded samples.
fn planes_agree(path: &std::path::Path) {
    let (picture, scan) = (Picture::read(path).unwrap(), Scan::read(path).unwrap());
    let frame = scan.frame();
    assert_eq!((picture.width, picture.height, picture.channels), (frame.width, frame.height, frame.channels));
    assert_eq!(picture.planes, frame.analysis(), "{}", path.display());
}

#[test]
fn planes_read_directly_are_those_of_the_samples() {
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(77);
    for (k, variant) in variants().filter(|v| [5, 12, 37].contains(&v.width)).enumerate() {
        // Rows in one piece, in several, and not a whole number of pieces.
        let variant = Variant { height: [3, 16, 41][k % 3], ..variant };
        for variant in [variant, Variant { padded: false, ..variant }, Variant { line_padding: 8, ..variant }] {
            planes_agree(&store(folder.path(), "frame", &variant.file(&variant.codes(&mut dice))));
        }
    }
    for big_endian in [false, true] {
        // Alpha first, and linear light: these take the general road.
        let variant = Variant { big_endian, components: 4, ..plain() };
        let mut file = variant.file(&variant.codes(&mut dice));
        file[800] = 52;
        planes_agree(&store(folder.path(), "frame", &file));
        (file[800], file[801]) = (51, 2);
        planes_agree(&store(folder.path(), "frame", &file));
    }
}

#[test]
fn a_fault_is_named_the_same_by_either_road() {
    let folder = tempfile::tempdir().unwrap();
    let file = plain().file(&plain().codes(&mut Dice(6)));
    for length in [0, 3, 700, 2000, 2048, file.len() / 2, file.len() - 1] {
        let path = store(folder.path(), "cut", &file[..length]);
        assert_eq!(Picture::read(&path).unwrap_err().to_string(), Scan::read(&path).unwrap_err().to_string());
    }
    let missing = folder.path().join("missing.dpx");
    assert_eq!(Picture::read(&missing).unwrap_err().to_string(), Scan::read(&missing).unwrap_err().to_string());
}

/// True when the same codes with and without row padding make files of one length but different bytes: nothing can
/// tell the two apart then, and the standard's padding is what is read.
fn ambiguous(variant: &Variant, codes: &[u32]) -> bool {
    let padded = Variant { padded: true, ..*variant }.file(codes);
    let file = variant.file(codes);
    file.len() == padded.len() && file != padded
}

#[test]
fn rows_that_run_on_are_told_by_the_length() {
    let mut dice = Dice(3);
    let mut told = 0;
    for variant in variants() {
        let variant = Variant { padded: false, ..variant };
        let codes = variant.codes(&mut dice);
        if ambiguous(&variant, &codes) {
            continue;
        }
        check(&variant, &mut dice);
        let padded = Variant { padded: true, ..variant }.file(&codes);
        let file = variant.file(&codes);
        let warned = scan(file.clone()).unwrap().header().warnings().any(|w| w.contains("not padded"));
        assert_eq!(warned, file.len() != padded.len(), "{variant:?}");
        told += u32::from(warned);
    }
    assert!(told > 300, "{told}");
}

#[test]
fn end_of_line_padding_is_honoured() {
    let mut dice = Dice(4);
    for variant in variants().filter(|v| v.width % 5 == 0) {
        check(&Variant { line_padding: 8, ..variant }, &mut dice);
    }
}

fn plain() -> Variant {
    Variant {
        depth: 10,
        packing: 1,
        big_endian: true,
        components: 3,
        width: 40,
        height: 20,
        padded: true,
        line_padding: 0,
        pad_bits: false,
    }
}

/// A file whose header is changed by `harm` must still read as `codes`.
fn survives(variant: Variant, harm: impl Fn(&Variant, &mut Vec<u8>)) {
    for big_endian in [false, true] {
        let variant = Variant { big_endian, ..variant };
        let codes = variant.codes(&mut Dice(9));
        let mut file = variant.file(&codes);
        harm(&variant, &mut file);
        let read = scan(file).unwrap_or_else(|e| panic!("{variant:?}: {e}"));
        assert_eq!(bits(&read), codes);
    }
}

#[test]
fn wrong_header_fields_that_do_not_matter() {
    survives(plain(), |v, f| v.put32(f, 16, 7));
    survives(plain(), |v, f| v.put32(f, 16, u32::MAX));
    survives(plain(), |v, f| v.put32(f, 812, u32::MAX));
    survives(plain(), |v, f| v.put32(f, 816, u32::MAX));
    survives(plain(), |v, f| v.put32(f, 808, 0));
    survives(plain(), |v, f| v.put32(f, 808, u32::MAX));
    survives(plain(), |v, f| v.put32(f, 808, 4_000_000_000));
    survives(plain(), |v, f| v.put32(f, 4, 0));
    survives(plain(), |v, f| v.put32(f, 4, 8192));
    survives(plain(), |v, f| v.put16(f, 770, 0));
    survives(plain(), |v, f| v.put16(f, 806, u16::MAX));
    survives(plain(), |v, f| v.put32(f, 812, 64));
    survives(plain(), |v, f| v.put32(f, 660, 0));
    survives(plain(), |_, f| f[8..16].copy_from_slice(b"v1.0abcd"));
    survives(plain(), |_, f| f[8..16].fill(0xFF));
    survives(plain(), |_, f| f.extend([1; 999]));
}

#[test]
fn pixels_may_begin_right_after_the_generic_header() {
    // Such a file has no industry header: bytes from 1664 on are pixels and must not be read as facts.
    let variant = plain();
    let codes = variant.codes(&mut Dice(9));
    let pixels = variant.pixels(&codes);
    let mut file = variant.header(1664, 1664 + pixels.len());
    file.extend(pixels);
    let read = scan(file).unwrap();
    assert_eq!(bits(&read), codes);
    for name in ["Timecode", "Frame rate", "Frame position", "Key code"] {
        assert_eq!(read.header().fact(name), None);
    }
}

#[test]
fn filled_words_declared_as_packed_are_told_by_the_length() {
    for components in [1, 3, 4] {
        let variant = Variant { components, ..plain() };
        survives(variant, |v, f| v.put16(f, 804, 0));
    }
}

#[test]
fn alpha_first_files_come_out_red_first() {
    let variant = Variant { components: 4, ..plain() };
    let codes = variant.codes(&mut Dice(5));
    let mut file = variant.file(&codes);
    file[800] = 52;
    let read = scan(file).unwrap();
    let turned: Vec<u32> = codes.chunks(4).flat_map(|pixel| pixel.iter().rev().copied()).collect();
    assert_eq!(bits(&read), turned);
    let patched = read.patched(&[SampleEdit { x: 3, y: 2, channel: 0, bits: 5 }]).unwrap();
    let mut after = turned;
    after[(2 * 40 + 3) * 4] = 5;
    assert_eq!(bits(&scan(patched).unwrap()), after);
}

/// A change to a file's header.
type Harm<'a> = &'a dyn Fn(&Variant, &mut Vec<u8>);

#[test]
fn refusals_name_the_reason() {
    let refused = |harm: Harm<'_>| {
        let variant = plain();
        let mut file = variant.file(&variant.codes(&mut Dice(2)));
        harm(&variant, &mut file);
        scan(file).unwrap_err().to_string()
    };
    let cases: [(Harm<'_>, &str); 12] = [
        (&|v, f| v.put16(f, 806, 1), "run-length"),
        (&|v, f| v.put16(f, 804, 5), "unknown packing 5"),
        (&|v, f| v.put16(f, 804, u16::MAX), "unknown packing 65535"),
        (&|v, f| v.put32(f, 660, 1234), "encrypted"),
        (&|_, f| f[800] = 100, "CbCr"),
        (&|_, f| f[800] = 102, "CbCr"),
        (&|_, f| f[800] = 150, "kind 150"),
        (&|_, f| f[803] = 32, "32 bits"),
        (&|v, f| v.put32(f, 780, 1), "signed"),
        (&|v, f| v.put32(f, 772, 0), "no size"),
        (&|v, f| v.put16(f, 770, 99), "99 image elements"),
        (&|_, f| f[..4].copy_from_slice(b"????"), "none of DPX"),
    ];
    for (harm, expected) in cases {
        let text = refused(harm);
        assert!(text.contains(expected) && text.starts_with("skerry.dpx: ") && text.ends_with('.'), "{text}");
    }
}

#[test]
fn a_header_that_claims_too_much_is_refused_before_memory_is_asked_for() {
    for (width, height) in [(46_341, 46_341), (u32::MAX - 1, u32::MAX - 1), (1, u32::MAX - 1), (u32::MAX - 1, 1)] {
        let variant = plain();
        let mut file = variant.file(&variant.codes(&mut Dice(2)));
        variant.put32(&mut file, 772, width);
        variant.put32(&mut file, 776, height);
        let text = scan(file).unwrap_err().to_string();
        assert!(text.contains("ends before its pixels do"), "{text}");
    }
}

#[test]
fn a_file_cut_short_is_refused_at_every_length() {
    for variant in [plain(), Variant { depth: 16, width: 5, height: 4, ..plain() }] {
        let file = variant.file(&variant.codes(&mut Dice(2)));
        for length in 0..file.len() {
            assert!(scan(file[..length].to_vec()).is_err(), "{variant:?} cut to {length} of {}", file.len());
        }
    }
}

#[test]
fn verify_frees_exactly_the_samples_of_the_allowed_pixels() {
    let folder = tempfile::tempdir().unwrap();
    let mut dice = Dice(8);
    for variant in variants().filter(|v| v.width == 13 && v.pad_bits) {
        let codes = variant.codes(&mut dice);
        let file = variant.file(&codes);
        let source = store(folder.path(), "source.dpx", &file);
        let (x, y) = (dice.below(variant.width) as u32, dice.below(3) as u32);
        let allowed = RunMask::from_runs(vec![Run { y, x0: x, x1: x + 1 }]);
        let edits: Vec<SampleEdit> = (0..variant.components)
            .map(|c| {
                let old = codes[(y as usize * variant.width + x as usize) * variant.components + c];
                SampleEdit { x, y, channel: c as u8, bits: !old & ((1 << variant.depth) - 1) }
            })
            .collect();
        let patched = scan(file.clone()).unwrap().patched(&edits).unwrap();
        let repaired = store(folder.path(), "repaired.dpx", &patched);
        let found = verify::compare(&source, &repaired, &allowed).unwrap();
        assert!(found.proved(), "{variant:?}: {found:?}");
        assert_eq!(found.samples_changed, variant.components as u64);
        let found = verify::compare(&source, &repaired, &RunMask::default()).unwrap();
        assert_eq!(found.samples_changed_outside, variant.components as u64);
        // The patch flipped every bit of the pixel: these and no others may change. Flip others to see them found.
        for round in 0..24 {
            let at = if round == 0 { 700 } else { 2048 + dice.below(file.len() - 2048) };
            let bit = dice.below(8);
            let mut harmed = patched.clone();
            harmed[at] ^= 1 << bit;
            let own = (file[at] ^ patched[at]) >> bit & 1 == 1;
            let repaired = store(folder.path(), "repaired.dpx", &harmed);
            let found = verify::compare(&source, &repaired, &allowed).unwrap();
            assert_eq!(found.bytes_changed_outside, u64::from(!own), "{variant:?} byte {at} bit {bit}");
            assert_eq!(found.proved(), own);
        }
    }
}

#[test]
fn the_plain_writer_is_read_back_with_its_facts() {
    let facts = dpx::Facts {
        file_name: "skerry_r2.0086401.dpx".into(),
        creator: "Besom".into(),
        project: "Lamps of Skerry Point".into(),
        frame_position: Some(86_401),
        frame_rate: Some(24.0),
        timecode: Some([1, 0, 59, 23]),
    };
    for (bits_of_sample, transfer) in
        [(8u8, Transfer::Video), (10, Transfer::PrintingDensity), (12, Transfer::Log), (16, Transfer::Linear)]
    {
        for channels in [1usize, 3, 4] {
            for big_endian in [false, true] {
                let mut dice = Dice(6);
                let codes: Vec<u16> =
                    (0..13 * 5 * channels).map(|_| (dice.roll() & ((1 << bits_of_sample) - 1)) as u16).collect();
                let samples = if bits_of_sample == 8 {
                    Samples::U8(codes.iter().map(|c| *c as u8).collect())
                } else {
                    Samples::U16(codes)
                };
                let encoding = Encoding { bits: bits_of_sample, transfer };
                let frame = Frame { width: 13, height: 5, channels, samples, encoding };
                let file = dpx::encode(&frame, big_endian, &facts);
                let read = scan(file.clone()).unwrap();
                assert_eq!(*read.frame(), frame);
                assert_eq!(read.header().warnings().next(), None);
                let fact = |name| read.header().fact(name).unwrap().to_owned();
                assert_eq!(fact("File name"), facts.file_name);
                assert_eq!(fact("Creator"), "Besom");
                assert_eq!(fact("Project"), facts.project);
                assert_eq!(fact("Frame position"), "86401");
                assert_eq!(fact("Frame rate"), "24");
                assert_eq!(fact("Timecode"), "01:00:59:23");
                // The offset given for the total file size by the standard.
                let size: [u8; 4] = file[16..20].try_into().unwrap();
                let size = if big_endian { u32::from_be_bytes(size) } else { u32::from_le_bytes(size) };
                assert_eq!(size as usize, file.len());
            }
        }
    }
}

#[test]
fn undefined_facts_are_left_out() {
    let variant = plain();
    let mut file = variant.file(&variant.codes(&mut Dice(2)));
    for (from, to) in [(36, 660), (1408, 2048)] {
        file[from..to].fill(0xFF);
    }
    // Infinity, and infinity's bits stored as a number: both seen in the wild for "no frame rate".
    variant.put32(&mut file, 1724, f32::INFINITY.to_bits());
    variant.put32(&mut file, 1940, 2_139_095_040.0f32.to_bits());
    file[801] = 255;
    let read = scan(file).unwrap();
    let names: Vec<&str> = read.header().facts.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["Version", "Byte order", "Packing", "Transfer", "Warning"]);
    assert!(read.header().warnings().next().unwrap().contains("log is assumed"));
}

proptest! {
    #[test]
    fn a_patch_changes_the_samples_it_names_and_nothing_else(
        seed in any::<u64>(),
        choice in 0usize..10,
        width in 1usize..60,
        height in 1usize..6,
        components in prop_oneof![Just(1usize), Just(3), Just(4)],
        flags in any::<[bool; 3]>(),
    ) {
        let depths = [(8u8, 0u16), (8, 2), (10, 0), (10, 1), (10, 2), (12, 0), (12, 1), (12, 2), (16, 0), (16, 2)];
        let (depth, packing) = depths[choice];
        let [big_endian, pad_bits, padded] = flags;
        let variant =
            Variant { depth, packing, big_endian, components, width, height, padded, line_padding: 0, pad_bits };
        let mut dice = Dice(seed);
        let codes = variant.codes(&mut dice);
        prop_assume!(padded || !ambiguous(&variant, &codes));
        let file = variant.file(&codes);
        let read = scan(file).unwrap();
        prop_assert_eq!(bits(&read), codes.clone());
        let (edits, after) = edits(&variant, &codes, &mut dice);
        prop_assert!(read.patched(&edits).unwrap() == variant.file(&after));
    }
}

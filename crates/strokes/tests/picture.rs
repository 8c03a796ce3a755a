//! Picture files: read as other programs read them, or refused with the reason.

mod common;

use common::{Floor, Random, base64};
use proptest::prelude::*;
use strokes::picture::{Decoded, decode};
use strokes::{Picture, run, run_on, run_on_file};

macro_rules! shot {
    ($name:literal) => {
        include_bytes!(concat!("pictures/", $name)).as_slice()
    };
}

fn read(file: &[u8]) -> Decoded {
    decode(file).expect("a sound file")
}

/// Largest difference of two pictures, grey levels.
fn apart(ours: &Decoded, theirs: &Decoded) -> u8 {
    assert_eq!((ours.width, ours.height), (theirs.width, theirs.height));
    ours.luminance.iter().zip(&theirs.luminance).map(|(a, b)| a.abs_diff(*b)).max().expect("pixels")
}

/// The luma of each JPEG as libjpeg-turbo 3.2.0 (Pillow 13.0.0) decodes it, turned upright by hand, stored as PNG. Decoders may
/// round a transform differently by a level.
#[test]
fn jpeg_has_the_luma_of_libjpeg_turbo() {
    for (jpeg, luma) in [
        (shot!("baseline.jpg"), shot!("baseline_luma.png")),
        (shot!("turned_progressive.jpg"), shot!("turned_luma.png")),
        (shot!("grey.jpg"), shot!("grey_luma.png")),
    ] {
        let worst = apart(&read(jpeg), &read(luma));
        assert!(worst <= 1, "{worst}");
    }
}

#[test]
fn every_kind_of_file_shows_the_same_picture() {
    let colour = read(shot!("colour.png"));
    for (file, within) in [(shot!("baseline.jpg"), 25), (shot!("cmyk.jpg"), 60), (shot!("palette.png"), 60)] {
        let other = read(file);
        let mean = |p: &Decoded| p.luminance.iter().map(|v| f64::from(*v)).sum::<f64>() / p.luminance.len() as f64;
        assert!(apart(&colour, &other) <= within, "{}", apart(&colour, &other));
        assert!((mean(&colour) - mean(&other)).abs() < 4.0, "{} {}", mean(&colour), mean(&other));
    }
}

/// A PNG of the encoder of the same library; its reading is checked against Pillow's files above.
fn png(width: u32, height: u32, colour: png::ColorType, depth: png::BitDepth, data: &[u8]) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, width, height);
    encoder.set_color(colour);
    encoder.set_depth(depth);
    encoder.write_header().and_then(|mut writer| writer.write_image_data(data)).expect("pixels of this size");
    file
}

#[test]
fn depths_and_alpha_are_taken_down_to_grey() {
    use png::{BitDepth, ColorType};
    let grey = |file: Vec<u8>| read(&file).luminance;
    assert_eq!(grey(png(2, 1, ColorType::Grayscale, BitDepth::Sixteen, &[10, 255, 200, 0])), [10, 200]);
    assert_eq!(grey(png(2, 1, ColorType::GrayscaleAlpha, BitDepth::Eight, &[10, 0, 200, 9])), [10, 200]);
    assert_eq!(grey(png(8, 1, ColorType::Grayscale, BitDepth::One, &[0b1010_0000])), [255, 0, 255, 0, 0, 0, 0, 0]);
    // ITU-R BT.601: 0.299, 0.587, 0.114.
    assert_eq!(grey(png(4, 1, ColorType::Rgb, BitDepth::Eight, &[255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255, 255])), [76, 150, 29, 255]);
    assert_eq!(grey(png(1, 1, ColorType::Rgba, BitDepth::Eight, &[7, 7, 7, 0])), [7]);
}

#[test]
fn a_file_gives_the_answer_of_its_pixels() {
    let random = &mut Random(41);
    let (mut input, bytes) = Floor::plain(400).coat(random, 30.0, 25.0).coat(random, 120.0, 25.0).noise(random, 3.0).input();
    let answer = run_on(&input, &bytes).unwrap();
    assert!(answer.counts.two > 0);
    let file = png(400, 400, png::ColorType::Grayscale, png::BitDepth::Eight, &bytes);
    input.image = Picture::default();
    assert_eq!(run_on_file(&input, &file).unwrap(), answer);
    input.image.file_base64 = Some(base64(&file));
    assert_eq!(run(&input).unwrap(), answer);
    (input.image.width, input.image.height) = (400, 300);
    let problems = run(&input).unwrap_err();
    assert_eq!(problems.problems.iter().map(|p| p.field.as_str()).collect::<Vec<_>>(), ["image.height"]);
}

/// Three textures of scikit-image (`skimage.data`, public domain, CC0 1.0 as its notes say), their upper left 256 by 256 pixels as
/// JPEG. Coherence, gradient angle, R2 and R4 of the whole are scikit-image 0.26.0's `structure_tensor` with a Gaussian of 1 and border
/// `nearest`, on the pixels Pillow 13.0.0 decodes.
#[test]
fn textures_have_the_digits_of_scikit_image_and_are_no_coats() {
    let textures = [
        (shot!("brick.jpg"), [0.62843, 4.147, 0.63696, 0.89074]),
        (shot!("grass.jpg"), [0.10570, 54.230, 0.14097, 0.07436]),
        (shot!("gravel.jpg"), [0.03944, 140.381, 0.04597, 0.05199]),
    ];
    for (file, theirs) in textures {
        let picture = read(file);
        let values: Vec<f32> = picture.luminance.iter().map(|grey| f32::from(*grey)).collect();
        let sums = strokes::whole(256, 256, 1.0, &values);
        let ours = [sums.coherence(), sums.gradient_deg(), sums.r2(), sums.r4()];
        for (i, (ours, theirs)) in ours.iter().zip(theirs).enumerate() {
            assert!((ours - theirs).abs() <= 1e-3 * if i == 1 { 100.0 } else { 1.0 }, "{ours} beside {theirs}");
        }
        // As if a pixel were half a millimetre, one, and two.
        for mm in [0.5, 1.0, 2.0] {
            let point = |x: f64, y: f64| strokes::Reference { px: [x, 255.0 - y], plan_mm: [mm * x, mm * y] };
            let points = vec![point(0.0, 0.0), point(255.0, 0.0), point(255.0, 255.0), point(0.0, 255.0)];
            let out = run_on_file(&strokes::Input { points, tile_mm: Some(100.0), ..Default::default() }, file).expect("a sound input");
            assert!(out.tiles.iter().all(|tile| tile.class == strokes::Class::None), "{:?}", out.tiles);
        }
    }
}

/// A header of a picture far larger than its file.
fn bomb(width: u32, height: u32) -> Vec<u8> {
    let mut file = png(1, 1, png::ColorType::Grayscale, png::BitDepth::Eight, &[0]);
    file[16..20].copy_from_slice(&width.to_be_bytes());
    file[20..24].copy_from_slice(&height.to_be_bytes());
    let check = crc(&file[12..29]);
    file[29..33].copy_from_slice(&check.to_be_bytes());
    file
}

/// CRC-32 of PNG (ISO/IEC 15948, annex D).
fn crc(bytes: &[u8]) -> u32 {
    !bytes
        .iter()
        .fold(!0_u32, |crc, byte| (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { 0xedb8_8320 ^ c >> 1 } else { c >> 1 }))
}

/// A JPEG whose header claims another size.
fn claimed(width: u16, height: u16) -> Vec<u8> {
    let mut file = shot!("baseline.jpg").to_vec();
    let frame = file.windows(2).position(|w| w == [0xff, 0xc0]).expect("a frame");
    file[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    file[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    file
}

/// A progressive JPEG whose last pass comes a thousand times.
fn passes() -> Vec<u8> {
    let file = shot!("turned_progressive.jpg");
    let last = file.windows(2).rposition(|w| w == [0xff, 0xda]).expect("a scan");
    let (before, pass) = (&file[..last], &file[last..file.len() - 2]);
    [before, &pass.repeat(1000), &[0xff, 0xd9]].concat()
}

#[test]
fn what_is_no_sound_picture_is_refused_with_the_reason() {
    let jpeg = shot!("baseline.jpg");
    let png = shot!("colour.png");
    let cases: [(&str, Vec<u8>, &str); 15] = [
        ("nothing", vec![], "empty"),
        ("words", b"a photograph of the floor".to_vec(), "neither PNG nor JPEG"),
        ("another kind of picture", b"GIF89a\x01\0\x01\0".to_vec(), "neither PNG nor JPEG"),
        ("only the first bytes of a JPEG", vec![0xff, 0xd8], "damaged JPEG"),
        ("only the first bytes of a PNG", png[..8].to_vec(), "damaged PNG"),
        ("half a JPEG", jpeg[..jpeg.len() / 2 + 200].to_vec(), "damaged JPEG"),
        ("half a PNG", png[..png.len() / 2].to_vec(), "damaged PNG"),
        (
            "a PNG with a byte changed",
            {
                let mut p = png.to_vec();
                p[400] ^= 4;
                p
            },
            "damaged PNG",
        ),
        ("PNG header of 20000 by 20000", bomb(20_000, 20_000), "too many pixels"),
        ("PNG header of 4294967295 by 1", bomb(u32::MAX, 1), ""),
        ("PNG header of 50 million pixels over nothing", bomb(10_000, 5_000), "damaged PNG"),
        ("PNG header of no pixels", bomb(0, 5), "damaged PNG"),
        ("JPEG header of 65535 by 65535", claimed(65_535, 65_535), "too many pixels"),
        ("JPEG header of 7000 by 7000 over nothing", claimed(7_000, 7_000), "damaged JPEG"),
        ("a thousand passes", passes(), "damaged JPEG"),
    ];
    for (name, file, what) in cases {
        let Err(problems) = decode(&file) else { panic!("{name}: read") };
        let problem = &problems.problems[0];
        assert!(problem.field == "image" && problem.what.contains(what) && !problem.right.is_empty(), "{name}: {problem:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]
    #[test]
    fn damaged_files_never_panic(which in 0_usize..5, changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6), keep in 0.3..1.0_f64) {
        let all = [shot!("baseline.jpg"), shot!("turned_progressive.jpg"), shot!("cmyk.jpg"), shot!("colour.png"), shot!("palette.png")];
        let mut file = all[which].to_vec();
        for (at, byte) in changes {
            let at = at.index(file.len());
            file[at] = byte;
        }
        // Sizes that a change made large are refused by number, those below cost time and nothing else.
        file.truncate((file.len() as f64 * (keep + 0.3).min(1.0)) as usize);
        match decode(&file) {
            Ok(picture) => prop_assert_eq!(picture.luminance.len(), picture.width * picture.height),
            Err(problems) => prop_assert!(!problems.is_empty()),
        }
    }
}

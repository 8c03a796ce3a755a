//! How long an answer takes. `cargo xtask bench strokes`.

use std::hint::black_box;
use strokes::{Input, Picture, Reference, run_on, tensor};

fn main() {
    divan::main();
}

const WIDTH: usize = 4000;
const HEIGHT: usize = 3000;

/// Twelve million pixels of two waves and a hash for noise.
fn photograph() -> Vec<u8> {
    (0..WIDTH * HEIGHT)
        .map(|i| {
            let (x, y) = (i % WIDTH, i / WIDTH);
            let hash = (i as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 59;
            (60 + (x + y / 2) % 12 * 4 + (y + x / 3) % 9 * 4 + hash as usize) as u8
        })
        .collect()
}

/// The tensor alone.
#[divan::bench(sample_count = 5)]
fn tensor_of_twelve_megapixels(bencher: divan::Bencher) {
    let bytes = photograph();
    bencher.bench_local(|| {
        let mut sum = 0.0;
        let source = |y: usize, out: &mut [f32]| out.iter_mut().zip(&bytes[y * WIDTH..]).for_each(|(o, b)| *o = f32::from(*b));
        tensor::scan(WIDTH, HEIGHT, 1.0, source, |_, row| sum += row.rr[WIDTH / 2]);
        black_box(sum)
    });
}

/// The whole answer, a floor of 2.4 by 1.8 m seen squarely, each pixel rectified.
#[divan::bench(sample_count = 5)]
fn answer_of_twelve_megapixels(bencher: divan::Bencher) {
    let bytes = photograph();
    let (w, h) = (WIDTH as f64, HEIGHT as f64);
    let point = |x: f64, y: f64| Reference { px: [x, h - y], plan_mm: [x * 0.6, y * 0.6] };
    let input = Input {
        image: Picture { width: WIDTH as u32, height: HEIGHT as u32, ..Picture::default() },
        points: vec![point(1.0, 1.0), point(w - 1.0, 1.0), point(w - 1.0, h - 1.0), point(1.0, h - 1.0)],
        mm_per_px: Some(0.6),
        ..Input::default()
    };
    bencher.bench_local(|| run_on(black_box(&input), &bytes).expect("a sound input"));
}

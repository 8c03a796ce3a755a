//! Times the structure tensor of a picture, for racing other programs on the same bytes (`benches/peers`):
//!
//! ```text
//! tensor_npy tensor|orientation|answer SIGMA THREADS PICTURE
//! ```
//!
//! PICTURE: uint8, two dimensions, `.npy`. `tensor` leaves three planes in memory, `orientation` the angle of the lines and the
//! coherence of every pixel, `answer` is everything `strokes` does with a photograph, seen squarely at 0.6 mm a pixel. Only that
//! is timed, from bytes in memory. Printed: nanoseconds a pixel and the sum of what came out, which tells slips.

use std::error::Error;
use std::time::Instant;
use strokes::tensor::{Row, reach, scan};
use strokes::{Input, Picture, Reference, run_on};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [what, sigma, threads, picture] = args.as_slice() else {
        return Err("tensor_npy tensor|orientation|answer SIGMA THREADS PICTURE".into());
    };
    let (sigma, threads): (f64, usize) = (sigma.parse()?, threads.parse()?);
    let (height, width, bytes) = read(std::fs::read(picture)?)?;
    let begin = Instant::now();
    let sum = match what.as_str() {
        "tensor" => planes::<3>(&bytes, width, sigma, threads, |row, out| {
            [row.rr, row.rc, row.cc].iter().zip(out).for_each(|(from, to)| to.copy_from_slice(from));
        }),
        "orientation" => planes::<2>(&bytes, width, sigma, threads, orientation),
        "answer" => answer(&bytes, width, height)?,
        _ => return Err("tensor, orientation or answer".into()),
    };
    let ns = begin.elapsed().as_nanos() as f64 / (width * height) as f64;
    println!("{{\"ns\": {ns}, \"sum\": {sum}}}");
    Ok(())
}

/// Every row of the tensor made into `N` planes, in as many bands as there are threads; the first value of each row summed.
fn planes<const N: usize>(bytes: &[u8], width: usize, sigma: f64, threads: usize, make: fn(Row, [&mut [f32]; N])) -> f64 {
    let height = bytes.len() / width;
    let mut planes: [Vec<f32>; N] = std::array::from_fn(|_| vec![0.0; width * height]);
    let band = height.div_ceil(threads);
    let mut parts: Vec<[&mut [f32]; N]> = (0..threads).map(|_| std::array::from_fn(|_| <&mut [f32]>::default())).collect();
    for (k, plane) in planes.iter_mut().enumerate() {
        plane.chunks_mut(band * width).zip(&mut parts).for_each(|(part, parts)| parts[k] = part);
    }
    std::thread::scope(|scope| {
        for (i, part) in parts.into_iter().enumerate() {
            scope.spawn(move || rows(bytes, width, sigma, [i * band, height.min((i + 1) * band)], part, make));
        }
    });
    planes.iter().flat_map(|plane| plane.iter().step_by(width + 1)).map(|value| f64::from(*value)).sum()
}

/// A band of rows, with what the filter sees beyond it.
fn rows<const N: usize>(
    bytes: &[u8],
    width: usize,
    sigma: f64,
    [from, to]: [usize; 2],
    mut part: [&mut [f32]; N],
    make: fn(Row, [&mut [f32]; N]),
) {
    let above = from.min(reach(sigma));
    let first = from - above;
    let last = (bytes.len() / width).min(to + reach(sigma));
    let source =
        |y: usize, out: &mut [f32]| out.iter_mut().zip(&bytes[(first + y) * width..]).for_each(|(to, from)| *to = f32::from(*from));
    scan(width, last - first, sigma, source, |y, row| {
        if (above..above + to - from).contains(&y) {
            let at = (y - above) * width;
            make(row, part.each_mut().map(|plane| &mut plane[at..at + width]));
        }
    });
}

/// Angle of the lines, radians from the column axis towards the row axis, and coherence. The arc tangent is a polynomial good to
/// 0.01 degrees, as OpenCV's is to 0.02.
fn orientation(row: Row, [angle, coherence]: [&mut [f32]; 2]) {
    use std::f32::consts::{FRAC_PI_2, PI};
    let (rr, rc, cc) = (&row.rr[..angle.len()], &row.rc[..angle.len()], &row.cc[..angle.len()]);
    let coherence = &mut coherence[..angle.len()];
    for i in 0..angle.len() {
        let (along, across) = (cc[i] - rr[i], 2.0 * rc[i]);
        let length = (along * along + across * across).sqrt();
        let (a, b) = (along.abs(), across.abs());
        let t = a.min(b) / a.max(b).max(1e-30);
        let s = t * t;
        let octant = t * (0.999_866 + s * (-0.330_299_5 + s * (0.180_141 + s * (-0.085_133 + s * 0.020_835_1))));
        let quarter = if b > a { FRAC_PI_2 - octant } else { octant };
        let half = if along < 0.0 { PI - quarter } else { quarter };
        angle[i] = 0.5 * half.copysign(across) + FRAC_PI_2;
        coherence[i] = length / (rr[i] + cc[i] + 1e-9);
    }
}

fn answer(bytes: &[u8], width: usize, height: usize) -> Result<f64, Box<dyn Error>> {
    let (w, h) = (width as f64, height as f64);
    let point = |x: f64, y: f64| Reference { px: [x, h - y], plan_mm: [x * 0.6, y * 0.6] };
    let input = Input {
        image: Picture { width: width as u32, height: height as u32, ..Picture::default() },
        points: vec![point(1.0, 1.0), point(w - 1.0, 1.0), point(w - 1.0, h - 1.0), point(1.0, h - 1.0)],
        mm_per_px: Some(0.6),
        ..Input::default()
    };
    let out = run_on(&input, bytes).map_err(|problems| problems.to_string())?;
    Ok(out.tiles.iter().map(|tile| tile.coherence).sum())
}

/// Rows, columns and bytes of a uint8 `.npy` file in C order.
fn read(file: Vec<u8>) -> Result<(usize, usize, Vec<u8>), Box<dyn Error>> {
    let length = usize::from(u16::from_le_bytes(file.get(8..10).ok_or("no header")?.try_into()?));
    let header = std::str::from_utf8(file.get(10..10 + length).ok_or("no header")?)?;
    let shape = header.split("'shape': (").nth(1).and_then(|s| s.split(')').next()).ok_or("no shape")?;
    let sides = shape.split(',').map(str::trim).filter(|s| !s.is_empty()).map(str::parse).collect::<Result<Vec<usize>, _>>()?;
    let &[height, width] = sides.as_slice() else { return Err("two dimensions".into()) };
    let bytes = file[10 + length..].to_vec();
    if !header.contains("|u1") || bytes.len() != height * width {
        return Err("uint8 in C order".into());
    }
    Ok((height, width, bytes))
}

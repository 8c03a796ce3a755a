//! Renders a wall coated twice, seen a little askew, for demonstrations where there is no photograph to show:
//!
//! ```text
//! cargo run -p strokes --example render_wall -- SEED OUT.png
//! ```
//!
//! The first coat runs up, the second across it but for the lower right corner. Grey PNG, 1000 by 750 pixels. Printed: four
//! places of the wall and their pixels, x from the left end of the wall as seen and y up, in millimetres from its lower left.

#[path = "../tests/common/mod.rs"]
mod common;

use common::{Floor, Random};
use std::error::Error;
use strokes::homography::{Homography, Pair};

/// Side of the wall that is rendered; the picture shows less than all of it.
const SIDE: usize = 900;
const SIZE: [usize; 2] = [1000, 750];
/// Pixels of its corners, from the lower left anticlockwise.
const CORNERS: [[f64; 2]; 4] = [[-70.0, 905.0], [1065.0, 940.0], [1035.0, -150.0], [-25.0, -130.0]];
/// Places marked on it.
const MARKED: [[f64; 2]; 4] = [[80.0, 160.0], [800.0, 160.0], [800.0, 740.0], [80.0, 740.0]];
/// Where the second coat leaves no marks: right of this and below that.
const SINGLE: [usize; 2] = [440, 353];
/// Greys are rounded to so many, so that the file stays small.
const STEP: f64 = 6.0;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [seed, out] = args.as_slice() else { return Err("render_wall SEED OUT.png".into()) };
    let (mut input, mut bytes) = wall(seed.parse()?).askew(SIZE[0], SIZE[1], CORNERS);
    bytes.iter_mut().for_each(|grey| *grey = ((f64::from(*grey) / STEP).round() * STEP) as u8);
    write(out, &bytes)?;
    let corners: Vec<Pair> = input.points.drain(..).map(|p| Pair { px: p.px, plan_mm: p.plan_mm }).collect();
    let px_from_mm = Homography::px_from_plan(&corners).map_err(|_| "corners of no camera")?;
    for [x_mm, y_mm] in MARKED {
        let [x_px, y_px] = px_from_mm.at([x_mm, y_mm]).ok_or("a place behind the camera")?;
        println!("{{ \"x_px\": {x_px:.1}, \"y_px\": {y_px:.1}, \"x_mm\": {x_mm}, \"y_mm\": {y_mm} }}");
    }
    Ok(())
}

fn wall(seed: u64) -> Floor {
    let random = &mut Random(seed);
    let first = Floor::plain(SIDE).coat(random, 90.0, 24.0);
    let mut both = first.clone().coat(random, 0.0, 24.0);
    for row in 0..SINGLE[1] {
        let right = row * SIDE + SINGLE[0]..(row + 1) * SIDE;
        both.grey[right.clone()].copy_from_slice(&first.grey[right]);
    }
    let mut wall = both.light(|x, y| 0.03 * (y - x)).noise(random, 1.0);
    for [x, y] in MARKED {
        cross(&mut wall, [x as usize, y as usize]);
    }
    wall
}

/// A pencil cross, 30 mm wide.
fn cross(wall: &mut Floor, [x, y]: [usize; 2]) {
    for off in 0..=30 {
        for (column, row) in [(x - 15 + off, y), (x, y - 15 + off)] {
            wall.grey[row * SIDE + column] = 30.0;
        }
    }
}

fn write(out: &str, bytes: &[u8]) -> Result<(), Box<dyn Error>> {
    let mut encoder = png::Encoder::new(std::fs::File::create(out)?, SIZE[0] as u32, SIZE[1] as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_compression(png::Compression::High);
    encoder.write_header()?.write_image_data(bytes)?;
    Ok(())
}

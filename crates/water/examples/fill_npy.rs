//! Fills a floor read from a `.npy` file once and prints the time, for racing and checking other programs on the same bytes
//! (`benches/peers`):
//!
//! ```text
//! fill_npy levels|ponds THREADS HEIGHTS [OUTLETS LEVELS]
//! ```
//!
//! HEIGHTS: float32 or float64, two dimensions. OUTLETS: bool or uint8 of the same shape; without it row 0 is the outlet. LEVELS
//! is written, float64. Only the filling is timed, from heights in memory as f64 to levels in memory as f64.

use std::error::Error;
use std::io::{BufWriter, Write};
use std::time::Instant;
use water::fill::{fill_on, levels_on};
use water::grid::Grid;

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let (what, threads, heights, rest) = match args.as_slice() {
        [what, threads, heights, rest @ ..] if rest.is_empty() || rest.len() == 2 => (what, threads.parse()?, heights, rest),
        _ => return Err("fill_npy levels|ponds THREADS HEIGHTS [OUTLETS LEVELS]".into()),
    };
    let ([ny, nx], z_mm) = read(&std::fs::read(heights)?)?;
    let grid = Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx, ny, z_mm };
    let outlets: Vec<usize> = match rest.first() {
        None => (0..nx).collect(),
        Some(file) => read(&std::fs::read(file)?)?.1.iter().enumerate().filter(|(_, is)| **is != 0.0).map(|(cell, _)| cell).collect(),
    };
    let begin = Instant::now();
    let (levels, ponds) = match what.as_str() {
        "levels" => (levels_on(threads, &grid, &outlets), Vec::new()),
        "ponds" => {
            let filled = fill_on(threads, &grid, &outlets);
            (filled.level_mm, filled.ponds)
        }
        _ => return Err("levels or ponds".into()),
    };
    let ns = begin.elapsed().as_nanos() as f64 / grid.len() as f64;
    let depth_sum: f64 = ponds.iter().map(|pond| pond.depth_sum_mm).sum();
    let sum: f64 = levels.iter().sum();
    println!("{{\"ns\": {ns}, \"sum\": {sum}, \"ponds\": {}, \"depth_sum\": {depth_sum}}}", ponds.len());
    if let Some(file) = rest.get(1) {
        write(file, [ny, nx], &levels)?;
    }
    Ok(())
}

/// Shape and numbers of a `.npy` file in C order.
fn read(bytes: &[u8]) -> Result<([usize; 2], Vec<f64>), Box<dyn Error>> {
    let wide = bytes.get(6).copied().unwrap_or(1) > 1;
    let (begin, length) = if wide {
        (12, u32::from_le_bytes(bytes[8..12].try_into()?) as usize)
    } else {
        (10, u16::from_le_bytes(bytes[8..10].try_into()?) as usize)
    };
    let header = std::str::from_utf8(&bytes[begin..begin + length])?;
    let data = &bytes[begin + length..];
    let shape = header.split("'shape': (").nth(1).and_then(|s| s.split(')').next()).ok_or("no shape")?;
    let sides = shape.split(',').map(str::trim).filter(|s| !s.is_empty()).map(str::parse).collect::<Result<Vec<usize>, _>>()?;
    let &[ny, nx] = sides.as_slice() else { return Err("two dimensions".into()) };
    let numbers: Vec<f64> = if header.contains("<f4") {
        data.chunks_exact(4).map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]]))).collect()
    } else if header.contains("<f8") {
        data.chunks_exact(8).map(|b| f64::from_le_bytes([b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7]])).collect()
    } else if header.contains("|b1") || header.contains("|u1") {
        data.iter().map(|&b| f64::from(b)).collect()
    } else {
        return Err("float32, float64, bool or uint8".into());
    };
    if numbers.len() != nx * ny || header.contains("'fortran_order': True") {
        return Err("as many numbers as the shape says, in C order".into());
    }
    Ok(([ny, nx], numbers))
}

/// Writes a `.npy` file of float64.
fn write(file: &str, [ny, nx]: [usize; 2], numbers: &[f64]) -> Result<(), Box<dyn Error>> {
    let mut header = format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({ny}, {nx}), }}");
    while (header.len() + 11) % 64 != 0 {
        header.push(' ');
    }
    header.push('\n');
    let mut out = BufWriter::new(std::fs::File::create(file)?);
    out.write_all(b"\x93NUMPY\x01\x00")?;
    out.write_all(&u16::try_from(header.len())?.to_le_bytes())?;
    out.write_all(header.as_bytes())?;
    for number in numbers {
        out.write_all(&number.to_le_bytes())?;
    }
    Ok(out.flush()?)
}

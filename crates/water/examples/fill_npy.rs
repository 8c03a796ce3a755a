//! Fills a floor read from a `.npy` file once and prints the time: `fill_npy levels|ponds THREADS FILE`.
//!
//! For racing other programs on the same bytes (`benches/peers`): float32 or float64, two dimensions, row 0 is the outlet.
//! Only the filling is timed, from heights in memory as f64 to levels in memory as f64; reading is not.

use std::time::Instant;
use water::fill::{fill_on, levels_on};
use water::grid::Grid;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [what, threads, file] = args.as_slice() else { return Err("fill_npy levels|ponds THREADS FILE".into()) };
    let (threads, grid) = (threads.parse()?, read(&std::fs::read(file)?)?);
    let outlets: Vec<usize> = (0..grid.nx).collect();
    let begin = Instant::now();
    let (levels, ponds) = match what.as_str() {
        "levels" => (levels_on(threads, &grid, &outlets), None),
        "ponds" => {
            let filled = fill_on(threads, &grid, &outlets);
            (filled.level_mm, Some(filled.ponds.len()))
        }
        _ => return Err("levels or ponds".into()),
    };
    let ns = begin.elapsed().as_nanos() as f64 / grid.len() as f64;
    println!("{{\"ns\": {ns}, \"sum\": {}, \"ponds\": {}}}", levels.iter().sum::<f64>(), ponds.map_or("null".into(), |n| n.to_string()));
    Ok(())
}

/// The numbers of a `.npy` file (format 1.0 to 3.0, C order).
fn read(bytes: &[u8]) -> Result<Grid, Box<dyn std::error::Error>> {
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
    let z_mm: Vec<f64> = if header.contains("<f4") {
        data.chunks_exact(4).map(|b| f64::from(f32::from_le_bytes([b[0], b[1], b[2], b[3]]))).collect()
    } else if header.contains("<f8") {
        data.chunks_exact(8).map(|b| f64::from_le_bytes([b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7]])).collect()
    } else {
        return Err("float32 or float64".into());
    };
    if z_mm.len() != nx * ny {
        return Err("fewer numbers than the shape says".into());
    }
    Ok(Grid { x0_mm: 0.0, y0_mm: 0.0, cell_mm: 1.0, nx, ny, z_mm })
}

//! Where the floor rises towards its outlet.

use super::all_falls;
use crate::ink::{DARK_VERMILION, VERMILION, WHITE};
use crate::sheet::Sheet;
use crate::svg::{At, Paint};
use crate::{SurfaceOnFloor, contour, floor, text};
use room::geometry;
use water::falls::{BackFall, Output};
use water::grid::Grid;

/// Back-falls drawn and listed, at most: the highest.
pub const BACK_FALLS: usize = 8;

pub fn all_back_falls<'a>(surface: &SurfaceOnFloor<'a>) -> Vec<&'a BackFall> {
    let mut all: Vec<&BackFall> = all_falls(surface).flat_map(|f| &f.backfalls).collect();
    all.sort_by(|a, b| b.rise_mm.total_cmp(&a.rise_mm));
    all
}

pub fn back_words(back: &BackFall) -> String {
    let run = contour::distance(back.at_mm, back.to_mm, back.to_mm);
    let spread = back.u_rise_mm.map_or(String::new(), |u| format!(" \u{b1} {}", text::decimal(2.0 * u, 1)));
    let levels = match back.readings.as_slice() {
        [] => String::new(),
        names => format!(", levels {}", names.join(" and ")),
    };
    format!("rises {}{spread} mm over {} mm{levels}", text::decimal(back.rise_mm, 1), text::decimal(run, 0))
}

/// Cells that rise towards the outlet and hang together with a back-fall that is shown; between two levels alone a
/// band, for those that rise more than `least_mm`.
pub fn back_area(sheet: &Sheet, found: &Output, least_mm: f64) -> Vec<Vec<At>> {
    if found.backfalls.is_empty() {
        return Vec::new();
    }
    let mut bands = Vec::new();
    let Some(drawn) = &found.drawing else {
        return found.backfalls.iter().map(|b| sheet.view.line(&geometry::band(&[b.at_mm, b.to_mm], BAND_MM))).collect();
    };
    let z_mm = drawn.fall.iter().map(|f| f.unwrap_or(f64::NAN)).collect();
    let grid = Grid { x0_mm: drawn.x0_mm, y0_mm: drawn.y0_mm, cell_mm: drawn.cell_mm, nx: drawn.nx, ny: drawn.ny, z_mm };
    if grid.z_mm.len() != grid.len() {
        return Vec::new();
    }
    let mut inside = vec![false; grid.len()];
    for back in &found.backfalls {
        let mut open: Vec<usize> = (0..=20)
            .filter_map(|k| {
                let t = f64::from(k) / 20.0;
                let at = [0, 1].map(|i| back.at_mm[i] + t * (back.to_mm[i] - back.at_mm[i]));
                grid.cell_at(at).filter(|c| grid.z_mm[*c] < 0.0)
            })
            .collect();
        if open.is_empty() && back.rise_mm > least_mm {
            bands.push(sheet.view.line(&geometry::band(&[back.at_mm, back.to_mm], BAND_MM)));
        }
        while let Some(cell) = open.pop() {
            if !std::mem::replace(&mut inside[cell], true) {
                open.extend(grid.neighbours(cell).filter(|c| grid.z_mm[*c] < 0.0 && !inside[*c]));
            }
        }
    }
    bands.extend(floor::cells(sheet, &grid, |cell| inside[cell]));
    bands
}

/// Width of the band drawn between two levels that show a back-fall.
const BAND_MM: f64 = 60.0;

/// From the low end of each back-fall (open) to its high end (full).
pub fn back_falls(sheet: &mut Sheet, surface: &SurfaceOnFloor) {
    for back in all_back_falls(surface).into_iter().take(BACK_FALLS) {
        let (low, high) = (sheet.view.page(back.at_mm), sheet.view.page(back.to_mm));
        sheet.svg.line(low, high, Paint::line(WHITE, 1.3));
        sheet.svg.line(low, high, Paint::line(VERMILION, 0.6));
        sheet.svg.circle(low, 1.1, Paint::line(VERMILION, 0.4).filled(WHITE));
        sheet.svg.circle(high, 1.1, Paint::line(VERMILION, 0.4).filled(VERMILION));
        sheet.places.spare_line(&[low, high], 1.6);
    }
}

pub fn back_fall_names(sheet: &mut Sheet, surface: &SurfaceOnFloor) {
    for back in all_back_falls(surface).into_iter().take(BACK_FALLS) {
        let (low, high) = (sheet.view.page(back.at_mm), sheet.view.page(back.to_mm));
        let middle = [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0];
        let words = format!("back-fall {} mm", text::decimal(back.rise_mm, 1));
        sheet.label_in(&words, middle, 1.6, 24.0, DARK_VERMILION, true);
    }
}

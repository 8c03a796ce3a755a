//! A photograph and points of the plan in, directions of each tile out.

use crate::classify::{self, Class, Scale, Tile};
use crate::homography::{Homography, Pair, Refused};
use crate::rectify::{Grey, Grid, Rectified};
use crate::ruled::{self, Patch};
use crate::tiles::{self, Cut};
use crate::{CAUTION, base64, picture, tensor};
use measure::{Bounds, PointMm, Problem, Problems, bounds, math};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

const SIDE_PX: Bounds = Bounds { min: 16.0, max: 20_000.0, unit: "pixels" };
/// Cells of the plan looked at.
const CELLS: f64 = 30.0e6;
const POINTS: usize = 1_000;
const POLYGONS: usize = 1_000;
const TILES: f64 = 10_000.0;
const PHOTO_MM_PER_PX: Bounds = Bounds { min: 1e-3, max: 1e4, unit: "mm" };
const TILE_MM: Bounds = Bounds { min: 5.0, max: 5_000.0, unit: "mm" };
const STROKE_MM: Bounds = Bounds { min: 0.5, max: 500.0, unit: "mm" };
const MM_PER_PX: Bounds = Bounds { min: 0.01, max: 100.0, unit: "mm" };
const SIGMA_PX: Bounds = Bounds { min: 0.4, max: 8.0, unit: "pixels" };
const PIXEL: Bounds = Bounds { min: -1.0e5, max: 1.0e5, unit: "pixels" };
/// A tile is at least so many strokes wide.
const STROKES_PER_TILE: f64 = 5.0;
/// Lines at even distances are looked for up to so many strokes apart; those farther apart leave gaps that tell them.
const RULED_STROKES: f64 = 2.5;
/// And at most so many: each adds a block to hold.
const STROKES_MOST: f64 = 50.0;

/// A photograph, what is known of its place, and what to look for.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Input {
    /// The photograph.
    pub image: Picture,
    /// Four or more points whose place on the plan is known, no three of four on a line; more than four show how well they
    /// agree. All on the one plane, floor or wall, that is looked at.
    #[schemars(length(min = 4, max = 1000))]
    pub points: Vec<Reference>,
    /// What of the plan is looked at; the rectangle around the points when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub area: Option<Area>,
    /// Side of a tile; 200 mm when left out. Tiles are stretched a little to fill the area evenly.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 5.0, max = 5000.0))]
    pub tile_mm: Option<f64>,
    /// Width over which the marks of brush or roller repeat several times; 20 mm when left out. A tile is 5 to 50 of them.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.5, max = 500.0))]
    pub stroke_mm: Option<f64>,
    /// Side of a rectified pixel; that of the photograph when left out, but no finer than a twentieth of a stroke.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.01, max = 100.0))]
    pub mm_per_px: Option<f64>,
    /// Standard deviation of the Gaussian that smooths the tensor, in rectified pixels; 1 when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.4, max = 8.0))]
    pub sigma_px: Option<f64>,
    /// Whether the plan's x runs to the left as the surface is seen, as on a wall measured from its right end.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub mirrored: bool,
    /// Polygons on the plan that are not looked at: a bucket, a fitting, a shadow known to be one.
    pub leave_out_mm: Vec<Vec<PointMm>>,
}

/// A picture: a PNG or JPEG file, or its pixels in grey, row by row from the top left, as numbers or bytes. One of the three;
/// left out where the file comes beside the input, as on the command line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Picture {
    /// Pixels in a row; left out with a file, which knows.
    #[serde(skip_serializing_if = "none")]
    #[schemars(range(min = 16, max = 20000))]
    pub width: u32,
    /// Rows; left out with a file.
    #[serde(skip_serializing_if = "none")]
    #[schemars(range(min = 16, max = 20000))]
    pub height: u32,
    /// A PNG or JPEG file in base64 (RFC 4648, section 4), at most 64 MB and 50 million pixels. Pixels are counted in the
    /// picture as a viewer shows it: turned as its EXIF orientation says.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub file_base64: Option<String>,
    /// Luminance of each pixel, 0 black to 255 white.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grey: Option<Vec<u8>>,
    /// The same as one byte a pixel in base64.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grey_base64: Option<String>,
}

fn none(pixels: &u32) -> bool {
    *pixels == 0
}

/// A point of the photograph and its place on the plan.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// Pixel: x to the right, y down, the centre of the first pixel at 0, 0.
    pub px: [f64; 2],
    /// Place on the plan of the floor, or of the wall, in millimetres: x to the right, y up.
    pub plan_mm: PointMm,
}

/// A rectangle on the plan.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Area {
    /// Lower left corner, millimetres.
    pub from_mm: PointMm,
    /// Upper right corner, millimetres.
    pub to_mm: PointMm,
}

/// What the photograph shows.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Output {
    /// What this is and what it is not. To be shown with every result.
    pub caution: String,
    /// Tiles, row by row from the bottom left of the plan.
    pub tiles: Vec<Tile>,
    /// How many tiles of each class.
    pub counts: Counts,
    /// What was looked at.
    pub area: Area,
    /// Tiles side by side.
    pub columns: usize,
    /// Tiles one above another.
    pub rows: usize,
    /// Side of a rectified pixel, millimetres.
    pub mm_per_px: f64,
    /// Side of the photograph's pixels on the plan, in the middle of the area, millimetres.
    pub photo_mm_per_px: f64,
    /// How far each reference point lies from where the others put it together with it.
    pub residuals: Vec<Residual>,
    /// Root mean square of them, millimetres; absent with four points, which always fit.
    pub residual_rms_mm: Option<f64>,
    /// What to know when using these results.
    pub notes: Vec<String>,
}

/// Tiles of each class.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Counts {
    /// Marks one way.
    pub one: usize,
    /// Marks two ways.
    pub two: usize,
    /// Nothing can be said.
    pub none: usize,
}

/// How a reference point fits.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Residual {
    /// On the plan, millimetres; absent where the pixel does not lie on the plane.
    pub mm: Option<f64>,
    /// In the photograph, pixels.
    pub px: f64,
}

/// Finds the directions of the marks in each tile.
///
/// Points give the plan's place of each pixel ([`Homography::px_from_plan`]); the picture is taken onto the plan
/// ([`Rectified::of`]), freed of broad shading (the mean over a stroke's width), and its structure tensor summed over tiles
/// ([`crate::tensor`]). A tile has one, two or no direction; all that keeps marks from being seen ends as none.
pub fn run(input: &Input) -> Result<Output, Problems> {
    let bytes = |field: &str, text: &str, most: usize| {
        if text.len() > 2 * most {
            return Err(Problems::from(Problem::at(field, "too long", format!("{most} bytes at most"))));
        }
        base64::decode(text).map_err(|place| {
            Problem::at(field, format!("not base64 at character {}", place + 1), "letters, digits, + and /, as in RFC 4648").into()
        })
    };
    let image = &input.image;
    let pixels = match (&image.grey, &image.grey_base64, &image.file_base64) {
        (Some(grey), None, None) => return run_on(input, grey),
        (None, Some(text), None) => bytes("image.grey_base64", text, picture::PIXELS).map(|grey| run_on(input, &grey)),
        (None, None, Some(text)) => bytes("image.file_base64", text, picture::FILE_BYTES).map(|file| run_on_file(input, &file)),
        (None, None, None) => {
            Err(Problem::at("image", "missing", "file_base64: a PNG or JPEG file; or grey or grey_base64: its pixels").into())
        }
        _ => Err(Problem::at("image", "given twice", "one of file_base64, grey and grey_base64").into()),
    };
    pixels.unwrap_or_else(|problems| Err(beside(input, problems)))
}

/// The same with a PNG or JPEG file given apart ([`picture::decode`]); pixels in the input are not looked at.
pub fn run_on_file(input: &Input, file: &[u8]) -> Result<Output, Problems> {
    let photo = picture::decode(file).map_err(|problems| beside(input, problems))?;
    let sides = [("image.width", input.image.width, photo.width), ("image.height", input.image.height, photo.height)];
    let other = sides.iter().filter(|(_, given, has)| *given != 0 && *given as usize != *has);
    let other = other.map(|(field, given, has)| Problem::at(*field, "not that of the file", format!("{has}, or left out")).value(*given));
    let mut problems = Problems::new();
    other.for_each(|problem| problems.push(problem));
    problems.or(())?;
    of(input, photo.width, photo.height, &photo.luminance)
}

/// The same with the pixels given apart, row by row; those in the input are not looked at.
pub fn run_on(input: &Input, luminance: &[u8]) -> Result<Output, Problems> {
    of(input, input.image.width as usize, input.image.height as usize, luminance)
}

/// Problems of the picture, and those of everything else.
fn beside(input: &Input, mut problems: Problems) -> Problems {
    problems.extend(Plan::of(input, None).err().unwrap_or_default());
    problems
}

fn of(input: &Input, width: usize, height: usize, luminance: &[u8]) -> Result<Output, Problems> {
    let plan = Plan::of(input, Some([width, height]));
    let mut problems = Problems::new();
    if width.checked_mul(height) != Some(luminance.len()) {
        let right = format!("width times height, {} of them", width.saturating_mul(height));
        problems.push(Problem::at("image.grey", "the wrong number of pixels", right).value(luminance.len()));
    }
    let plan = match plan {
        Ok(plan) => problems.or(plan)?,
        Err(more) => {
            problems.extend(more);
            return Err(problems);
        }
    };
    let tiles = plan.tiles(input, Grey { width, height, luminance });
    Ok(plan.answer(input, tiles))
}

/// Everything but the pixels, checked.
struct Plan {
    map: Homography,
    area: Area,
    columns: usize,
    rows: usize,
    stroke_mm: f64,
    sigma: f64,
    mm_per_px: f64,
    photo_mm_per_px: f64,
}

impl Plan {
    /// `size` of the picture: width and height, where they are known.
    fn of(input: &Input, size: Option<[usize; 2]>) -> Result<Self, Problems> {
        let mut problems = Problems::new();
        let mut within = |field: String, value: f64, bounds: Bounds| {
            if !bounds.contains(value) {
                problems.push(Problem::at(field, "out of bounds", bounds.words()).value(value));
            }
            value
        };
        if let Some([width, height]) = size {
            within("image.width".into(), width as f64, SIDE_PX);
            within("image.height".into(), height as f64, SIDE_PX);
        }
        let tile_mm = within("tile_mm".into(), input.tile_mm.unwrap_or(200.0), TILE_MM);
        let stroke_mm = within("stroke_mm".into(), input.stroke_mm.unwrap_or(20.0), STROKE_MM);
        let sigma = within("sigma_px".into(), input.sigma_px.unwrap_or(1.0), SIGMA_PX);
        if let Some(mm) = input.mm_per_px {
            within("mm_per_px".into(), mm, MM_PER_PX);
        }
        for (i, point) in input.points.iter().take(POINTS).enumerate() {
            for axis in 0..2 {
                within(format!("points[{i}].px"), point.px[axis], PIXEL);
                within(format!("points[{i}].plan_mm"), point.plan_mm[axis], bounds::PLAN_MM);
            }
        }
        let corners =
            input.leave_out_mm.iter().take(POLYGONS).enumerate().flat_map(|(i, p)| p.iter().take(bounds::CORNERS).map(move |c| (i, c)));
        for (i, corner) in corners {
            corner.iter().for_each(|value| {
                within(format!("leave_out_mm[{i}]"), *value, bounds::PLAN_MM);
            });
        }
        if let Some(area) = input.area {
            for value in [area.from_mm, area.to_mm].concat() {
                within("area".into(), value, bounds::PLAN_MM);
            }
        }
        problems.extend(sizes(input, size, tile_mm, stroke_mm));
        problems.or(())?;
        let map = map(&input.points)?;
        let area = input.area.unwrap_or_else(|| around(&input.points));
        let size = [area.to_mm[0] - area.from_mm[0], area.to_mm[1] - area.from_mm[1]];
        let parts = size.map(|side| (side / tile_mm).round().max(1.0));
        let photo_mm_per_px = scale(&map, &area)?;
        let finest = photo_mm_per_px.max(stroke_mm / 20.0);
        let mm_per_px = input.mm_per_px.unwrap_or(finest.max((size[0] * size[1] / (0.8 * CELLS)).sqrt()));
        let plan = Self { map, area, columns: parts[0] as usize, rows: parts[1] as usize, stroke_mm, sigma, mm_per_px, photo_mm_per_px };
        let margin = 2.0 * plan.margin() as f64;
        if (size[0] / mm_per_px + margin) * (size[1] / mm_per_px + margin) > CELLS {
            return Err(Problem::at("mm_per_px", "too fine for this area", format!("at most {CELLS} rectified pixels"))
                .value(mm_per_px)
                .into());
        }
        if parts[0] * parts[1] > TILES {
            return Err(Problem::at("tile_mm", "too small for this area", format!("at most {TILES} tiles")).value(tile_mm).into());
        }
        Ok(plan)
    }

    /// Shading is the mean over a stroke's width.
    fn shading(&self) -> usize {
        (0.5 * self.stroke_mm / self.mm_per_px).clamp(3.0, 1000.0) as usize
    }

    fn margin(&self) -> usize {
        self.shading() + tensor::reach(self.sigma)
    }

    fn size_mm(&self) -> [f64; 2] {
        [self.area.to_mm[0] - self.area.from_mm[0], self.area.to_mm[1] - self.area.from_mm[1]]
    }

    fn tiles(&self, input: &Input, photo: Grey) -> Vec<Tile> {
        let margin = self.margin();
        let cells = self.size_mm().map(|side| (side / self.mm_per_px).round().max(1.0) as usize + 2 * margin);
        let grid = Grid {
            from_mm: self.area.from_mm.map(|side| side - margin as f64 * self.mm_per_px),
            mm_per_px: self.mm_per_px,
            width: cells[0],
            height: cells[1],
        };
        let mut picture = Rectified::of(photo, &self.map, grid);
        for polygon in &input.leave_out_mm {
            picture.leave_out(grid, polygon);
        }
        let blocks = (self.tile_size_mm().into_iter().fold(f64::INFINITY, f64::min) / self.stroke_mm).round().clamp(1.0, 100.0) as usize;
        let cut = Cut { margin, columns: self.columns, rows: self.rows, blocks, shading: self.shading(), sigma: self.sigma };
        let scale = Scale { mm_per_px: self.mm_per_px, stroke_mm: self.stroke_mm };
        let [width, height] = self.tile_size_mm();
        let placed = |(i, sums): (usize, &tiles::Sums)| {
            let (column, row) = (i % self.columns, i / self.columns);
            let from_mm = [self.area.from_mm[0] + column as f64 * width, self.area.from_mm[1] + row as f64 * height];
            let mut tile = Tile { column, row, from_mm, to_mm: [from_mm[0] + width, from_mm[1] + height], ..classify::tile(sums, scale) };
            let [columns, rows] = cut.pixels(&picture, column, row);
            let stroke_px = self.stroke_mm / self.mm_per_px;
            let patch = Patch { columns, rows, farthest: (RULED_STROKES * stroke_px) as usize, slow: stroke_px as usize };
            classify::without_ruled(&mut tile, |deg| ruled::distance(&picture, &patch, deg).map(|px| px * self.mm_per_px));
            tile
        };
        tiles::sums(&picture, cut).iter().enumerate().map(placed).collect()
    }

    fn tile_size_mm(&self) -> [f64; 2] {
        let [width, height] = self.size_mm();
        [width / self.columns as f64, height / self.rows as f64]
    }

    fn answer(self, input: &Input, tiles: Vec<Tile>) -> Output {
        let residuals = self.residuals(&input.points);
        let squares: f64 = residuals.iter().filter_map(|r| r.mm).map(math::sq).sum();
        let residual_rms_mm = (input.points.len() > 4).then(|| (squares / residuals.len() as f64).sqrt());
        let count = |class: Class| tiles.iter().filter(|tile| tile.class == class).count();
        Output {
            caution: CAUTION.into(),
            counts: Counts { one: count(Class::One), two: count(Class::Two), none: count(Class::None) },
            notes: self.notes(input, &tiles, residual_rms_mm),
            tiles,
            area: self.area,
            columns: self.columns,
            rows: self.rows,
            mm_per_px: self.mm_per_px,
            photo_mm_per_px: self.photo_mm_per_px,
            residuals,
            residual_rms_mm,
        }
    }

    fn residuals(&self, points: &[Reference]) -> Vec<Residual> {
        let back = self.map.inverse();
        let apart = |a: [f64; 2], b: [f64; 2]| math::hypot(a[0] - b[0], a[1] - b[1]);
        points
            .iter()
            .map(|p| Residual {
                mm: back.at(p.px).map(|mm| apart(mm, p.plan_mm)),
                px: self.map.at(p.plan_mm).map_or(0.0, |px| apart(px, p.px)),
            })
            .collect()
    }

    fn notes(&self, input: &Input, tiles: &[Tile], residual_rms_mm: Option<f64>) -> Vec<String> {
        let mut notes = Vec::new();
        match residual_rms_mm {
            None => notes.push("four points always fit: a fifth would show a slip among them".into()),
            Some(rms) if rms > self.stroke_mm => {
                notes.push(format!("the points disagree by {rms:.0} mm: one may be wrong, or not all lie on one plane"));
            }
            Some(_) => {}
        }
        // Pixels count downwards and the plan upwards: a true photograph turns the sense round.
        let middle = [0, 1].map(|axis| 0.5 * (self.area.from_mm[axis] + self.area.to_mm[axis]));
        if (self.map.area_scale(middle) > 0.0) != input.mirrored {
            notes.push("the points mirror the picture: two of them may be swapped, or the plan is seen from behind".into());
        }
        if input.mm_per_px.is_some_and(|mm| mm < 0.5 * self.photo_mm_per_px) {
            notes.push(format!("finer than the photograph: its pixels are {:.2} mm", self.photo_mm_per_px));
        }
        if one_way_everywhere(tiles) {
            notes.push(
                "the same one direction everywhere: a shaken picture draws such streaks too; take a second one, turned by a quarter".into(),
            );
        }
        notes
    }
}

/// Whether all directions found are one and the same within ten degrees.
fn one_way_everywhere(tiles: &[Tile]) -> bool {
    let mut found = tiles.iter().flat_map(|tile| &tile.directions).map(|d| d.direction_deg);
    let Some(first) = found.next() else { return false };
    found.all(|deg| {
        let turn = (deg - first).rem_euclid(180.0);
        turn.min(180.0 - turn) <= 10.0
    })
}

/// What is wrong with sizes and numbers of things.
fn sizes(input: &Input, size: Option<[usize; 2]>, tile_mm: f64, stroke_mm: f64) -> Problems {
    let mut problems = Problems::new();
    if size.is_some_and(|[width, height]| width.saturating_mul(height) > picture::PIXELS) {
        problems.push(Problem::at("image", "too many pixels", format!("{} at most", picture::PIXELS)));
    }
    if !(4..=POINTS).contains(&input.points.len()) {
        let right = format!("4 to {POINTS} points seen in the photograph and known on the plan");
        problems.push(Problem::at("points", "too few or too many", right).value(input.points.len()));
    }
    if !(STROKES_PER_TILE..=STROKES_MOST).contains(&(tile_mm / stroke_mm)) {
        let right = format!("{STROKES_PER_TILE} to {STROKES_MOST} times stroke_mm, which is {stroke_mm} mm");
        problems.push(Problem::at("tile_mm", "too small or too large for these strokes", right).value(tile_mm));
    }
    if input.leave_out_mm.len() > POLYGONS {
        problems.push(Problem::at("leave_out_mm", "too many polygons", format!("{POLYGONS} at most")).value(input.leave_out_mm.len()));
    }
    for (i, polygon) in input.leave_out_mm.iter().take(POLYGONS).enumerate() {
        if !(3..=bounds::CORNERS).contains(&polygon.len()) {
            let right = format!("3 to {} corners", bounds::CORNERS);
            problems.push(Problem::at(format!("leave_out_mm[{i}]"), "no polygon", right).value(polygon.len()));
        }
    }
    if let Some(area) = input.area
        && (0..2).any(|axis| area.to_mm[axis] - area.from_mm[axis] < 0.5 * tile_mm)
    {
        problems.push(Problem::at("area", "narrower than half a tile", "from_mm the lower left corner, to_mm the upper right one"));
    }
    problems
}

fn map(points: &[Reference]) -> Result<Homography, Problems> {
    let pairs: Vec<Pair> = points.iter().map(|p| Pair { px: p.px, plan_mm: p.plan_mm }).collect();
    Homography::px_from_plan(&pairs).map_err(|refused| {
        let (what, right) = match refused {
            Refused::TooFew => ("too few", "four or more"),
            Refused::Collinear => ("all, or all but one, on one line or one upon another", "points spread like the corners of the area"),
            Refused::Crossed => ("no camera sees them so", "each pixel beside its own place on the plan: two may be swapped"),
        };
        Problem::at("points", what, right).into()
    })
}

/// The rectangle around the points on the plan.
fn around(points: &[Reference]) -> Area {
    let all = |axis: usize| points.iter().map(move |p| p.plan_mm[axis]);
    let least = |axis| all(axis).fold(f64::INFINITY, f64::min);
    let most = |axis| all(axis).fold(f64::NEG_INFINITY, f64::max);
    Area { from_mm: [least(0), least(1)], to_mm: [most(0), most(1)] }
}

/// Millimetres of the plan to a pixel of the photograph in the middle of the area.
fn scale(map: &Homography, area: &Area) -> Result<f64, Problems> {
    let middle = [0, 1].map(|axis| 0.5 * (area.from_mm[axis] + area.to_mm[axis]));
    let mm = 1.0 / map.area_scale(middle).abs().sqrt();
    if map.at(middle).is_none() || !PHOTO_MM_PER_PX.contains(mm) {
        return Err(Problem::at("area", "its middle lies beyond what the photograph can show", "an area near the points").into());
    }
    Ok(mm)
}

//! Which way the coats were laid, as photographs show it. An aid to looking: no verdict rests on it.

use ::strokes::{Class, Input, Output, Reference, Tile};
use job::Job;
use job::photographs::Photograph;
use measure::{PointMm, Problems};
use room::geometry::{contains, distance_to_ring_mm};
use room::nouns::MembraneLayer;
use room::register::Face;
use room::unfold::Unfolded;

/// Nearer than this to the edge of its face a tile belongs to the junction: there it is brushed along the edge, over tape and
/// fillet, and the pattern of the field stops. Common practice, no source.
const JUNCTION_MM: f64 = 50.0;
/// Places named one by one; more are counted.
const PLACES: usize = 3;

/// What a photograph shows, for drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct StrokesDrawn {
    /// The photograph.
    pub file: String,
    /// The face it shows.
    pub face: Face,
    /// The membrane it shows, where that is said.
    pub layer: Option<MembraneLayer>,
    /// Tiles that lie on the face.
    pub tiles: Vec<TileDrawn>,
    /// The same in one sentence.
    pub words: String,
}

/// One tile of a photograph, for drawing.
#[derive(Clone, Debug, PartialEq)]
pub struct TileDrawn {
    /// Corners in the face's coordinates, millimetres: from the least x and y round.
    pub corners_mm: [PointMm; 4],
    /// One, two or no direction.
    pub class: Class,
    /// Directions of the marks in the face's frame: radians from x towards y, 0 to pi, the stronger first.
    pub directions: Vec<f64>,
    /// Whether it lies against the edge of the face, where the pattern of the field stops.
    pub junction: bool,
    /// Why it has this class.
    pub words: String,
}

/// Looks at every photograph with reference points that was taken for this hold point, or for none in particular; and says of
/// each what it shows or why it could not be looked at.
pub(crate) fn all(job: &Job, hold_point: &str) -> (Vec<StrokesDrawn>, Vec<String>) {
    let unfolded = Unfolded::new(&job.room);
    let (mut drawn, mut notes) = (Vec::new(), Vec::new());
    for photograph in &job.photographs.photographs {
        let other = photograph.stage.as_ref().is_some_and(|stage| stage != hold_point);
        let face = unfolded.faces().iter().map(|f| &f.face).find(|face| job::faces::words(face) == photograph.on);
        let (Some(face), Some(file), false) = (face, job.pictures.get(&photograph.file), other || photograph.points.is_empty()) else {
            continue;
        };
        match look(photograph, face, &unfolded, file) {
            Ok(strokes) => {
                notes.push(strokes.words.clone());
                drawn.push(strokes);
            }
            Err(problems) => {
                let why: Vec<String> = problems.problems.iter().map(|problem| format!("{}: {}", problem.field, problem.what)).collect();
                notes.push(format!("{} could not be looked at for directions: {}", photograph.file, why.join("; ")));
            }
        }
    }
    (drawn, notes)
}

fn look(photograph: &Photograph, face: &Face, unfolded: &Unfolded, file: &[u8]) -> Result<StrokesDrawn, Problems> {
    let points = photograph.points.iter().map(|p| Reference { px: [p.x_px, p.y_px], plan_mm: [p.x_mm, p.y_mm] }).collect();
    let input = Input { points, mirrored: mirrored(unfolded, face), ..Input::default() };
    let output = ::strokes::run_on_file(&input, file)?;
    let rings = unfolded.local_rings(face).unwrap_or_default();
    let tiles: Vec<(&Tile, TileDrawn)> = output.tiles.iter().filter_map(|tile| on_face(tile, &rings).map(|drawn| (tile, drawn))).collect();
    let words = words(photograph, &output, &tiles);
    Ok(StrokesDrawn {
        file: photograph.file.clone(),
        face: face.clone(),
        layer: photograph.layer,
        tiles: tiles.into_iter().map(|(_, drawn)| drawn).collect(),
        words,
    })
}

/// Whether a face's x runs to the left when it is looked at from inside the room, as on the unfolded sheet.
fn mirrored(unfolded: &Unfolded, face: &Face) -> bool {
    let at = |x: f64, y: f64| unfolded.to_sheet(face, [x, y]);
    let (Some(o), Some(x), Some(y)) = (at(0.0, 0.0), at(1.0, 0.0), at(0.0, 1.0)) else { return false };
    (x[0] - o[0]) * (y[1] - o[1]) - (x[1] - o[1]) * (y[0] - o[0]) < 0.0
}

/// A tile for drawing, if its middle lies on the face: in its outline and in no hole of it.
fn on_face(tile: &Tile, rings: &[Vec<PointMm>]) -> Option<TileDrawn> {
    let ([x0, y0], [x1, y1]) = (tile.from_mm, tile.to_mm);
    let middle = [0.5 * (x0 + x1), 0.5 * (y0 + y1)];
    let (outline, holes) = rings.split_first()?;
    if !contains(outline, middle, 0.0) || holes.iter().any(|hole| contains(hole, middle, 0.0)) {
        return None;
    }
    let corners_mm = [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
    let inside = |p: &PointMm| contains(outline, *p, 0.0) && !holes.iter().any(|hole| contains(hole, *p, 0.0));
    let near = |p: &PointMm| rings.iter().any(|ring| distance_to_ring_mm(ring, *p) < JUNCTION_MM);
    Some(TileDrawn {
        corners_mm,
        class: tile.class,
        directions: tile.directions.iter().map(|d| d.direction_deg.to_radians()).collect(),
        junction: corners_mm.iter().any(|p| near(p) || !inside(p)),
        words: tile.why.clone(),
    })
}

/// `west-2.jpg (floor): two crossing directions in 84 % of 120 tiles of the field; one direction only near (300, 1200) mm: look
/// there again. ...`
fn words(photograph: &Photograph, output: &Output, tiles: &[(&Tile, TileDrawn)]) -> String {
    let (edge, field): (Vec<_>, Vec<_>) = tiles.iter().partition(|(_, drawn)| drawn.junction);
    let of = |class: Class| field.iter().filter(|(_, drawn)| drawn.class == class).count();
    let mut parts = Vec::new();
    let percent = |count: usize| (100.0 * count as f64 / field.len() as f64).round();
    match field.len() {
        0 => parts.push("no tile lies within the field".into()),
        all if of(Class::None) == all => parts.push(format!("no direction can be told in any of {all} tiles of the field")),
        all => parts.push(format!("two crossing directions in {} % of {all} tiles of the field", percent(of(Class::Two)))),
    }
    let one: Vec<&Tile> = field.iter().filter(|(_, drawn)| drawn.class == Class::One).map(|(tile, _)| *tile).collect();
    if !one.is_empty() {
        let places = places(&one);
        let named: Vec<String> = places.iter().take(PLACES).map(|p| format!("({:.0}, {:.0})", p[0], p[1])).collect();
        let more = match places.len().saturating_sub(PLACES) {
            0 => String::new(),
            more => format!(" and {more} more places"),
        };
        parts.push(format!("one direction only near {} mm{more}: look there again", named.join(", ")));
    }
    if of(Class::None) > 0 {
        let why = commonest(field.iter().filter(|(_, drawn)| drawn.class == Class::None).map(|(_, drawn)| drawn.words.as_str()));
        parts.push(format!("nothing can be told in {} % (most often: {why})", percent(of(Class::None))));
    }
    let stops = edge.iter().filter(|(_, drawn)| drawn.class != Class::Two).count();
    if stops > 0 && of(Class::Two) > 0 {
        parts.push(format!("along the edges the crossing stops in {stops} of {} tiles, as it does at junctions", edge.len()));
    }
    // Four points always fit and say nothing new here.
    parts.extend(output.notes.iter().filter(|_| output.residual_rms_mm.is_some()).cloned());
    format!("{} ({}): {}. An aid to looking, never proof of thickness", photograph.file, photograph.on, parts.join("; "))
}

/// Middles of the groups of tiles that touch, the largest group first; of a group, the tile nearest to its mean.
fn places(tiles: &[&Tile]) -> Vec<PointMm> {
    let mut left: Vec<&Tile> = tiles.to_vec();
    let mut groups: Vec<Vec<&Tile>> = Vec::new();
    while let Some(first) = left.pop() {
        let mut group = vec![first];
        let mut next = 0;
        while next < group.len() {
            let [column, row] = [group[next].column, group[next].row];
            let (touching, apart) = left.into_iter().partition(|t| t.column.abs_diff(column) <= 1 && t.row.abs_diff(row) <= 1);
            left = apart;
            group.extend::<Vec<&Tile>>(touching);
            next += 1;
        }
        groups.push(group);
    }
    groups.sort_by(|a, b| b.len().cmp(&a.len()).then((a[0].row, a[0].column).cmp(&(b[0].row, b[0].column))));
    groups.iter().map(|group| central(group)).collect()
}

fn central(group: &[&Tile]) -> PointMm {
    let middle = |tile: &Tile| [0, 1].map(|axis| 0.5 * (tile.from_mm[axis] + tile.to_mm[axis]));
    let mean = [0, 1].map(|axis| group.iter().map(|tile| middle(tile)[axis]).sum::<f64>() / group.len() as f64);
    let off = |p: PointMm| measure::math::hypot(p[0] - mean[0], p[1] - mean[1]);
    group.iter().map(|tile| middle(tile)).min_by(|a, b| off(*a).total_cmp(&off(*b))).unwrap_or(mean)
}

/// The reason that comes most often, its numbers left aside.
fn commonest<'a>(reasons: impl Iterator<Item = &'a str>) -> &'a str {
    let plain = |reason: &str| reason.chars().filter(|c| !c.is_ascii_digit() && *c != '.').collect::<String>();
    let mut counts: std::collections::BTreeMap<String, (usize, &str)> = Default::default();
    for reason in reasons {
        counts.entry(plain(reason)).or_insert((0, reason)).0 += 1;
    }
    counts.into_values().max_by_key(|(count, _)| *count).map_or("", |(_, reason)| reason)
}

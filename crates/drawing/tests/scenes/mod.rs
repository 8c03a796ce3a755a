//! Rooms and invented results to draw: shared by the tests and by `examples/sheets.rs`.

mod coats;
mod film;

use drawing::{Entry, FloorPart, Mark, MarkedDetail, PondsOnFloor, Reading, Scene, SurfaceOnFloor};
use measure::PointMm;
use room::Room;
use room::geometry;
use room::nouns::OutletKind;
use room::register::{self, Detail, DetailKind, Face, Place};
use room::validate::normalised;
use serde_json::{Value, json};
use water::falls;
use water::fill::fill;
use water::ponding::{self, PondOut};
use water::surface::{LevelIn, OutletIn, SurfaceIn, outlet_cells};
use water::tin::{self, Surface};

/// A room with everything a drawing needs, owned.
pub struct Made {
    pub name: String,
    pub room: Room,
    details: Vec<Detail>,
    marks: Vec<(Mark, Option<usize>, Option<f64>)>,
    list: Vec<(usize, Mark, String)>,
    readings: Vec<(String, PointMm, f64)>,
    measured: Option<Measured>,
    notes: Vec<String>,
}

struct Measured {
    surface: Surface,
    parts: Vec<(Surface, Option<falls::Output>)>,
    level_mm: Vec<f64>,
    ponds: Vec<PondOut>,
}

impl Made {
    /// From a room; levels are invented unless given, verdicts always.
    pub fn new(name: &str, room: Value, levels: Option<Vec<(String, PointMm, f64)>>) -> Self {
        let room: Room = serde_json::from_value(room).expect("a room");
        let room = normalised(&room);
        let details = register::derive(&room);
        // Invented floors are coarse, to be quick.
        let cell_mm = if levels.is_some() { 10.0 } else { 30.0 };
        let levels = levels.unwrap_or_else(|| invented_levels(&room));
        let measured = measured(&room, &levels, cell_mm);
        let (marks, list) = invented_marks(&details);
        Self { name: name.into(), room, details, marks, list, readings: levels, measured, notes: vec![] }
    }

    /// Calls with the scene, which borrows.
    pub fn with<T>(&self, draw: impl FnOnce(&Scene) -> T) -> T {
        let marked: Vec<MarkedDetail> = self
            .details
            .iter()
            .zip(&self.marks)
            .map(|(detail, (mark, number, litres))| MarkedDetail { detail, mark: *mark, number: *number, litres_per_day: *litres })
            .collect();
        let list: Vec<Entry> = self.list.iter().map(|(number, mark, words)| Entry { number: *number, mark: *mark, words }).collect();
        let readings: Vec<Reading> = self.readings.iter().map(|(name, at_mm, z_mm)| Reading { name, at_mm: *at_mm, z_mm: *z_mm }).collect();
        let parts: Vec<FloorPart> = self
            .measured
            .iter()
            .flat_map(|m| &m.parts)
            .map(|(part, falls)| FloorPart { grid: &part.grid, extrapolated: &part.extrapolated, falls: falls.as_ref() })
            .collect();
        let surface = self.measured.as_ref().map(|m| SurfaceOnFloor {
            words: "screed, one set-up of a rotating laser",
            readings: &readings,
            fall_limits: "1:80 to 1:50",
            parts: &parts,
            ponds: Some(PondsOnFloor { grid: &m.surface.grid, level_mm: &m.level_mm, ponds: &m.ponds, depth_ignored_mm: 0.5 }),
        });
        draw(&Scene {
            room: &self.room,
            title: &format!("Heron Row, 12, {}", self.room.name),
            subtitle: "upper membrane and cure, 27 February 2024, drawing WR-03 rev C",
            details: &marked,
            list: &list,
            surface,
            notes: &self.notes,
        })
    }

    /// All sheets with their names.
    pub fn sheets(&self) -> Vec<(String, String)> {
        self.with(|scene| {
            let first = [
                ("details", drawing::details(scene)),
                ("falls", drawing::falls(scene)),
                ("ponds", drawing::ponds(scene)),
                ("water", drawing::water(scene)),
            ];
            let films = film::sheets(self, scene).into_iter().chain(coats::sheets(self, scene));
            let lists = drawing::details_list(scene).into_iter().enumerate().map(|(i, svg)| (format!("details-{}", i + 2), svg));
            first.into_iter().map(|(name, svg)| (name.to_owned(), svg)).chain(films).chain(lists).collect()
        })
    }

    /// Without a measured floor.
    pub fn unmeasured(mut self) -> Self {
        self.measured = None;
        self
    }
}

/// A steady number from a name, 0 to 1.
fn chance(name: &str, salt: u64) -> f64 {
    let mut hash = 0xcbf2_9ce4_8422_2325u64 ^ salt;
    for byte in name.bytes() {
        hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
    }
    hash ^= hash >> 29;
    hash = hash.wrapping_mul(0xbf58_476d_1ce4_e5b9);
    (hash >> 40) as f64 / (1u64 << 24) as f64
}

type Marks = Vec<(Mark, Option<usize>, Option<f64>)>;

/// Verdicts by chance, steady for each detail; details of one group share a number where their verdict is the same.
fn invented_marks(details: &[Detail]) -> (Marks, Vec<(usize, Mark, String)>) {
    let mut list: Vec<(usize, Mark, String, String)> = Vec::new();
    let marks = details
        .iter()
        .map(|d| {
            let mark = match chance(&d.id, 7) {
                c if c < 0.06 => Mark::FallsShort,
                c if c < 0.22 => Mark::NotShown,
                c if c < 0.25 => Mark::Departure,
                c if c < 0.86 => Mark::Conforms,
                _ => Mark::NotLookedAt,
            };
            let number = matches!(mark, Mark::FallsShort | Mark::NotShown | Mark::Departure).then(|| {
                match list.iter().find(|(_, m, _, group)| *m == mark && *group == d.group && mark == Mark::NotShown) {
                    Some((number, ..)) => *number,
                    None => {
                        let why = match mark {
                            Mark::FallsShort => "0.42 mm, at least 0.50 mm asked",
                            Mark::NotShown => "no photograph",
                            _ => "open departure D2",
                        };
                        list.push((list.len() + 1, mark, format!("{}: {why}", d.name), d.group.clone()));
                        list.len()
                    }
                }
            });
            (mark, number, Some(litres(d)))
        })
        .collect();
    (marks, list.into_iter().map(|(number, mark, words, _)| (number, mark, words)).collect())
}

fn litres(d: &Detail) -> f64 {
    let near = match d.zone {
        room::nouns::ZoneKind::Shower => 60.0,
        room::nouns::ZoneKind::Splash => 2.0,
        room::nouns::ZoneKind::Dry => 0.2,
    };
    let kind = match d.kind {
        DetailKind::OutletFlange | DetailKind::GrateToTile => 3.2,
        DetailKind::UpturnTermination => 0.05,
        _ => 0.3 + 0.7 * chance(&d.id, 3),
    };
    let high = matches!((&d.face, &d.place), (Face::Wall(_), Place::Point([_, h])) if *h > 1000.0);
    near * kind * if high { 0.1 } else { 1.0 }
}

/// The first outlet's middle.
fn outlet_middle(room: &Room) -> Option<PointMm> {
    let outlet = room.outlets.first()?;
    match outlet.kind {
        OutletKind::Point => Some([outlet.x_mm?, outlet.y_mm?]),
        OutletKind::Channel => geometry::along_line(&outlet.line_mm, geometry::line_length_mm(&outlet.line_mm) / 2.0),
    }
}

/// Levels on a lattice: a fall of about 1:65 to the outlet, a hollow, a rise beside it, and 0.3 mm of grain.
fn invented_levels(room: &Room) -> Vec<(String, PointMm, f64)> {
    let (Some(goal), Some([lo, hi])) = (outlet_middle(room), geometry::extent(&room.outline_mm)) else { return vec![] };
    let apart = ((hi[0] - lo[0]).max(hi[1] - lo[1]) / 9.0).max(150.0);
    let hollow = [lo[0] + 0.7 * (hi[0] - lo[0]), lo[1] + 0.35 * (hi[1] - lo[1])];
    let mut out = Vec::new();
    let mut y = lo[1] + 60.0;
    while y < hi[1] - 30.0 {
        let mut x = lo[0] + 60.0;
        while x < hi[0] - 30.0 {
            let at = [x, y];
            if geometry::contains(&room.outline_mm, at, 0.0) && geometry::distance_mm(at, goal) > 90.0 {
                let name = (out.len() + 1).to_string();
                let far = geometry::distance_mm(at, goal);
                let in_hollow = geometry::distance_mm(at, hollow) / (1.6 * apart);
                let dip = if in_hollow < 1.0 { 12.0 * (1.0 - in_hollow) } else { 0.0 };
                out.push((name.clone(), at, -30.0 + far / 65.0 - dip + 0.6 * (chance(&name, 5) - 0.5)));
            }
            x += apart;
        }
        y += apart;
    }
    out
}

fn measured(room: &Room, levels: &[(String, PointMm, f64)], cell_mm: f64) -> Option<Measured> {
    let readings: Vec<LevelIn> = levels
        .iter()
        .map(|(name, [x, y], z)| LevelIn { x_mm: *x, y_mm: *y, z_mm: *z, u_mm: Some(0.5), name: Some(name.clone()) })
        .collect();
    let surface_in = SurfaceIn { outline_mm: room.outline_mm.clone(), readings, cell_mm: Some(cell_mm), ..Default::default() };
    let surface = tin::surface(&surface_in, None).ok()?;
    let outlets: Vec<OutletIn> = room
        .outlets
        .iter()
        .map(|o| OutletIn {
            id: o.id.clone(),
            kind: match o.kind {
                OutletKind::Point => water::surface::OutletKind::Point,
                OutletKind::Channel => water::surface::OutletKind::Channel,
            },
            x_mm: o.x_mm,
            y_mm: o.y_mm,
            radius_mm: o.radius_mm,
            line_mm: o.line_mm.clone(),
            width_mm: o.width_mm,
        })
        .collect();
    let cells = outlet_cells(&surface.grid, &outlets).ok()?.concat();
    let level_mm = fill(&surface.grid, &cells).level_mm;
    let parts = regions(room, &outlets).into_iter().filter_map(|region| region_falls(region, &surface_in.readings, cell_mm)).collect();
    let ponding = ponding::Input {
        surface: surface_in,
        outlets,
        depth_ignored_mm: 0.5,
        cell_mm: None,
        realisations: None,
        seed: None,
        u_mm: None,
        range_mm: None,
    };
    Some(Measured { surface, parts, level_mm, ponds: ponding::run(&ponding).map(|out| out.ponds).unwrap_or_default() })
}

/// The floor cut at its set-downs, each part with where its water leaves: the outlet inside, or the edge over the set-down.
fn regions(room: &Room, outlets: &[OutletIn]) -> Vec<(Vec<PointMm>, Vec<OutletIn>)> {
    let low: Vec<&[PointMm]> = room.zones.iter().filter(|z| z.set_down_mm.is_some()).map(|z| z.polygon_mm.as_slice()).collect();
    let mut rings: Vec<Vec<PointMm>> = low.iter().map(|z| z.to_vec()).collect();
    rings.extend(geometry::without(&room.outline_mm, &low));
    let own = |ring: &[PointMm], o: &OutletIn| {
        let at = match (o.x_mm, o.y_mm) {
            (Some(x), Some(y)) => [x, y],
            _ => geometry::along_line(&o.line_mm, 10.0).unwrap_or_default(),
        };
        geometry::contains(ring, at, 1.0)
    };
    rings
        .into_iter()
        .map(|ring| {
            let mut inside: Vec<OutletIn> = outlets.iter().filter(|o| own(&ring, o)).cloned().collect();
            if inside.is_empty() {
                let edges = geometry::edges(&ring);
                let open = edges.iter().filter(|e| {
                    let middle = e.at(e.length_mm() / 2.0, 0.0);
                    let stopped = room.water_stops.iter().flat_map(|s| geometry::pieces(&s.line_mm)).any(|p| p.distance_mm(middle) < 20.0);
                    geometry::distance_to_ring_mm(&room.outline_mm, middle) > 5.0 && !stopped
                });
                inside.extend(open.map(|e| OutletIn {
                    id: "edge of the set-down".into(),
                    kind: water::surface::OutletKind::Channel,
                    x_mm: None,
                    y_mm: None,
                    radius_mm: None,
                    line_mm: vec![e.at(10.0, -10.0), e.at(e.length_mm() - 10.0, -10.0)],
                    width_mm: Some(10.0),
                }));
            }
            (ring, inside)
        })
        .collect()
}

fn region_falls(
    (ring, outlets): (Vec<PointMm>, Vec<OutletIn>),
    readings: &[LevelIn],
    cell_mm: f64,
) -> Option<(Surface, Option<falls::Output>)> {
    let readings = readings.iter().filter(|r| geometry::contains(&ring, [r.x_mm, r.y_mm], 0.0)).cloned().collect();
    let surface = SurfaceIn { outline_mm: ring, readings, cell_mm: Some(cell_mm), ..Default::default() };
    let input = falls::Input {
        surface: Some(surface.clone()),
        outlets,
        fall_min: Some(falls::FallIn::Words("1:80".into())),
        fall_max: Some(falls::FallIn::Words("1:50".into())),
        drawing: true,
        ..Default::default()
    };
    Some((tin::surface(&surface, None).ok()?, falls::run(&input).ok()))
}

/// The demo's room with the demo's levels.
pub fn demo() -> Made {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo/heron-row-12");
    let read = |file: &str| std::fs::read_to_string(format!("{folder}/{file}")).expect("the demo");
    let room = serde_json::from_str(&read("room.json")).expect("the demo's room");
    let levels = read("levels-screed.csv")
        .lines()
        .filter_map(|line| {
            let parts: Vec<&str> = line.split(';').collect();
            let [name, x, y, staff] = parts.as_slice() else { return None };
            let number = |text: &str| text.replace(',', ".").parse::<f64>().ok();
            (*name != "BM").then_some(())?;
            Some(((*name).to_owned(), [number(x)?, number(y)?], 1000.0 - number(staff)?))
        })
        .collect();
    Made::new("demo", room, Some(levels))
}

/// Rooms of every shape a drawing must cope with.
pub fn rooms() -> Vec<Made> {
    vec![
        demo(),
        made("l-shape", l_shape()),
        made("bay", bay()),
        made("sparse", sparse()),
        made("large", large()),
        made("crowded", crowded()),
    ]
}

pub fn made(name: &str, room: Value) -> Made {
    Made::new(name, room, None)
}

pub fn l_shape() -> Value {
    json!({
        "format": "undertile room 1", "name": "Ensuite",
        "outline_mm": [[0, 0], [3200, 0], [3200, 1500], [1400, 1500], [1400, 2900], [0, 2900]],
        "height_mm": 2550,
        "openings": [{"id": "door", "kind": "door", "wall": "w3", "from_mm": 300, "width_mm": 820, "height_mm": 2040, "threshold_mm": {"value": 0}}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[0, 1900], [1400, 1900], [1400, 2900], [0, 2900]], "wall_height_mm": 1900, "set_down_mm": {"value": 15}}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 700, "y_mm": 2800, "height_mm": 2000},
                     {"id": "pan", "kind": "wc", "x_mm": 2900, "y_mm": 700}, {"id": "basin", "kind": "basin", "x_mm": 2000, "y_mm": 250}],
        "outlets": [{"id": "channel", "kind": "channel", "line_mm": [[150, 2780], [1250, 2780]], "width_mm": 70,
                     "flanges": [{"id": "lower", "width_mm": 40}, {"id": "upper", "width_mm": 30}], "spigot_mm": 300}],
        "screens": [{"id": "glass", "line_mm": [[0, 1900], [800, 1900]], "height_mm": 2000}],
        "hobs": [{"id": "hob", "line_mm": [[50, 1900], [1350, 1900]], "width_mm": 90}],
        "recesses": [{"id": "niche", "wall": "w6", "from_mm": 300, "sill_mm": 1000, "width_mm": 600, "height_mm": 350, "depth_mm": 100}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid"}]
    })
}

pub fn bay() -> Value {
    json!({
        "format": "undertile room 1", "name": "Bathroom with a bay",
        "outline_mm": [[0, 0], [2600, 0], [2600, 1800], [1900, 2500], [700, 2500], [0, 1800]],
        "height_mm": 2400,
        "openings": [{"id": "door", "kind": "door", "wall": "w1", "from_mm": 200, "width_mm": 820, "height_mm": 2040},
                     {"id": "bay window", "kind": "window", "wall": "w4", "from_mm": 200, "width_mm": 800, "height_mm": 1000, "sill_mm": 1100}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[1500, 0], [2600, 0], [2600, 1000], [1500, 1000]]}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 2500, "y_mm": 500, "height_mm": 2000}, {"id": "bath", "kind": "bath", "x_mm": 1300, "y_mm": 2100}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 2050, "y_mm": 480, "radius_mm": 50}],
        "water_stops": [{"id": "stop", "line_mm": [[1500, 0], [1500, 1000], [2600, 1000]], "at": "shower-edge", "leg_mm": 40}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "sheet"}]
    })
}

pub fn sparse() -> Value {
    json!({
        "format": "undertile room 1", "name": "Shower room",
        "outline_mm": [[0, 0], [2100, 0], [2100, 1500], [0, 1500]],
        "openings": [{"id": "door", "kind": "door", "wall": "w1", "from_mm": 100, "width_mm": 700}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[1200, 600], [2100, 600], [2100, 1500], [1200, 1500]]}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 1650, "y_mm": 1050}]
    })
}

pub fn large() -> Value {
    json!({
        "format": "undertile room 1", "name": "Ward bathroom",
        "outline_mm": [[0, 0], [6000, 0], [6000, 4000], [0, 4000]],
        "height_mm": 2700,
        "openings": [{"id": "door", "kind": "door", "wall": "w1", "from_mm": 500, "width_mm": 1200, "height_mm": 2100},
                     {"id": "window", "kind": "window", "wall": "w3", "from_mm": 2000, "width_mm": 1800, "height_mm": 900, "sill_mm": 1500}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[4000, 2000], [6000, 2000], [6000, 4000], [4000, 4000]], "wall_height_mm": 2000},
                  {"id": "basins", "kind": "splash", "polygon_mm": [[0, 3200], [3000, 3200], [3000, 4000], [0, 4000]]}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 5800, "y_mm": 3000, "height_mm": 2000}, {"id": "basin 1", "kind": "basin", "x_mm": 800, "y_mm": 3700},
                     {"id": "basin 2", "kind": "basin", "x_mm": 2000, "y_mm": 3700}, {"id": "pan", "kind": "wc", "x_mm": 400, "y_mm": 1200}, {"id": "machine", "kind": "washing-machine", "x_mm": 2800, "y_mm": 400},
                     {"id": "seat", "kind": "rail", "x_mm": 5900, "y_mm": 2400}, {"id": "cupboard", "kind": "cabinet", "x_mm": 3500, "y_mm": 3600}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 5000, "y_mm": 3000, "radius_mm": 75}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "sheet"}]
    })
}

/// Two membranes, two recesses, many holes.
pub fn crowded() -> Value {
    let holes: Vec<Value> = (0..14)
        .map(|i| json!({"id": format!("pipe {}", i + 1), "kind": "pipe", "wall": (["w1", "w2", "w3"][i % 3]), "along_mm": 250 + 140 * i, "height_mm": 200 + 130 * (i % 7), "diameter_mm": 20}))
        .collect();
    json!({
        "format": "undertile room 1", "name": "Bathroom with everything",
        "outline_mm": [[0, 0], [3000, 0], [3000, 2400], [0, 2400]],
        "height_mm": 2500,
        "openings": [{"id": "door", "kind": "door", "wall": "w4", "from_mm": 1000, "width_mm": 900, "height_mm": 2100},
                     {"id": "window", "kind": "window", "wall": "w2", "from_mm": 1300, "width_mm": 600, "height_mm": 600, "sill_mm": 1500}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[1800, 0], [3000, 0], [3000, 1200], [1800, 1200]], "wall_height_mm": 2000, "set_down_mm": {"value": 20}}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 2400, "y_mm": 80, "height_mm": 2050, "wall": "w1"}],
        "outlets": [{"id": "channel", "kind": "channel", "line_mm": [[1900, 150], [2900, 150]], "width_mm": 80, "body_joints_mm": [600], "spigot_mm": 300,
                     "flanges": [{"id": "lower", "membrane": "lower", "width_mm": 40}, {"id": "upper", "membrane": "upper", "width_mm": 30}]},
                    {"id": "floor waste", "kind": "point", "x_mm": 700, "y_mm": 700, "radius_mm": 50}],
        "water_stops": [{"id": "stop", "line_mm": [[1800, 0], [1800, 1200], [3000, 1200]], "at": "screen"}],
        "screens": [{"id": "glass", "line_mm": [[1800, 0], [1800, 900]], "height_mm": 2000}],
        "recesses": [{"id": "recess", "wall": "w1", "from_mm": 2000, "sill_mm": 1000, "width_mm": 500, "height_mm": 300, "depth_mm": 100},
                     {"id": "second recess", "wall": "w2", "from_mm": 300, "sill_mm": 1000, "width_mm": 300, "height_mm": 300, "depth_mm": 100}],
        "penetrations": holes,
        "joints": [{"id": "joint", "kind": "movement", "on": "floor", "line_mm": [[0, 1600], [3000, 1600]], "width_mm": 6}],
        "cracks": [{"id": "crack", "on": "floor", "line_mm": [[300, 1800], [900, 2200], [1300, 2100]]}],
        "membranes": [{"id": "lower", "layer": "under-screed", "form": "sheet", "laps": [{"id": "lap 1", "on": "floor", "line_mm": [[1000, 0], [1000, 2400]]}]}, {"id": "upper", "layer": "over-screed", "form": "liquid"}],
        "build_up": {"preset": "both"}
    })
}

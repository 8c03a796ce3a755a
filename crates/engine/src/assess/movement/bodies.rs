//! What moves at a junction: the bodies that meet there, from the drawn room, and how each may move.
//!
//! A body moves towards its middle, so half of it counts at each of its ends (geometry; one held at its far end moves twice as
//! far). Figures that the job does not give are usual ones, each with where it comes from; their standard uncertainties take the
//! range they are quoted with as rectangular (JCGM 100:2008, 4.3.7).

use fixing::movement::Part;
use fixing::shrinkage::{Cement, Drying};
use job::Job;
use job::frame::{FloorCarrier, Movement};
use room::geometry::{self, Edge};
use room::nouns::{Construction, LayerKind, MembraneLayer, REST, Wall};
use room::register::{Detail, DetailKind, Face, Place};
use std::collections::BTreeSet;

/// A usual figure: value, standard uncertainty, and where it comes from.
struct Usual {
    value: f64,
    u: f64,
    why: &'static str,
}

/// Temperature of an inhabited room, as far up as down: half of a span of 20 K.
const ROOM_K: Usual = Usual { value: 10.0, u: 3.0, why: "half of the 20 K an inhabited room spans; guide, secondary" };
/// The same at a heated floor, or a wall with weather behind it.
const WIDE_K: Usual = Usual { value: 15.0, u: 5.0, why: "common practice, no source" };
/// Air behind and under the membrane.
const HUMIDITY: Usual = Usual { value: 0.3, u: 0.1, why: "common practice, no source" };
/// Days a screed dries before a membrane.
const DRIED_D: Usual = Usual { value: 7.0, u: 0.0, why: "common practice, no source" };
/// Thickness of a screed nobody measured.
const SCREED_MM: Usual = Usual { value: 40.0, u: 0.0, why: "common practice, no source" };
/// How far a floor sinks away from the foot of a wall.
const TIMBER_SINKS_MM: Usual = Usual { value: 1.0, u: 0.5, why: "common practice, no source" };
const SLAB_SINKS_MM: Usual = Usual { value: 0.3, u: 0.15, why: "common practice, no source" };
/// Expansion in 1e-6/K. Concrete, mortar and block: 8 to 12 (EN 1992-1-1, 3.1.3 (5), from memory).
const MINERAL_E6: [f64; 2] = [10.0, 1.2];
/// Board on timber: about 6 (panel data; weak).
const BOARD_E6: [f64; 2] = [6.0, 1.0];
/// Fibre-cement sheet: 7 to 10 (from memory, low).
const SHEET_E6: [f64; 2] = [8.5, 0.9];
/// Board on timber with humidity: 0.2 mm/m for 10 % RH (panel data; secondary).
const BOARD_MM_M_10RH: [f64; 2] = [0.2, 0.05];
/// Sheet of a framed wall drying out: half of the 0.5 to 1.5 mm/m between wet and dry (from memory, low).
const SHEET_SHRINKS_MM_M: [f64; 2] = [0.5, 0.15];
/// Old slab or block: half of a concrete's drying shrinkage of about 0.4 mm/m (textbook; secondary), the other half before the
/// membrane (common practice, no source).
const MASONRY_SHRINKS_MM_M: [f64; 2] = [0.2, 0.1];
/// Screed: C20/25 with normal cement in air of 60 % RH (common practice, no source), drying to its upper side only.
const SCREED_FCK_MPA: f64 = 20.0;
const SCREED_RH: f64 = 0.6;
/// A figure the job gives is taken to be known to a quarter of it (common practice, no source).
const GIVEN_U: f64 = 0.25;

/// What moves at one junction.
pub struct Joint {
    /// Parts for the computation.
    pub parts: Vec<Part>,
    /// The lengths that move, in words.
    pub over: String,
    /// What was taken as usual.
    pub assumed: BTreeSet<String>,
}

/// The bodies at a wall-floor or wall-wall junction; nothing at another detail.
pub fn of(job: &Job, detail: &Detail) -> Option<Joint> {
    let mut bodies = Bodies { job, given: job.frame.movement.clone().unwrap_or_default(), parts: Vec::new(), assumed: BTreeSet::new() };
    let over = match detail.kind {
        DetailKind::WallFloorJunction => bodies.floor_at(detail)?,
        DetailKind::WallWallJunction => bodies.walls_at(detail)?,
        _ => return None,
    };
    Some(Joint { parts: bodies.parts, over, assumed: bodies.assumed })
}

struct Bodies<'a> {
    job: &'a Job,
    given: Movement,
    parts: Vec<Part>,
    assumed: BTreeSet<String>,
}

impl Bodies<'_> {
    /// The figure the job gives, or the usual one, which is said.
    fn or_usual(&mut self, given: Option<f64>, usual: &Usual, what: &str, unit: &str) -> (f64, f64) {
        match given {
            Some(value) => (value, GIVEN_U * value),
            None => {
                self.assumed.insert(format!("{what} {}{unit} ({})", usual.value, usual.why));
                (usual.value, usual.u)
            }
        }
    }

    /// The floor draws away from a wall: temperature, drying or moisture, sinking.
    fn floor_at(&mut self, detail: &Detail) -> Option<String> {
        let (edge, run) = self.run_of(detail)?;
        let depths = self.job.room.outline_mm.iter().map(|corner| -edge.local(*corner)[1]);
        let half = depths.fold(0.0, f64::max) / 2.0;
        if half < 1.0 {
            return None;
        }
        let carrier = self.carrier();
        let screed = self.screed_under(detail);
        let heated = self.heated_beside(&edge, run);
        let coefficient = if screed.is_some() || carrier == FloorCarrier::Concrete { MINERAL_E6 } else { BOARD_E6 };
        let change = match heated {
            true => self.or_usual(self.given.heated_k, &WIDE_K, "a heated floor swings ±", " K"),
            false => self.or_usual(self.given.temperature_k, &ROOM_K, "the room swings ±", " K"),
        };
        self.parts.push(temperature(if heated { "heated floor" } else { "temperature" }, half, coefficient, change));
        match (screed, carrier) {
            (Some(thickness), _) => self.drying_screed(half, thickness),
            (None, FloorCarrier::Concrete) => self.parts.push(shrinks("drying slab", half, MASONRY_SHRINKS_MM_M)),
            (None, FloorCarrier::Timber) => self.moist_board(half),
        }
        let usual = if carrier == FloorCarrier::Concrete { &SLAB_SINKS_MM } else { &TIMBER_SINKS_MM };
        let (sinks, u) = self.or_usual(self.given.floor_deflection_mm, usual, "the floor sinks from the wall", " mm");
        self.parts.push(Part::Given { id: "deflection".into(), opens_mm: sinks, u_opens_mm: Some(u), either_way: false });
        Some(format!("half a floor of {:.2} m", half / 500.0))
    }

    /// Both walls of a corner draw away from it along themselves.
    fn walls_at(&mut self, detail: &Detail) -> Option<String> {
        let walls = &self.job.room.walls;
        let edges = geometry::edges(&self.job.room.outline_mm);
        let at = |edge: usize| walls.iter().find(|wall| wall.edge == edge + 1);
        let meet = (0..edges.len()).map(|i| (i, (i + 1) % edges.len()));
        let pairs = meet.filter_map(|(a, b)| Some([(at(a)?, edges[a]), (at(b)?, edges[b])]));
        let pair: [(&Wall, Edge); 2] = pairs.into_iter().find(|[a, b]| format!("{}+{}", a.0.id, b.0.id) == detail.of)?;
        for (wall, edge) in pair {
            self.wall(wall, edge.length_mm() / 2.0);
        }
        Some(format!("half walls of {:.2} and {:.2} m", pair[0].1.length_mm() / 1000.0, pair[1].1.length_mm() / 1000.0))
    }

    fn wall(&mut self, wall: &Wall, half: f64) {
        let framed = match wall.construction {
            Some(Construction::TimberFrame | Construction::SteelFrame) => true,
            Some(Construction::Block | Construction::Concrete) => false,
            None => {
                self.assumed.insert(format!("wall {} is framed and sheeted (it moves more; the drawing does not say)", wall.id));
                true
            }
        };
        let change = match wall.outer {
            Some(true) => self.or_usual(self.given.temperature_k, &WIDE_K, "a wall with weather behind it swings ±", " K"),
            _ => self.or_usual(self.given.temperature_k, &ROOM_K, "the room swings ±", " K"),
        };
        let coefficient = if framed { SHEET_E6 } else { MINERAL_E6 };
        self.parts.push(temperature(&format!("temperature of {}", wall.id), half, coefficient, change));
        let (what, shrinkage) = if framed { ("sheet", SHEET_SHRINKS_MM_M) } else { ("masonry", MASONRY_SHRINKS_MM_M) };
        self.assumed.insert(match framed {
            true => "sheet of a framed wall shrinks 0.5 mm/m (from memory, low)".into(),
            false => "masonry shrinks 0.2 mm/m more (half of a textbook figure for concrete, secondary)".into(),
        });
        self.parts.push(shrinks(&format!("drying {what} of {}", wall.id), half, shrinkage));
    }

    /// Cement screed after Eurocode 2, from when the membrane went on.
    fn drying_screed(&mut self, half: f64, thickness: Option<f64>) {
        let (thickness, _) = match thickness {
            Some(thickness) => (thickness, 0.0),
            None => self.or_usual(None, &SCREED_MM, "the screed is", " mm"),
        };
        let (dried_before_d, _) = self.or_usual(self.given.screed_dried_d, &DRIED_D, "the screed had dried", " days");
        self.assumed.insert("screed as strong as C20/25 in air of 60 % RH (common practice, no source), drying after EN 1992-1-1".into());
        let concrete = Drying {
            fck_mpa: SCREED_FCK_MPA,
            cement: Cement::N,
            rh: SCREED_RH,
            notional_mm: (2.0 * thickness).clamp(10.0, 2_000.0),
            dried_before_d,
            until_d: None,
        };
        self.parts.push(Part::Drying {
            id: "drying screed".into(),
            length_mm: half,
            u_length_mm: Some(0.0),
            concrete,
            u_share: Some(fixing::shrinkage::VARIATION),
        });
    }

    fn moist_board(&mut self, half: f64) {
        let (change, u) = self.or_usual(self.given.humidity_change, &HUMIDITY, "humidity under the floor swings ±", " (a share)");
        let [growth, u_growth] = BOARD_MM_M_10RH;
        self.parts.push(Part::Moisture {
            id: "moisture".into(),
            length_mm: half,
            u_length_mm: Some(0.0),
            mm_per_m_per_10rh: growth,
            u_mm_per_m_per_10rh: Some(u_growth),
            change_rh: -change,
            u_change_rh: Some(u),
            either_way: true,
        });
    }

    /// What carries the floor; timber, which moves more, where nobody says.
    fn carrier(&mut self) -> FloorCarrier {
        self.given.floor.unwrap_or_else(|| {
            self.assumed.insert("the floor is sheet on timber joists (it moves more)".into());
            FloorCarrier::Timber
        })
    }

    /// The wall's edge under a junction, and how far along it the junction runs.
    fn run_of(&self, detail: &Detail) -> Option<(Edge, [f64; 2])> {
        let (Face::Wall(id), Place::Run(line)) = (&detail.face, &detail.place) else { return None };
        let wall = self.job.room.walls.iter().find(|wall| wall.id == *id)?;
        let edge = *geometry::edges(&self.job.room.outline_mm).get(wall.edge.checked_sub(1)?)?;
        let [lo, hi] = geometry::extent(line)?;
        Some((edge, [lo[0], hi[0]]))
    }

    /// Whether a membrane lies on a screed there, and how thick that is where it is known.
    fn screed_under(&self, detail: &Detail) -> Option<Option<f64>> {
        if detail.layer == Some(MembraneLayer::UnderScreed) {
            return None;
        }
        let Some(build_up) = &self.job.room.build_up else { return (detail.layer == Some(MembraneLayer::OverScreed)).then_some(None) };
        let of_zone = build_up.layers_of(detail.zone_id.as_deref().unwrap_or(REST));
        let layers = if of_zone.is_empty() { build_up.layers_of(REST) } else { of_zone };
        layers.iter().find(|layer| layer.kind == LayerKind::Screed).map(|screed| screed.thickness_mm.map(|thickness| thickness.value()))
    }

    /// Whether a heated area reaches the stretch of floor beside a run.
    fn heated_beside(&self, edge: &Edge, [from, to]: [f64; 2]) -> bool {
        self.job.room.heated_areas.iter().any(|area| {
            let along: Vec<f64> = area.polygon_mm.iter().map(|corner| edge.local(*corner)[0]).collect();
            along.iter().copied().fold(f64::INFINITY, f64::min) < to && along.iter().copied().fold(f64::NEG_INFINITY, f64::max) > from
        })
    }
}

fn temperature(id: &str, length_mm: f64, [coefficient, u]: [f64; 2], (change, u_change): (f64, f64)) -> Part {
    Part::Temperature {
        id: id.into(),
        length_mm,
        u_length_mm: Some(0.0),
        coefficient_e6_per_k: coefficient,
        u_coefficient_e6_per_k: Some(u),
        change_k: -change,
        u_change_k: Some(u_change),
        either_way: true,
    }
}

fn shrinks(id: &str, length_mm: f64, [shrinks_mm_per_m, u]: [f64; 2]) -> Part {
    Part::Strain { id: id.into(), length_mm, u_length_mm: Some(0.0), shrinks_mm_per_m, u_shrinks_mm_per_m: Some(u) }
}

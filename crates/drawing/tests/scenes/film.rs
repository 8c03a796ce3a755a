//! Invented films: few readings, many with a map, none.

use super::{Made, chance};
use drawing::{FilmDot, FilmGrid, FilmOnRoom, FilmStratum, FilmUm, Mark, Scene, Stands};
use measure::PointMm;
use room::geometry;
use room::register::{Detail, DetailKind, Face, Place};
use room::unfold::Unfolded;

const LIMIT_UM: f64 = 500.0;

/// The film at a place: thin beside the first corner, thick towards the middle of the floor.
fn film_um(net: &Unfolded, face: &Face, at: PointMm) -> f64 {
    let [x, y, z] = net.to_space(face, at).unwrap_or_default();
    let wave = |v: f64, length: f64| measure::math::sin(v / length);
    610.0 + 90.0 * wave(x, 520.0) + 80.0 * wave(y, 410.0) - 60.0 * wave(z, 700.0)
}

struct Read<'a> {
    detail: &'a Detail,
    at: Option<PointMm>,
    um: FilmUm,
    cut_out: Option<String>,
}

/// A place inside a patch, by chance.
fn inside(detail: &Detail, k: u64) -> Option<PointMm> {
    match &detail.place {
        Place::Point(p) => Some(*p),
        Place::Run(line) => geometry::along_line(line, geometry::line_length_mm(line) * (0.2 + 0.6 * chance(&detail.id, k))),
        Place::Patch(patch) => {
            let ring = patch.first()?.first()?;
            let [lo, hi] = geometry::extent(ring)?;
            (0..60u64)
                .map(|t| [0, 1].map(|i| lo[i] + chance(&detail.id, 1000 * k + 2 * t + i as u64) * (hi[i] - lo[i])))
                .find(|p| geometry::contains(ring, *p, -1.0) && geometry::distance_to_ring_mm(ring, *p) > 20.0)
        }
    }
}

/// So many readings in each field, a cut-out in some runs, some readings without a place.
fn readings<'a>(net: &Unfolded, details: &'a [Detail], each: u64) -> Vec<Read<'a>> {
    let mut all = Vec::new();
    for detail in details {
        let field = matches!(detail.kind, DetailKind::FloorField | DetailKind::WallField | DetailKind::RecessFace);
        let count = if detail.kind == DetailKind::RecessFace {
            each.min(2) * u64::from(detail.id.ends_with("sill") || detail.id.ends_with("back"))
        } else if field {
            each
        } else {
            u64::from(detail.kind == DetailKind::WallFloorJunction && chance(&detail.id, 9) < 0.5)
        };
        for k in 0..count {
            let Some(at) = inside(detail, k) else { continue };
            let film = film_um(net, &detail.face, at) + 60.0 * (chance(&detail.id, 50 + k) - 0.5);
            let um = match (field, k % 3) {
                (false, _) | (_, 2) => FilmUm::Value(film),
                (_, 1) if film > 700.0 => FilmUm::Between(600.0, None),
                _ => FilmUm::Between((film / 100.0).floor() * 100.0, Some((film / 100.0).floor() * 100.0 + 100.0)),
            };
            let cut_out = (!field).then(|| format!("C{}", all.len() % 7 + 1));
            all.push(Read { detail, at: (k != 3).then_some(at), um, cut_out });
        }
    }
    all
}

fn stands(read: &Read, i: usize) -> Stands {
    match read.um {
        _ if i % 17 == 11 => Stands::NotCounted,
        _ if i % 9 == 5 => Stands::Wet,
        FilmUm::Value(v) if v < LIMIT_UM => Stands::Short,
        FilmUm::Between(_, Some(hi)) if hi <= LIMIT_UM => Stands::Short,
        FilmUm::Between(lo, _) if lo < LIMIT_UM => Stands::Near,
        _ => Stands::Reaches,
    }
}

/// Film sheets of a room, with few readings, many and none.
pub fn sheets(made: &Made, scene: &Scene) -> Vec<(String, String)> {
    let net = Unfolded::new(&made.room);
    let fields = |d: &&Detail| d.layer.is_none_or(|l| l == room::nouns::MembraneLayer::OverScreed);
    let details: Vec<Detail> = made.details.iter().filter(fields).cloned().collect();
    let strata_of: Vec<(&str, Mark, Vec<&Detail>)> = [
        ("floor field, comb", Mark::Conforms, DetailKind::FloorField),
        ("wall field, comb", Mark::NotShown, DetailKind::WallField),
        ("recess, gauge", Mark::FallsShort, DetailKind::RecessFace),
        ("wall-floor junctions, cut-outs", Mark::Conforms, DetailKind::WallFloorJunction),
        ("outlet flange", Mark::NotShown, DetailKind::OutletFlange),
    ]
    .into_iter()
    .map(|(words, mark, kind)| (words, mark, details.iter().filter(|d| d.kind == kind).collect()))
    .collect();
    let strata: Vec<FilmStratum> = strata_of
        .iter()
        .enumerate()
        .map(|(i, (words, mark, details))| FilmStratum {
            words,
            details,
            mean_um: (i != 4).then_some([612.0, 540.0, 690.0]),
            mark: *mark,
            prob_one_coat_short: (i == 2).then_some(0.93),
        })
        .collect();
    let grids: Vec<Gridded> = net.faces().iter().map(|f| grid(&net, &f.face)).collect();
    let map: Vec<FilmGrid> = grids
        .iter()
        .map(|made| FilmGrid {
            face: &made.face,
            first_mm: [CELL_MM / 2.0, CELL_MM / 2.0],
            cell_mm: CELL_MM,
            nx: made.counts[0],
            ny: made.counts[1],
            um: &made.um,
            prob_below: &made.prob,
        })
        .collect();
    [("film-few", 4, &map[..0]), ("film-map", 9, &map[..]), ("film-none", 0, &map[..0])]
        .into_iter()
        .map(|(name, each, map)| {
            let read = if each == 0 { Vec::new() } else { readings(&net, &details, each) };
            let dots: Vec<FilmDot> = read
                .iter()
                .enumerate()
                .map(|(i, read)| FilmDot {
                    detail: read.detail,
                    at_mm: read.at.map(|at| (&read.detail.face, at)),
                    um: read.um,
                    stands: stands(read, i),
                    cut_out: read.cut_out.as_deref(),
                })
                .collect();
            let notes =
                if map.is_empty() { vec![] } else { vec!["a map between readings does not show a missed patch between them".to_owned()] };
            let film = FilmOnRoom {
                id: name,
                words: "upper membrane",
                asked: "at least 500 µm asked everywhere",
                limit_um: Some(LIMIT_UM),
                readings: &dots,
                strata: &strata,
                map,
                notes: &notes,
            };
            (name.to_owned(), drawing::film(scene, &film))
        })
        .collect()
}

const CELL_MM: f64 = 90.0;

struct Gridded {
    face: Face,
    counts: [usize; 2],
    um: Vec<Option<f64>>,
    prob: Vec<Option<f64>>,
}

fn grid(net: &Unfolded, face: &Face) -> Gridded {
    let own: Vec<PointMm> = net.face(face).map(|f| f.polygon_mm.iter().filter_map(|p| net.on_face(face, *p)).collect()).unwrap_or_default();
    let [_, hi] = geometry::extent(&own).unwrap_or_default();
    let [nx, ny] = hi.map(|v| ((v / CELL_MM).ceil() as usize).clamp(1, 300));
    let um: Vec<Option<f64>> =
        (0..nx * ny).map(|k| Some(film_um(net, face, [CELL_MM * ((k % nx) as f64 + 0.5), CELL_MM * ((k / nx) as f64 + 0.5)]))).collect();
    let prob = um.iter().map(|um| um.map(|um| measure::math::normal_cdf((LIMIT_UM - um) / 30.0))).collect();
    Gridded { face: face.clone(), counts: [nx, ny], um, prob }
}

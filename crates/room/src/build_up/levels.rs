//! Finished levels over the measured points.

use super::{Input, PointOut};
use crate::nouns::LayerKind;
use measure::{Measured, math};

/// The layers together, and the points under them.
pub struct Levels<'a> {
    input: &'a Input,
    /// Thickness of all layers; `None` while one is unknown.
    pub layers: Option<Measured>,
    /// Layers of unknown thickness.
    pub unknown: Vec<&'static str>,
}

impl<'a> Levels<'a> {
    pub fn of(input: &'a Input) -> Self {
        let thicknesses = input.layers.iter().map(|l| (l.kind, l.thickness_mm.and_then(|t| Measured::new(t, l.u_mm).ok())));
        let unknown: Vec<&str> = thicknesses.clone().filter(|(_, t)| t.is_none()).map(|(kind, _)| words(kind)).collect();
        Self { input, layers: sum(thicknesses.map(|(_, t)| t)), unknown }
    }

    /// The finished level over a measured one.
    pub fn finished(&self, base_mm: f64, u_mm: f64) -> Option<Measured> {
        sum([self.layers, Measured::new(base_mm, u_mm).ok()].into_iter())
    }

    /// Why finished levels are not known.
    pub fn why_unknown(&self) -> String {
        format!("the thickness of the {} is not known", self.unknown.join(" and of the "))
    }

    pub fn points(&self) -> Vec<PointOut> {
        let lowest = self.input.points.iter().min_by(|a, b| a.base_mm.total_cmp(&b.base_mm));
        let out = self.input.points.iter().map(|p| {
            let finished = self.finished(p.base_mm, p.u_mm);
            let (over, u_over) = lowest.map_or((0.0, 0.0), |low| {
                if low.name == p.name { (0.0, 0.0) } else { (p.base_mm - low.base_mm, math::hypot(p.u_mm, low.u_mm)) }
            });
            PointOut {
                name: p.name.clone(),
                finished_mm: finished.map(|m| m.value()),
                u_finished_mm: finished.map(|m| m.u()),
                over_lowest_mm: over,
                u_over_lowest_mm: u_over,
            }
        });
        out.collect()
    }
}

/// A sum of independent values; `None` as soon as one is.
pub fn sum(parts: impl Iterator<Item = Option<Measured>>) -> Option<Measured> {
    let (mut value, mut variance) = (0.0, 0.0);
    for part in parts {
        let part = part?;
        value += part.value();
        variance += math::sq(part.u());
    }
    Measured::new(value, variance.sqrt()).ok()
}

/// One value less another, independent of it.
pub fn less(a: Measured, b: Measured) -> Option<Measured> {
    Measured::new(a.value() - b.value(), math::hypot(a.u(), b.u())).ok()
}

/// A layer in words.
pub fn words(kind: LayerKind) -> &'static str {
    match kind {
        LayerKind::Substrate => "substrate",
        LayerKind::UnderScreedMembrane => "under-screed membrane",
        LayerKind::Screed => "screed",
        LayerKind::OverScreedMembrane => "over-screed membrane",
        LayerKind::Bed => "bed",
        LayerKind::Tile => "tile",
    }
}

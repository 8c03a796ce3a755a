//! What the comment lines of a level file say: `# unit: mm`, `# layer: screed`, `# stage: before tiling`, `# u: 0.5 mm`,
//! `# ±: 1 mm`. Any other comment is a remark for people.

use super::units::{Unit, length};
use intake::csv::Table;
use intake::words;
use measure::{Problem, Problems, bounds};
use room::nouns::LayerKind;

/// The names of layers in files.
const LAYERS: [(&str, LayerKind); 6] = [
    ("substrate", LayerKind::Substrate),
    ("under-screed-membrane", LayerKind::UnderScreedMembrane),
    ("screed", LayerKind::Screed),
    ("over-screed-membrane", LayerKind::OverScreedMembrane),
    ("bed", LayerKind::Bed),
    ("tile", LayerKind::Tile),
];

/// A layer as files name it.
pub(super) fn layer_name(layer: LayerKind) -> &'static str {
    LAYERS.iter().find(|(_, known)| *known == layer).map_or("", |(name, _)| name)
}

#[derive(Debug, Default)]
pub(super) struct Remarks {
    pub unit: Option<Unit>,
    pub layer: Option<LayerKind>,
    pub stage: Option<String>,
    /// Standard uncertainty of one level.
    pub u_mm: Option<f64>,
}

impl Remarks {
    pub fn of(table: &Table) -> Result<Self, Problems> {
        let mut remarks = Self::default();
        let mut problems = Problems::new();
        for (line, comment) in table.comments() {
            let Some((key, value)) = comment.split_once(':').map(|(key, value)| (key.trim().to_lowercase(), value.trim())) else {
                continue;
            };
            if let Err(problem) = remarks.take(&key, value) {
                problems.push(problem.value(value).line(line));
            }
        }
        problems.or(remarks)
    }

    #[allow(clippy::result_large_err)] // a cold path that would only be made longer by a box
    fn take(&mut self, key: &str, value: &str) -> Result<(), Problem> {
        match key {
            "unit" | "units" => self.unit = Some(Unit::named(value).ok_or_else(|| Problem::at("# unit", "unknown unit", Unit::KNOWN))?),
            "layer" => {
                let known = LAYERS.iter().find(|(name, _)| *name == value.to_lowercase().replace([' ', '_'], "-"));
                let names = LAYERS.map(|(name, _)| name);
                let right = words::nearest(value, names).map_or_else(|| words::listed(&names), |near| format!("perhaps {near}?"));
                self.layer = Some(known.ok_or_else(|| Problem::at("# layer", "unknown layer", right))?.1);
            }
            "stage" => self.stage = Some(value.into()),
            "u" => self.u_mm = Some(uncertainty("# u", value)?),
            "±" | "+-" | "+/-" | "plus-minus" | "plus minus" | "expanded" => self.u_mm = Some(uncertainty("# ±", value)? / 2.0),
            _ => {}
        }
        Ok(())
    }
}

#[allow(clippy::result_large_err)]
fn uncertainty(field: &str, value: &str) -> Result<f64, Problem> {
    match length(value, Unit::Mm, b';') {
        Ok(found) if bounds::U_MM.contains(found.mm) => Ok(found.mm),
        Ok(_) => Err(Problem::at(field, "out of bounds", bounds::U_MM.words())),
        Err(what) => Err(Problem::at(field, what, "a length such as 1 mm")),
    }
}

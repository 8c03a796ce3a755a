//! Limits the engine asks of the packs and of data sheets.

use measure::Limit;
use room::sheet::DataSheet;
use rules::Packs;

/// A limit with its name and where it comes from.
#[derive(Clone, Debug)]
pub struct Sourced {
    /// The limit.
    pub limit: Limit,
    /// Rule id.
    pub rule: String,
    /// Source line.
    pub source: String,
}

/// The margin over the dew point that the packs built in ask, for a computation that stands alone.
pub fn dew_margin() -> air::climate::MarginRule {
    let packs = Packs::embedded();
    let rules = packs.packs().iter().flat_map(|pack| &pack.rules);
    let found = rules
        .filter(|rule| rule.written.quantity.as_deref() == Some("dew_margin_k") && rule.decides_nothing().is_none())
        .find_map(|rule| Some((rule, rule.asked.first()?.limit)));
    let (rule, limit) = found.expect("a pack built in holds the margin: a test reads it");
    air::climate::MarginRule { limit, rule: rule.id.clone(), source: rule.source(), held_back: None }
}

/// What a data sheet asks of a quantity.
pub fn of_sheet(sheet: &DataSheet, quantity: &str) -> Option<Sourced> {
    let limit = match quantity {
        "bond_breaker_width_mm" => sheet.bond_breaker_mm_min.map(Limit::AtLeast),
        super::coats::COUNT => sheet.coats.map(|coats| Limit::AtLeast(f64::from(coats))),
        super::litres::FILM => sheet.film_um_mean.or(sheet.film_um_min).map(Limit::AtLeast),
        "lap_width_mm" => sheet.lap_mm_min.map(Limit::AtLeast),
        "film_um" => sheet.film_um_mean.or(sheet.film_um_min).map(Limit::AtLeast),
        _ => None,
    }?;
    Some(Sourced { limit, rule: sheet_rule(sheet), source: sheet_source(sheet) })
}

/// A data sheet as a rule's id.
pub fn sheet_rule(sheet: &DataSheet) -> String {
    format!("data-sheet/{}", sheet.id)
}

/// A data sheet as a source: title and revision.
pub fn sheet_source(sheet: &DataSheet) -> String {
    let revision = sheet.revision.as_ref().map_or(String::new(), |revision| format!(", revision {revision}"));
    format!("data sheet: {}{revision}", sheet.title)
}

/// What a data sheet asks of air and surface.
pub fn climate_of_sheet(sheet: &DataSheet) -> air::climate::SheetLimits {
    air::climate::SheetLimits {
        source: sheet_source(sheet),
        air_c_min: sheet.air_c_min,
        air_c_max: sheet.air_c_max,
        surface_c_min: sheet.surface_c_min,
        surface_c_max: sheet.surface_c_max,
        rh_max: sheet.rh_max,
        dew_margin_k_min: sheet.dew_margin_k_min,
    }
}

#[cfg(test)]
mod tests {
    #[test]
    fn the_packs_hold_a_margin_over_the_dew_point() {
        let margin = super::dew_margin();
        assert!(margin.limit.min().is_some() && !margin.source.is_empty());
    }
}

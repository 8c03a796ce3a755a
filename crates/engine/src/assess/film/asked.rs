//! What is asked of the film: by the membrane's data sheet, by a rule of the packs.

use super::{QUANTITY, sheet};
use crate::assess::{Context, facts, limits};
use film::Acceptance;
use film::thickness::CoatsDue;
use room::nouns::MembraneLayer;
use room::sheet::DataSheet;
use rules::{Fit, Rule};

/// One thing asked.
pub struct Asked {
    /// The mean, or what the acceptance takes shares of.
    pub limit_um: f64,
    /// How readings are accepted.
    pub acceptance: Acceptance,
    /// Least number of readings in a stratum.
    pub least: usize,
    /// Coats due and what each leaves, where the sheet says it.
    pub coats: Option<CoatsDue>,
    /// Rule id.
    pub rule: String,
    /// Source line.
    pub source: String,
    /// Why it decides nothing, where it does not.
    pub held: Option<String>,
    /// What was taken as known.
    pub note: Option<String>,
}

impl Asked {
    /// Least mean.
    pub fn mean_um(&self) -> Option<f64> {
        match self.acceptance {
            Acceptance::MinimumAndMean { mean_um, .. } => Some(mean_um.unwrap_or(self.limit_um)),
            Acceptance::Percentile { .. } => None,
            _ => Some(self.limit_um),
        }
    }

    /// Least single reading.
    pub fn minimum_um(&self) -> Option<f64> {
        match self.acceptance {
            Acceptance::MinimumAndMean { minimum_um, .. } => Some(minimum_um.unwrap_or(self.limit_um)),
            Acceptance::MeanAnd80Percent { reading_share, .. } => Some(reading_share * self.limit_um),
            _ => None,
        }
    }

    /// "at least 800 µm everywhere and 1000 µm as a mean asked".
    pub fn words(&self) -> String {
        match (self.minimum_um(), self.mean_um()) {
            (Some(minimum), Some(mean)) if minimum < mean => {
                format!("at least {mean:.0} µm asked as a mean and {minimum:.0} µm everywhere")
            }
            (Some(limit), _) => format!("at least {limit:.0} µm asked everywhere"),
            (None, Some(mean)) => format!("at least {mean:.0} µm asked as a mean"),
            (None, None) => format!("at least {:.0} µm asked", self.limit_um),
        }
    }
}

/// Everything asked of a membrane: the data sheet first, then each rule with each limit it has somewhere.
pub fn all(context: &Context<'_>, layer: MembraneLayer) -> Vec<Asked> {
    let sheet = sheet(context, layer);
    let mut all: Vec<Asked> = sheet.and_then(|sheet| of_sheet(context, sheet)).into_iter().collect();
    for detail in context.job.register.iter().filter(|detail| detail.layer.is_none_or(|own| own == layer)) {
        let known = context.applicable.complete(&facts::of(context, detail));
        for (rule, fit) in context.applicable.fitting(detail.kind, detail.zone, None, &known) {
            let on_film = rule.written.quantity.as_deref() == Some(QUANTITY) && matches!(fit, Fit::Applies);
            let limit = rule.asked_for(&known).ok().flatten().and_then(|asked| asked.limit.min());
            let Some(limit_um) = limit.filter(|_| on_film) else { continue };
            if !all.iter().any(|asked| asked.rule == rule.id && asked.limit_um == limit_um) {
                all.push(of_rule(rule, limit_um, sheet));
            }
        }
    }
    all
}

/// A rule asks its limit everywhere.
fn of_rule(rule: &Rule, limit_um: f64, sheet: Option<&DataSheet>) -> Asked {
    Asked {
        limit_um,
        acceptance: Acceptance::default(),
        least: rule.least_readings(),
        coats: sheet.and_then(coats).map(|(coats, _)| coats),
        rule: rule.id.clone(),
        source: rule.source(),
        held: rule.decides_nothing(),
        note: None,
    }
}

/// What a data sheet asks: as it says readings are accepted, or its minimum everywhere and its mean.
fn of_sheet(context: &Context<'_>, sheet: &DataSheet) -> Option<Asked> {
    let limit_um = sheet.film_um_mean.or(sheet.film_um_min)?;
    let by_limits = match (sheet.film_um_min, sheet.film_um_mean) {
        (None, _) => Acceptance::Mean,
        (minimum_um, mean_um) => Acceptance::MinimumAndMean { minimum_um, mean_um },
    };
    let least = context.job.packs.quantity(QUANTITY).map_or(measure::LEAST_READINGS, |quantity| quantity.least_readings);
    let (coats, note) = coats(sheet).unzip();
    Some(Asked {
        limit_um,
        acceptance: sheet.film_acceptance.clone().unwrap_or(by_limits),
        least,
        coats,
        rule: limits::sheet_rule(sheet),
        source: limits::sheet_source(sheet),
        held: None,
        note: note.flatten(),
    })
}

/// Coats due and what one leaves: as the sheet says, or what its spread rate and solids leave, or an even part of its mean.
fn coats(sheet: &DataSheet) -> Option<(CoatsDue, Option<String>)> {
    let due = sheet.coats.filter(|due| (2..=10).contains(due))?;
    let by_spread = sheet.spread_m2_per_l.zip(sheet.solids_by_volume).map(|(spread, solids)| 1000.0 / spread * solids);
    let (each_um, from) = match (sheet.coat_um_dry, by_spread, sheet.film_um_mean) {
        (Some(each), ..) => (each, None),
        (None, Some(each), _) => (each, Some("by its spread rate and solids")),
        (None, None, Some(mean)) => (mean / f64::from(due), Some("as an even part of its mean")),
        _ => return None,
    };
    let note = from.map(|from| format!("data sheet {}: one coat was taken to leave {each_um:.0} µm dry, {from}", sheet.id));
    Some((CoatsDue { due, each_um, u_share: None, prior_short: None }, note))
}

//! A membrane's data sheet as its user copied it: what the maker asks.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// One data sheet. What the sheet does not say is left out.
#[derive(Clone, Debug, Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct DataSheet {
    /// Name used by membranes.
    pub id: String,
    /// Title of the sheet.
    pub title: String,
    /// Revision or date of the sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub revision: Option<String>,
    /// Who copied the figures from it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub entered_by: Option<String>,
    /// Liquid, sheet or board.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub form: Option<crate::nouns::MembraneForm>,
    /// Base: polymer dispersion, reaction resin, polymer-cement, in the user's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub base: Option<String>,
    /// Elongation at break.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elongation_percent: Option<f64>,
    /// Volume solids, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub solids_by_volume: Option<f64>,
    /// Number of coats.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coats: Option<u32>,
    /// Least dry film anywhere.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub film_um_min: Option<f64>,
    /// Mean dry film asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub film_um_mean: Option<f64>,
    /// Largest dry film.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub film_um_max: Option<f64>,
    /// How film readings are accepted, where the sheet says it; a minimum everywhere and a mean when left out.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub film_acceptance: Option<film::Acceptance>,
    /// Dry film of one coat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coat_um_dry: Option<f64>,
    /// Density of the product as it comes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub density_kg_l: Option<f64>,
    /// Most thinner, as a share of the product's volume; 0 where none is allowed.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub thinning_max: Option<f64>,
    /// Spread rate of the primer under it, one coat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub primer_m2_per_l: Option<f64>,
    /// Spread rate of one coat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spread_m2_per_l: Option<f64>,
    /// What one pack holds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pack_l: Option<f64>,
    /// What is added for waste, as a share of what is needed: 0.1 orders a tenth more.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 3.0))]
    pub waste_share: Option<f64>,
    /// Recoat and cure windows by temperature.
    pub windows: Vec<Window>,
    /// Least air temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_c_min: Option<f64>,
    /// Largest air temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub air_c_max: Option<f64>,
    /// Least surface temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface_c_min: Option<f64>,
    /// Largest surface temperature.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub surface_c_max: Option<f64>,
    /// Largest relative humidity, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 0.0, max = 1.0))]
    pub rh_max: Option<f64>,
    /// Least surface temperature over the dew point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub dew_margin_k_min: Option<f64>,
    /// Bond breaker asked for at junctions.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bond_breaker_mm_min: Option<f64>,
    /// Strain the film may take again and again over a joint.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub strain_percent_max: Option<f64>,
    /// Movement of a joint or crack the film may bridge as the sheet says to lay it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub joint_movement_mm_max: Option<f64>,
    /// Temperature at which the elongation was tested.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub elongation_tested_at_c: Option<f64>,
    /// Least lap of a sheet.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lap_mm_min: Option<f64>,
}

/// Times at one temperature.
#[derive(Clone, Debug, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Window {
    /// At this temperature.
    pub at_c: f64,
    /// Earliest next coat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recoat_h_min: Option<f64>,
    /// Latest next coat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub recoat_h_max: Option<f64>,
    /// Cured for a flood test.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flood_h_min: Option<f64>,
    /// Cured for tiling.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tile_h_min: Option<f64>,
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    /// Names of properties without a description anywhere in a schema.
    fn undescribed(schema: &Value, at: &str, out: &mut Vec<String>) {
        match schema {
            Value::Object(fields) => {
                for (key, value) in fields {
                    if let ("properties", Value::Object(properties)) = (key.as_str(), value) {
                        // a fixed word, such as the tag of a variant, is described by its variant
                        let silent = properties.iter().filter(|(_, p)| !p["description"].is_string() && p["const"].is_null());
                        out.extend(silent.map(|(name, _)| format!("{at}.{name}")));
                    }
                    undescribed(value, &format!("{at}.{key}"), out);
                }
            }
            Value::Array(items) => items.iter().for_each(|item| undescribed(item, at, out)),
            _ => {}
        }
    }

    #[test]
    fn every_field_of_the_published_schemas_is_described() {
        let schemas = [
            schemars::schema_for!(crate::Room),
            schemars::schema_for!(super::DataSheet),
            schemars::schema_for!(crate::build_up::Input),
            schemars::schema_for!(crate::build_up::Output),
            schemars::schema_for!(crate::quantities::Input),
            schemars::schema_for!(crate::quantities::Output),
        ];
        for schema in schemas {
            let mut silent = Vec::new();
            undescribed(&serde_json::to_value(schema).unwrap(), "", &mut silent);
            // types of another crate, which describes them itself
            silent.retain(|path| !path.contains("Judgement") && !path.contains("Decision"));
            assert!(silent.is_empty(), "{silent:#?}");
        }
    }
}

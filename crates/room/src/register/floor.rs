//! Floor fields.

use super::model::Model;
use super::{Detail, DetailKind, Face, Place};

pub fn derive(model: &Model, out: &mut Vec<Detail>) {
    for zone in model.zones.iter().filter(|z| !z.field.is_empty()) {
        for layer in &zone.layers {
            let mut name = format!("floor, {}", zone.words());
            if layer.is_none() && !model.room.membranes.is_empty() {
                name.push_str(", no membrane drawn");
            }
            let place = Place::Patch(zone.field.clone());
            out.push(model.detail(DetailKind::FloorField, format!("floor/{}", zone.id), name, zone, *layer, Face::Floor, place, zone.id));
        }
    }
}

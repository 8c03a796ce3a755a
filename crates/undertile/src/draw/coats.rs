//! The coat log of each membrane to its sheet.

use super::layer_words;
use drawing::{CoatLaid, CoatWay, CoatsOnRoom, Scene};
use engine::assess::CoatDrawn;
use job::coats::Strokes;
use room::nouns::MembraneLayer;
use std::collections::BTreeSet;

/// `coats-<layer>.svg` of each membrane of which the log has a coat.
pub fn sheets(coats: &[CoatDrawn], scene: &Scene) -> Vec<(String, String)> {
    let layers: BTreeSet<MembraneLayer> = coats.iter().map(|coat| coat.layer).collect();
    layers
        .into_iter()
        .map(|layer| {
            let (name, words) = layer_words(layer);
            let id = format!("coats-{name}");
            let laid: Vec<CoatLaid<'_>> = coats.iter().filter(|coat| coat.layer == layer).map(laid).collect();
            let svg = drawing::coats(scene, &CoatsOnRoom { id: &id, words, coats: &laid });
            (format!("{id}.svg"), svg)
        })
        .collect()
}

fn laid(coat: &CoatDrawn) -> CoatLaid<'_> {
    let way = match coat.strokes {
        Some(Strokes::AlongX | Strokes::Across) => CoatWay::Along,
        Some(Strokes::AlongY | Strokes::Up) => CoatWay::Across,
        Some(Strokes::Both) => CoatWay::Both,
        None => CoatWay::NotNoted,
    };
    CoatLaid { number: coat.number, words: &coat.words, way, covers: &coat.areas, lacks: &coat.uncovered }
}

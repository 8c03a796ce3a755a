//! What photographs show of strokes to one sheet a membrane.

use super::layer_words;
use drawing::{Scene, StrokeTile, StrokesOnRoom};
use engine::assess::StrokesDrawn;
use room::nouns::MembraneLayer;
use std::collections::BTreeSet;

/// `strokes-<layer>.svg` of each membrane that was looked at; `strokes.svg` of photographs that name none.
pub fn sheets(photographs: &[StrokesDrawn], scene: &Scene) -> Vec<(String, String)> {
    let layers: BTreeSet<Option<MembraneLayer>> = photographs.iter().map(|photograph| photograph.layer).collect();
    layers
        .into_iter()
        .map(|layer| {
            let own: Vec<&StrokesDrawn> = photographs.iter().filter(|photograph| photograph.layer == layer).collect();
            let (id, of) = match layer.map(layer_words) {
                Some((name, words)) => (format!("strokes-{name}"), words),
                None => ("strokes".to_owned(), "membrane not named"),
            };
            let words = format!("{of}, {} photograph{}", own.len(), if own.len() == 1 { "" } else { "s" });
            let tiles: Vec<StrokeTile<'_>> = own
                .iter()
                .flat_map(|photograph| photograph.tiles.iter().map(|tile| (&photograph.face, tile)))
                .map(|(face, tile)| StrokeTile {
                    face,
                    corners_mm: tile.corners_mm,
                    directions: &tile.directions,
                    junction: tile.junction,
                    words: &tile.words,
                })
                .collect();
            let notes: Vec<String> = own.iter().map(|photograph| photograph.words.clone()).collect();
            let svg = drawing::strokes(scene, &StrokesOnRoom { id: &id, words: &words, tiles: &tiles, notes: &notes });
            (format!("{id}.svg"), svg)
        })
        .collect()
}

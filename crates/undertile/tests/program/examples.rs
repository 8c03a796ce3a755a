//! One small sound input for each computation, in `tests/examples`: used wherever any sound input will do.

use serde_json::Value;
use std::fs;
use std::path::Path;

/// The input of that computation.
///
/// * `falls`, `exposure`: 1.6 m by 1.0 m falling 1:80 to a channel along y = 0, twelve levels.
/// * `ponding`: 5 by 5 cells of 100 mm, level at 10 mm but for the outlet's corner and a pit of 4 mm in the middle.
/// * `overflow`: a level square metre with a waste, a door at 20 mm and a higher opening; 12 L/min.
/// * `build-up`: 15.2 mm of membrane, bed and tile over two points, with a grate, a threshold, a water stop, an upturn and a
///   fillet beside them.
/// * `film`: three comb readings of the field, three cut-outs of a recess one coat short.
/// * `film-map`: five readings on a square metre and three places.
/// * `coverage`: 14 L on 9 m2 beside a film read and two coats due.
/// * `sampling`: places that find a tenth missed in 2.35 by 1.70 m.
/// * `quantities`: membrane, primer, bond breaker and a collar for a floor and a wall, one upturn of unknown height.
/// * `movement`: a drying, heated screed over joists that deflect, a bond breaker of 12 mm, a sealant joint.
/// * `strokes`: 100 by 100 pixels of wandering waves that cross squarely, a millimetre each.
/// * `climate`: 20 °C, 50 %, a surface of 18 °C.
pub fn input(name: &str) -> Value {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/examples/{name}.json"));
    let text = fs::read_to_string(&path).unwrap_or_else(|e| panic!("give `{name}` an example, {}: {e}", path.display()));
    serde_json::from_str(&text).unwrap()
}

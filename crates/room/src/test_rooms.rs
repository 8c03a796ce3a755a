//! Rooms the tests share.

use crate::Room;
use serde_json::{Value, json};

/// A room from the fields given, the format filled in.
pub fn room(mut fields: Value) -> Room {
    if fields.get("format").is_none() {
        fields["format"] = json!(crate::nouns::FORMAT);
    }
    serde_json::from_value(fields).expect("a test room is well formed")
}

/// 2.4 x 1.8 m, shower 0.9 x 0.9 in the corner at the origin, door on the far wall.
pub fn rectangle() -> Value {
    json!({
        "outline_mm": [[0, 0], [2400, 0], [2400, 1800], [0, 1800]],
        "height_mm": 2400,
        "openings": [{"id": "door", "kind": "door", "wall": "w3", "from_mm": 200, "width_mm": 820, "height_mm": 2040}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[0, 0], [900, 0], [900, 900], [0, 900]], "wall_height_mm": 1900}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 450, "y_mm": 100, "height_mm": 2000, "wall": "w1"}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 450, "y_mm": 450, "radius_mm": 50}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid"}]
    })
}

/// The shower room of Heron Row 12: 2.35 x 1.70 m with a 300 mm return beside the door.
pub fn heron_row() -> Value {
    json!({
        "outline_mm": [[0, 0], [2350, 0], [2350, 1700], [900, 1700], [900, 1400], [0, 1400]],
        "height_mm": 2400,
        "walls": [{"id": "south", "edge": 1}, {"id": "east", "edge": 2}, {"id": "north", "edge": 3}, {"id": "return", "edge": 4},
                  {"id": "door wall", "edge": 5}, {"id": "west", "edge": 6}],
        "openings": [{"id": "door", "kind": "door", "wall": "door wall", "from_mm": 60, "width_mm": 820, "height_mm": 2040}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[1200, 0], [2350, 0], [2350, 900], [1200, 900]], "wall_height_mm": 1900}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 2250, "y_mm": 450, "height_mm": 2000, "flow_l_min": 9, "wall": "east"},
                     {"id": "basin", "kind": "basin", "x_mm": 1600, "y_mm": 1500, "wall": "north"}],
        "outlets": [{"id": "waste", "kind": "point", "x_mm": 1900, "y_mm": 380, "radius_mm": 50}],
        "water_stops": [{"id": "ws1", "line_mm": [[1200, 0], [1200, 900], [2350, 900]], "at": "shower-edge", "leg_mm": 40}],
        "screens": [{"id": "glass", "line_mm": [[1200, 0], [1200, 900]], "height_mm": 2000}],
        "recesses": [{"id": "recess", "wall": "south", "from_mm": 1500, "sill_mm": 1100, "width_mm": 600, "height_mm": 300, "depth_mm": 90}],
        "membranes": [{"id": "m", "layer": "over-screed", "form": "liquid"}],
        "build_up": {"preset": "over-screed"}
    })
}

/// 3.0 x 2.4 m, two membranes, a channel along the far wall of the shower.
pub fn two_membranes() -> Value {
    json!({
        "outline_mm": [[0, 0], [3000, 0], [3000, 2400], [0, 2400]],
        "height_mm": 2500,
        "openings": [{"id": "door", "kind": "door", "wall": "w4", "from_mm": 1000, "width_mm": 900, "height_mm": 2100},
                     {"id": "window", "kind": "window", "wall": "w2", "from_mm": 1300, "width_mm": 600, "height_mm": 600, "sill_mm": 1500}],
        "zones": [{"id": "shower", "kind": "shower", "polygon_mm": [[1800, 0], [3000, 0], [3000, 1200], [1800, 1200]], "wall_height_mm": 2000}],
        "fixtures": [{"id": "rose", "kind": "shower-rose", "x_mm": 2400, "y_mm": 80, "height_mm": 2050, "wall": "w1"}],
        "outlets": [{"id": "channel", "kind": "channel", "line_mm": [[1900, 150], [2900, 150]], "width_mm": 80, "body_joints_mm": [600],
                     "spigot_mm": 300,
                     "flanges": [{"id": "lower", "membrane": "lower", "width_mm": 40}, {"id": "upper", "membrane": "upper", "width_mm": 30}]}],
        "water_stops": [{"id": "stop", "line_mm": [[1800, 0], [1800, 1200], [3000, 1200]], "at": "screen"}],
        "recesses": [{"id": "recess", "wall": "w1", "from_mm": 2000, "sill_mm": 1000, "width_mm": 500, "height_mm": 300, "depth_mm": 100}],
        "penetrations": [{"id": "mixer", "kind": "tap", "wall": "w1", "along_mm": 2400, "height_mm": 1100},
                         {"id": "pan", "kind": "waste", "x_mm": 500, "y_mm": 2100},
                         {"id": "basin cold", "kind": "pipe", "wall": "w3", "along_mm": 1200, "height_mm": 550}],
        "membranes": [{"id": "lower", "layer": "under-screed", "form": "sheet"}, {"id": "upper", "layer": "over-screed", "form": "liquid"}],
        "build_up": {"preset": "both"}
    })
}

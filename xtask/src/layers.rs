//! The layers of the workspace: who may know whom. `ARCHITECTURE.md` draws them; the tests here hold the code to them.

use crate::tools::{self, Done};

/// A crate's place.
pub struct Place {
    /// The crate.
    pub name: &'static str,
    /// It may know every crate of a lower layer, and none of a higher one.
    pub layer: u8,
    /// Crates of its own layer that it may know as well.
    pub beside: &'static [&'static str],
    /// Whether it must be pure: no files, network, clock, environment, threads or unseeded randomness.
    pub pure: bool,
}

/// Every crate of the workspace but xtask, which stands outside: it knows no crate and none knows it.
pub const PLACES: [Place; 19] = [
    engine("measure", 0, &[]),
    engine("intake", 0, &["measure"]),
    engine("stats", 1, &[]),
    engine("water", 1, &["stats"]),
    engine("air", 1, &[]),
    engine("fixing", 1, &[]),
    engine("photo", 1, &[]),
    engine("strokes", 1, &["photo"]),
    engine("room", 2, &["film"]),
    engine("ledger", 2, &[]),
    engine("film", 2, &[]),
    engine("rules", 3, &[]),
    engine("job", 3, &["rules"]),
    engine("engine", 4, &[]),
    engine("drawing", 5, &[]),
    engine("sync", 5, &[]),
    Place { name: "store", layer: 6, beside: &[], pure: false },
    Place { name: "server", layer: 6, beside: &["store"], pure: false },
    Place { name: "undertile", layer: 7, beside: &[], pure: false },
];

const fn engine(name: &'static str, layer: u8, beside: &'static [&'static str]) -> Place {
    Place { name, layer, beside, pure: true }
}

/// The crates that must be pure and compile for the browser.
pub fn pure() -> impl Iterator<Item = &'static str> {
    PLACES.iter().filter(|place| place.pure).map(|place| place.name)
}

/// Why `from` may not depend on `to`, if it may not.
fn wrong(from: &str, to: &str) -> Option<String> {
    let place = |name: &str| PLACES.iter().find(|place| place.name == name);
    if from == "xtask" || to == "xtask" {
        return Some(format!("{from} -> {to}: xtask stands outside"));
    }
    let (Some(from), Some(to)) = (place(from), place(to)) else {
        return Some(format!("{from} -> {to}: give both a place in xtask/src/layers.rs"));
    };
    let downwards = to.layer < from.layer || from.beside.contains(&to.name);
    (!downwards).then(|| format!("{} (layer {}) -> {} (layer {}): arrows point downwards", from.name, from.layer, to.name, to.layer))
}

/// Every arrow between crates of the workspace, those of tests and build scripts included. A crate whose tests turn on a feature
/// of its own is no arrow.
fn arrows() -> Done<Vec<(String, String)>> {
    let metadata = tools::metadata()?;
    let mut arrows = Vec::new();
    for package in metadata["packages"].as_array().into_iter().flatten() {
        let within = package["dependencies"].as_array().into_iter().flatten().filter(|dependency| dependency["path"].is_string());
        let others = within.filter(|dependency| dependency["name"] != package["name"]);
        arrows.extend(others.filter_map(|dependency| Some((package["name"].as_str()?.into(), dependency["name"].as_str()?.into()))));
    }
    Ok(arrows)
}

/// Prints who knows whom, lowest layer first, or the arrows that point the wrong way.
pub fn draw() -> Done {
    let arrows = arrows()?;
    let wrong: Vec<String> = arrows.iter().filter_map(|(from, to)| wrong(from, to)).collect();
    if !wrong.is_empty() {
        return Err(wrong.join("\n"));
    }
    for place in &PLACES {
        let known: Vec<&str> = arrows.iter().filter(|(from, _)| from == place.name).map(|(_, to)| to.as_str()).collect();
        println!("L{} {:<10} {}", place.layer, place.name, known.join(" "));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dependency_arrows_point_downwards() {
        let arrows = arrows().unwrap();
        assert!(arrows.len() > 10, "the workspace was read: {arrows:?}");
        let wrong: Vec<String> = arrows.iter().filter_map(|(from, to)| wrong(from, to)).collect();
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }

    #[test]
    fn every_crate_has_a_place() {
        let metadata = tools::metadata().unwrap();
        let packages = metadata["packages"].as_array().unwrap().iter().map(|package| package["name"].as_str().unwrap());
        let mut there: Vec<&str> = packages.filter(|name| *name != "xtask").collect();
        let mut placed: Vec<&str> = PLACES.iter().map(|place| place.name).collect();
        there.sort_unstable();
        placed.sort_unstable();
        assert_eq!(there, placed);
    }

    #[test]
    fn a_planted_upward_arrow_is_found() {
        for (from, to) in [
            ("water", "room"),
            ("air", "rules"),
            ("stats", "water"),
            ("rules", "job"),
            ("measure", "intake"),
            ("room", "room"),
            ("engine", "drawing"),
            ("xtask", "engine"),
            ("engine", "xtask"),
            ("engine", "newcomer"),
        ] {
            assert!(wrong(from, to).is_some(), "{from} -> {to} passed");
        }
        for (from, to) in [("water", "stats"), ("job", "rules"), ("undertile", "measure")] {
            assert_eq!(wrong(from, to), None);
        }
    }
}

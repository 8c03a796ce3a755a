//! A place is a pack: what later places need is written here as text alone, in the forms their rules take.

mod common;

use common::{judge_for, with};
use measure::Verdict::{self, Conforms, FallsShort, NotShown};
use measure::{Decision, Grade, Measured};
use room::nouns::ZoneKind;
use room::register::DetailKind;
use rules::{Facts, Fit, Frame, Route, check_cases, fact, one_of};

/// In the manner of the Norwegian guidance: a shower floor is right by any one of three ways, one of them of two parts.
const ANY_ONE_OF: &str = r#"{
  "format": "undertile pack 1", "id": "no", "title": "In the manner of Norway", "country": "NO",
  "editions": [{"id": "g", "title": "guidance", "family": "guidance", "from": "2018-01-15", "dates_source": "test"}],
  "words": {"departure": "deviation"},
  "rules": [
    {"id": "near-gully", "title": "1:50 within 0.8 m of the gully", "quantity": "fall", "unit": "ratio", "direction": "plane-to-outlet",
     "details": ["floor-field"], "area": {"around": "outlet", "radius_mm": 800}, "limit": {"at_least": "1:50"}, "editions": ["g"],
     "one_of": {"group": "fall of the shower floor", "route": "steep near the gully"}, "clause": "(2) b", "status": "guidance", "confidence": "S", "source": "test",
     "cases": [{"value": "1:51", "expect": "falls short"}, {"value": "1:50", "expect": "conforms"}, {"value": "1:49", "expect": "conforms"}, {"expect": "not shown"}]},
    {"id": "recessed-fall", "title": "1:100 in a recessed spray zone", "quantity": "fall", "unit": "ratio", "direction": "plane-to-outlet",
     "details": ["floor-field"], "zones": ["shower"], "limit": {"at_least": "1:100"}, "editions": ["g"],
     "one_of": {"group": "fall of the shower floor", "route": "recessed"}, "clause": "(2) b", "status": "guidance", "confidence": "s2", "source": "test",
     "cases": [{"value": "1:101", "expect": "falls short"}, {"value": "1:100", "expect": "conforms"}, {"value": "1:99", "expect": "conforms"}, {"expect": "not shown"}]},
    {"id": "recessed-depth", "title": "spray zone recessed 10 mm", "quantity": "set_down_mm", "unit": "mm", "datum": "finished-floor-outside",
     "details": ["floor-field"], "zones": ["shower"], "limit": {"at_least": 10}, "editions": ["g"],
     "one_of": {"group": "fall of the shower floor", "route": "recessed"}, "clause": "(2) b", "status": "guidance", "confidence": "s2", "source": "test",
     "cases": [{"value": 9, "expect": "falls short"}, {"value": 10, "expect": "conforms"}, {"value": 11, "expect": "conforms"}, {"expect": "not shown"}]}
  ]
}"#;

#[test]
fn any_one_of_several_ways_is_data() {
    let packs = with(ANY_ONE_OF);
    assert!(check_cases(&packs).is_empty(), "{}", check_cases(&packs));
    let frame = Frame { country: Some("NO".into()), basis_date: Some("2020-01-01".into()), ..Frame::default() };
    let found = packs.applicable(&frame);
    let verdict = |near: f64, fall: f64, recess: Option<f64>| -> Verdict {
        let judge = |id: &str, value: Option<f64>| {
            let rule = found.rule(id).unwrap();
            let judgement = match value {
                Some(value) => judge_for(rule, &Facts::new(), value),
                None => rule.unmeasured(&Facts::new(), "nothing was measured"),
            };
            Route { route: rule.written.one_of.clone().unwrap().route, judgement }
        };
        let routes = [judge("no/near-gully", Some(near)), judge("no/recessed-fall", Some(fall)), judge("no/recessed-depth", recess)];
        let judgement = one_of("fall of the shower floor", &routes).unwrap();
        assert!(judgement.why.starts_with("fall of the shower floor, any one way is enough; "), "{}", judgement.why);
        judgement.verdict
    };
    assert_eq!(verdict(0.02, 0.005, Some(0.0)), Conforms, "the first way");
    assert_eq!(verdict(0.01, 0.01, Some(10.0)), Conforms, "the second way, both parts");
    assert_eq!(verdict(0.01, 0.01, Some(9.0)), FallsShort, "the second way needs both parts");
    assert_eq!(verdict(0.01, 0.01, None), NotShown, "the second way is open");
    assert_eq!(one_of("nothing", &[]), None);
}

/// In the manner of the German standard: film thickness by base of the membrane, a fall that is only to be "sufficient", and
/// the stricter of two published dryness limits.
const BY_BASE: &str = r#"{
  "format": "undertile pack 1", "id": "de", "title": "In the manner of Germany", "country": "DE",
  "rules": [
    {"id": "film", "title": "dry film by base", "quantity": "film_um", "unit": "um", "details": ["floor-field", "wall-field"], "when": {"membrane_form": ["liquid"]},
     "limits": [{"when": {"membrane_base": ["polymer-dispersion"]}, "at_least": 500}, {"when": {"membrane_base": ["polymer-cement"]}, "at_least": 2000},
                {"when": {"membrane_base": ["reaction-resin"]}, "at_least": 1000}],
     "clause": "part 3", "status": "normative", "confidence": "s2", "source": "test",
     "cases": [
       {"facts": {"membrane_base": "polymer-dispersion"}, "value": 490, "expect": "falls short"}, {"facts": {"membrane_base": "polymer-dispersion"}, "value": 500, "expect": "conforms"},
       {"facts": {"membrane_base": "polymer-dispersion"}, "value": 510, "expect": "conforms"},
       {"facts": {"membrane_base": "polymer-cement"}, "value": 1990, "expect": "falls short"}, {"facts": {"membrane_base": "polymer-cement"}, "value": 2000, "expect": "conforms"},
       {"facts": {"membrane_base": "polymer-cement"}, "value": 2010, "expect": "conforms"},
       {"facts": {"membrane_base": "reaction-resin"}, "value": 990, "expect": "falls short"}, {"facts": {"membrane_base": "reaction-resin"}, "value": 1000, "expect": "conforms"},
       {"facts": {"membrane_base": "reaction-resin"}, "value": 1010, "expect": "conforms"},
       {"value": 5000, "expect": "not shown"}, {"expect": "not shown"}]},
    {"id": "fall", "title": "sufficient fall, without a number", "requires": "water runs to the outlet", "details": ["floor-field"],
     "clause": "part 1", "status": "normative", "confidence": "s2", "source": "test",
     "cases": [{"found": true, "expect": "conforms"}, {"found": false, "expect": "falls short"}, {"expect": "not shown"}]}
  ]
}"#;

#[test]
fn film_by_base_of_the_membrane_is_data() {
    let packs = with(BY_BASE);
    assert!(check_cases(&packs).is_empty(), "{}", check_cases(&packs));
    let found = packs.applicable(&Frame { country: Some("DE".into()), ..Frame::default() });
    let liquid = Facts::new().word(fact::MEMBRANE_FORM, "liquid");
    let fitting = found.fitting(DetailKind::WallField, ZoneKind::Shower, None, &liquid);
    let film = fitting.iter().find(|(rule, _)| rule.id == "de/film").unwrap();
    assert_eq!(film.1, Fit::Applies);
    let unknown_base = film.0.judge_for(&liquid, Measured::exact(900.0).unwrap(), 9, Grade::Measured, Decision::default());
    assert_eq!(unknown_base.verdict, NotShown);
    assert!(unknown_base.why.contains("not known: membrane base"), "{}", unknown_base.why);
    let resin = liquid.word(fact::MEMBRANE_BASE, "reaction-resin");
    assert_eq!(judge_for(film.0, &resin, 900.0).verdict, FallsShort);
    assert!(found.of_quantity("fall").next().is_none(), "a fall without a number stays without one");
}

/// In the manner of New Zealand: a fall within a radius of the rose, or to the walls inside it. 1:50 over 1500 mm is 30 mm.
#[test]
fn a_radius_about_the_rose_is_data() {
    let packs = with(
        r#"{"format": "undertile pack 1", "id": "nz", "title": "In the manner of New Zealand", "country": "NZ", "rules": [
            {"id": "fall", "title": "1:50 within 1500 mm of the rose", "quantity": "fall", "unit": "ratio", "direction": "plane-to-outlet", "details": ["floor-field"],
             "when": {"enclosed": false}, "area": {"around": "rose", "radius_mm": 1500}, "limit": {"at_least": "1:50"}, "clause": "3.3.2.3", "status": "guidance",
             "confidence": "s2", "source": "test"}]}"#,
    );
    let fall = packs.rule("nz/fall").unwrap();
    let area = fall.written.area.clone().unwrap();
    assert!((area.radius_mm * fall.asked[0].limit.min().unwrap() - 30.0).abs() < 1e-12);
}

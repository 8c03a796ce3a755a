//! Rules of which one way is enough.

use measure::{Judgement, Verdict};
use std::collections::BTreeMap;

/// A judgement on one rule of one route.
#[derive(Clone, Debug)]
pub struct Route {
    /// Name of the route: the rules of one route must all be met.
    pub route: String,
    /// The judgement.
    pub judgement: Judgement,
}

/// The verdict of a group: conforms when every rule of any one route conforms; falls short when every route has a rule that
/// falls short; else not shown. `None` when there is no judgement.
///
/// The judgement handed back is the deciding one, with the other routes named in `why`.
pub fn one_of(group: &str, routes: &[Route]) -> Option<Judgement> {
    let mut worst: BTreeMap<&str, &Judgement> = BTreeMap::new();
    for Route { route, judgement } in routes {
        let kept = worst.entry(route).or_insert(judgement);
        if severity(judgement.verdict) > severity(kept.verdict) {
            *kept = judgement;
        }
    }
    let (route, best) = worst.iter().min_by_key(|(_, judgement)| severity(judgement.verdict))?;
    let mut judgement = (*best).clone();
    let others: Vec<String> = worst.iter().filter(|(name, _)| *name != route).map(|(name, j)| format!("{name}: {}", j.verdict)).collect();
    judgement.why = format!("{group}, any one way is enough; {route}: {}", judgement.why);
    if !others.is_empty() {
        judgement.why.push_str(&format!(" ({})", others.join("; ")));
    }
    Some(judgement)
}

/// Within a route the worst counts, among routes the best.
fn severity(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Conforms => 0,
        Verdict::NotShown => 1,
        Verdict::FallsShort => 2,
    }
}

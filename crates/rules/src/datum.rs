//! Heights and what they count from. Two heights from different datums are never compared as they stand.

use measure::Measured;

/// A known height of one datum over another: the build-up between them, say.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// Counted from this datum ...
    pub from: String,
    /// ... to this one,
    pub to: String,
    /// which lies so much higher (lower if negative).
    pub up_mm: Measured,
}

/// A height measured above `from`, counted from `to` instead; the uncertainties of height and steps add as squares.
/// `None` where no chain of steps joins the two.
///
/// 1790 mm above the finished floor is 1815 mm above the substrate when the build-up between them is 25 mm.
///
/// ```
/// use measure::Measured;
/// let build_up = [rules::Step { from: "substrate".into(), to: "finished-floor".into(), up_mm: Measured::new(25.0, 0.6).unwrap() }];
/// let height = rules::to_datum(Measured::new(1790.0, 0.8).unwrap(), "finished-floor", "substrate", &build_up).unwrap();
/// assert_eq!((height.value(), height.u()), (1815.0, 1.0));
/// assert!(rules::to_datum(height, "finished-floor", "drain-flange", &build_up).is_none());
/// ```
pub fn to_datum(height_mm: Measured, from: &str, to: &str, steps: &[Step]) -> Option<Measured> {
    let mut reached = vec![(from, height_mm.value(), height_mm.u() * height_mm.u())];
    let mut next = 0;
    while next < reached.len() {
        let (at, value, variance) = reached[next];
        if at == to {
            return Measured::new(value, variance.sqrt()).ok();
        }
        for step in steps {
            let (other, value) = if step.from == at {
                (step.to.as_str(), value - step.up_mm.value())
            } else if step.to == at {
                (step.from.as_str(), value + step.up_mm.value())
            } else {
                continue;
            };
            if !reached.iter().any(|(known, ..)| *known == other) {
                reached.push((other, value, variance + step.up_mm.u() * step.up_mm.u()));
            }
        }
        next += 1;
    }
    None
}

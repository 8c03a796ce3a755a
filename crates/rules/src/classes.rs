//! Classes of membrane by elongation at break.

use crate::format::MembraneClasses;
use measure::{Problem, Problems};

/// The class of a membrane, and what to say of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ClassOf {
    /// Class in the pack's name.
    pub id: String,
    /// Set where the wording gives the value to no class and the lower class beside it was taken.
    pub note: Option<String>,
}

impl MembraneClasses {
    /// The class of an elongation at break; `None` for what is no elongation.
    ///
    /// Published classes leave gaps (59 to 60 is closed by "below 60", 299 to 300 is not): a value in a gap gets the lower,
    /// stricter class, and a note.
    pub fn class_of(&self, elongation_percent: f64) -> Option<ClassOf> {
        if !elongation_percent.is_finite() || elongation_percent < 0.0 {
            return None;
        }
        let class = self.classes.iter().rev().find(|class| elongation_percent >= class.elongation_percent_min)?;
        let named = class.elongation_percent_max.is_none_or(|max| elongation_percent <= max);
        Some(ClassOf { id: class.id.clone(), note: (!named).then(|| self.gap.clone()) })
    }

    /// What is wrong with them.
    pub(crate) fn check(&self) -> Problems {
        let mut problems = Problems::new();
        if self.classes.is_empty() {
            problems.push(Problem::at("membrane_classes.classes", "none given", "at least one class"));
        }
        if self.clause.trim().is_empty() || self.source.trim().is_empty() || self.gap.trim().is_empty() {
            problems.push(Problem::at("membrane_classes", "clause, source or gap is missing", "say where the classes come from"));
        }
        for (i, class) in self.classes.iter().enumerate() {
            let field = format!("membrane_classes.classes[{i}]");
            let end = class.elongation_percent_max.or(class.below_percent);
            let next = self.classes.get(i + 1).map(|next| next.elongation_percent_min);
            let ordered = class.elongation_percent_min.is_finite()
                && end.is_none_or(|end| end >= class.elongation_percent_min)
                && next.is_none_or(|next| next > class.elongation_percent_min && end.is_none_or(|end| end <= next));
            if !ordered {
                problems.push(Problem::at(field, "classes overlap or are out of order", "lowest first, each ending where the next begins"));
            }
        }
        problems
    }
}

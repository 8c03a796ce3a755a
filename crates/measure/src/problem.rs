use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// One thing that is wrong with the input: where it stands, what was found, what would be right.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Problem {
    /// File name as the user knows it; empty for standard input.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub file: String,
    /// Line in that file, from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u64>,
    /// Field path such as `walls[2].height_mm`, or a column name; empty when the whole input is meant.
    pub field: String,
    /// The value found, as text, shortened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What would be right.
    pub right: String,
}

impl Problem {
    /// A problem at a field.
    pub fn at(field: impl Into<String>, what: impl Into<String>, right: impl Into<String>) -> Self {
        Self { file: String::new(), line: None, field: field.into(), value: None, what: what.into(), right: right.into() }
    }

    /// With the value that was found, cut to a readable length.
    pub fn value(mut self, value: impl fmt::Display) -> Self {
        let text = value.to_string();
        self.value = Some(if text.chars().count() > 80 { text.chars().take(77).chain("...".chars()).collect() } else { text });
        self
    }

    /// In this file.
    pub fn file(mut self, file: impl Into<String>) -> Self {
        self.file = file.into();
        self
    }

    /// On this line.
    pub fn line(mut self, line: u64) -> Self {
        self.line = Some(line);
        self
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.file.is_empty() {
            write!(f, "{}", self.file)?;
            if let Some(line) = self.line {
                write!(f, ":{line}")?;
            }
            f.write_str(": ")?;
        } else if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        if !self.field.is_empty() {
            write!(f, "{}", self.field)?;
            if let Some(value) = &self.value {
                write!(f, " = {value}")?;
            }
            f.write_str(": ")?;
        } else if let Some(value) = &self.value {
            write!(f, "{value}: ")?;
        }
        write!(f, "{}", self.what)?;
        if !self.right.is_empty() {
            write!(f, "; {}", self.right)?;
        }
        Ok(())
    }
}

/// Everything wrong with an input, found at once. Serialises as `{"problems": [...]}`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Problems {
    /// In the order of the input.
    pub problems: Vec<Problem>,
}

impl Problems {
    /// How many problems are reported at most; what comes after is counted in a last line.
    pub const MOST: usize = 200;

    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds one.
    pub fn push(&mut self, problem: Problem) {
        self.problems.push(problem);
    }

    /// Adds all of another collection.
    pub fn extend(&mut self, other: Problems) {
        self.problems.extend(other.problems);
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.problems.is_empty()
    }

    /// Puts the file name on every problem that has none.
    pub fn in_file(mut self, file: &str) -> Self {
        for problem in &mut self.problems {
            if problem.file.is_empty() {
                problem.file = file.into();
            }
        }
        self
    }

    /// The value, if nothing is wrong; else every problem, cut at [`Problems::MOST`] with the rest counted.
    pub fn or<T>(mut self, value: T) -> Result<T, Problems> {
        if self.is_empty() {
            return Ok(value);
        }
        if self.problems.len() > Self::MOST {
            let more = self.problems.len() - Self::MOST;
            self.problems.truncate(Self::MOST);
            self.push(Problem::at("", format!("{more} more problems are not listed"), "put these right first"));
        }
        Err(self)
    }
}

impl From<Problem> for Problems {
    fn from(problem: Problem) -> Self {
        Self { problems: vec![problem] }
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.problems.iter().enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{problem}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}

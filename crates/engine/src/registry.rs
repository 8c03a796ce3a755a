//! Every computation, registered once.

use air::climate;
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// One computation as every door sees it.
pub struct Computation {
    /// Name on the command line and in the address.
    pub name: &'static str,
    /// What it answers, in one line.
    pub help: &'static str,
    /// Where its method comes from.
    pub sources: &'static [&'static str],
    run: fn(&[u8]) -> Result<Vec<u8>, Problems>,
    input: fn() -> Value,
    output: fn() -> Value,
}

impl Computation {
    /// JSON in, JSON out; or every problem of the input.
    pub fn run(&self, input: &[u8]) -> Result<Vec<u8>, Problems> {
        (self.run)(input)
    }

    /// JSON Schema 2020-12 of input and output: `{"input": ..., "output": ...}`.
    pub fn schema(&self) -> Value {
        serde_json::json!({ "name": self.name, "help": self.help, "sources": self.sources, "input": (self.input)(), "output": (self.output)() })
    }
}

fn run_with<I: DeserializeOwned + JsonSchema, O: Serialize>(
    bytes: &[u8],
    compute: fn(&I) -> Result<O, Problems>,
) -> Result<Vec<u8>, Problems> {
    let input: I = intake::json::read("", bytes)?;
    let output = compute(&input)?;
    let mut text = serde_json::to_vec_pretty(&output).expect("outputs are plain data with text keys");
    text.push(b'\n');
    Ok(text)
}

macro_rules! computation {
    ($name:literal, $help:literal, [$($source:literal),* $(,)?], $input:ty => $output:ty, $compute:expr) => {
        Computation {
            name: $name,
            help: $help,
            sources: &[$($source),*],
            run: |bytes| run_with::<$input, $output>(bytes, $compute),
            input: intake::schema::of::<$input>,
            output: intake::schema::of::<$output>,
        }
    };
}

/// All computations, in the order of the work.
pub const ALL: &[Computation] = &[
    computation!(
        "falls",
        "how steep, which way, where too flat, too steep or back-falling",
        [
            "weighted least-squares planes; decision by JCGM 106:2012",
            "surface by constrained Delaunay triangulation of the spot levels"
        ],
        water::falls::Input => water::falls::Output,
        water::falls::run
    ),
    computation!(
        "ponding",
        "where water stays, how deep, how much",
        ["lowest pass to the outlets over the eight-connected grid (the level a priority-flood gives; Barnes, Lehman, Mulla 2014)"],
        water::ponding::Input => water::ponding::Output,
        water::ponding::run
    ),
    computation!(
        "overflow",
        "the outlet is blocked and the shower runs: where does water go first, and when",
        ["storage against level over the depressions of the surface; volume over flow"],
        water::overflow::Input => water::overflow::Output,
        water::overflow::run
    ),
    computation!(
        "exposure",
        "how much water each detail sees in a day",
        ["spray by straight rays from the rose; routing over the filled surface; an ordering aid, not a measurement"],
        water::exposure::Input => water::exposure::Output,
        water::exposure::run
    ),
    computation!(
        "build-up",
        "where finished levels land: grate, threshold, water stop, upturns, cut line",
        ["sums of layer thicknesses with uncertainty after JCGM 100:2008 (GUM)"],
        room::build_up::Input => room::build_up::Output,
        room::build_up::run
    ),
    computation!(
        "climate",
        "may a coat go on now: dew point and margin",
        ["saturation pressure after Hyland and Wexler, ASHRAE Handbook Fundamentals 2017, ch. 1, eq. 5 and 6"],
        climate::Input => climate::Output,
        run_climate
    ),
];

/// The dew-point margin comes from the packs, like every limit.
fn run_climate(input: &climate::Input) -> Result<climate::Output, Problems> {
    climate::run(input, &crate::assess::limits::dew_margin())
}

/// A computation by name.
pub fn find(name: &str) -> Result<&'static Computation, Problems> {
    ALL.iter().find(|computation| computation.name == name).ok_or_else(|| {
        let names: Vec<_> = ALL.iter().map(|computation| computation.name).collect();
        Problem::at("", "no computation of that name", format!("one of: {}", names.join(", "))).value(name).into()
    })
}

/// Runs a computation by name: JSON in, JSON out.
pub fn run(name: &str, input: &[u8]) -> Result<Vec<u8>, Problems> {
    find(name)?.run(input)
}

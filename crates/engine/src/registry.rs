//! Every computation, registered once.

use air::climate;
use measure::{Problem, Problems};
use schemars::JsonSchema;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;

/// Bytes of a picture file beside an input, at most.
pub const PICTURE_BYTES: usize = strokes::picture::FILE_BYTES;

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

    /// The same with a picture file beside the JSON; only some computations look at one.
    pub fn run_on_picture(&self, input: &[u8], picture: &[u8]) -> Result<Vec<u8>, Problems> {
        if self.name != "strokes" {
            return Err(Problem::at("picture", "this computation looks at none", "strokes does").into());
        }
        let input: strokes::Input = intake::json::read("", input)?;
        strokes::run_on_file(&input, picture).map(|output| written(&output))
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
    compute(&input).map(|output| written(&output))
}

fn written(output: &impl Serialize) -> Vec<u8> {
    let mut text = serde_json::to_vec_pretty(output).expect("outputs are plain data with text keys");
    text.push(b'\n');
    text
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
        "film",
        "is each stratum thick enough, how sure, and is a coat missing",
        [
            "interval-censored lognormal film, strata pooled, by quadrature; checked against SciPy, lifelines and simulation",
            "spots and shares as in SSPC-PA 2 and ISO 19840, their figures given with the input"
        ],
        film::thickness::Input => film::thickness::Output,
        film::thickness::run
    ),
    computation!(
        "film-map",
        "where it is thin, from many readings",
        ["ordinary kriging with variance (Cressie 1993, 3.2), checked against PyKrige; Matheron's variogram, checked against scikit-gstat"],
        film::map::Input => film::map::Output,
        film::map::run
    ),
    computation!(
        "coverage",
        "does what was used agree with what was coated",
        ["film is litres over area, dry film that times solids by volume; uncertainty after JCGM 100:2008 (GUM)"],
        film::coverage::Input => film::coverage::Output,
        film::coverage::run
    ),
    computation!(
        "sampling",
        "how many readings, where, and what they cannot find",
        [
            "binomial and hypergeometric detection, checked against SciPy",
            "hot spots on a grid (Singer and Wickman 1969; Gilbert 1987, ch. 10)"
        ],
        film::sampling::Input => film::sampling::Output,
        film::sampling::run
    ),
    computation!(
        "quantities",
        "what to order, and whether what came and went agrees with it",
        ["area over spread rate, or film over solids by volume (definitions); uncertainty after JCGM 100:2008 (GUM)"],
        room::quantities::Input => room::quantities::Output,
        room::quantities::run
    ),
    computation!(
        "movement",
        "is the bond breaker wide enough, and the sealant joint",
        [
            "free movement by temperature, moisture and shrinkage; drying shrinkage after EN 1992-1-1:2004, 3.1.4 and annex B.2",
            "film strain is movement over unbonded width; sealant width after a public course note (Cornell, ARCH 262)"
        ],
        fixing::movement::Input => fixing::movement::Output,
        fixing::movement::run
    ),
    computation!(
        "strokes",
        "which way the marks run in a photograph: one, two or no direction in each tile",
        [
            "homography by the normalised direct linear transform (Hartley and Zisserman 2004, algorithm 4.2)",
            "PNG (ISO/IEC 15948) or JPEG (ISO/IEC 10918-1), turned by its EXIF orientation; structure tensor with 3 by 3 Sobel, checked against scikit-image; an aid to looking, never proof of thickness"
        ],
        strokes::Input => strokes::Output,
        strokes::run
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

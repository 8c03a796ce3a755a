//! Facts, measurements and rules to an assessment; and the one registry of computations behind every door.
//!
//! * [`registry`]: each computation once, with name, help, sources, input and output schema. The command line, the HTTP
//!   door and the browser's worker all call [`registry::run`].
//! * [`assess`]: may this layer be covered? The detail register, the plan, the packs and all evidence to one answer.
//! * [`report`]: that answer as text for a terminal.

pub mod assess;
pub mod registry;
pub mod report;
pub mod schemas;

//! Moist air, the dew point, and whether a coat may go on now.
//!
//! * [`moist`]: saturation pressure, dew and frost point, humidity ratio.
//! * [`climate`]: the margin of a surface over the dew point, judged with its uncertainty.

pub mod climate;
pub mod moist;

//! Small, pure statistics: least squares, planes through levels, tolerance limits, brackets, shares, kriging.
//!
//! Nothing here knows what is measured. Every `u` is a standard uncertainty (k = 1).
//!
//! * [`least_squares`]: weighted linear least squares by Householder reflections, with covariance and leverages.
//! * [`plane`]: a plane through levels, its gradient with covariance.
//! * [`student`]: Student's t distribution.
//! * [`outlier`]: the one reading that fits least well with the others.
//! * [`tolerance`]: one-sided tolerance limits of normal readings.
//! * [`censored`]: readings known only as brackets.
//! * [`kriging`]: values between readings with their variance, variograms.
//! * [`owens_t`]: a wedge of the bivariate normal distribution.
//! * [`proportion`]: shares seen in samples, and how many looks find a miss.

pub mod censored;
pub mod kriging;
pub mod least_squares;
pub mod outlier;
mod owen;
pub mod plane;
pub mod proportion;
pub mod student;
pub mod tolerance;

pub use owen::owens_t;

//! Small, pure statistics: least squares, planes through levels, Student's t, the reading that stands out.
//!
//! Nothing here knows what is measured. Every `u` is a standard uncertainty (k = 1).
//!
//! * [`least_squares`]: weighted linear least squares by Householder reflections, with covariance and leverages.
//! * [`plane`]: a plane through levels, its gradient with covariance.
//! * [`student`]: Student's t distribution.
//! * [`outlier`]: the one reading that fits least well with the others.

pub mod least_squares;
pub mod outlier;
pub mod plane;
pub mod student;

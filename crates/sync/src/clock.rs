//! How far a device's clock is from the site record's, from a question and its answer.

use crate::limits::MOST_TIME_MS;
use ledger::Clock;
use measure::{Problem, Problems};

/// How fast two clocks may run apart, as a share: 100 parts in a million, 9 s a day. RFC 5905 (appendix A.5.5, PHI) takes 15
/// for a disciplined clock; phones and laptops left alone run within 100 (common practice, no source).
pub const DRIFT: f64 = 100e-6;
/// All four times of an exchange are whole milliseconds.
const ROUNDING_MS: f64 = 1.0;
/// The largest offset an event can carry: three hundred years.
const MOST_OFFSET_MS: f64 = 1e13;
/// Half the width of a rectangular distribution over its standard deviation (JCGM 100:2008, 4.3.7).
const ROOT_3: f64 = 1.732_050_807_568_877_2;

/// The time as the shell reads it, handed in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Now {
    /// What the clock shows: milliseconds since 1970, UTC. People and networks set it.
    pub wall_ms: i64,
    /// Milliseconds by a clock that nobody sets, from any beginning.
    pub steady_ms: u64,
}

impl Now {
    /// The time of the clock as RFC 3339, in UTC.
    pub fn text(&self) -> Result<String, Problems> {
        let time = (0..=MOST_TIME_MS).contains(&self.wall_ms).then(|| jiff::Timestamp::from_millisecond(self.wall_ms).ok()).flatten();
        time.map(|time| time.to_string())
            .ok_or_else(|| Problem::at("now.wall_ms", "out of bounds", "between the years 1970 and 9999").value(self.wall_ms).into())
    }
}

/// One question and its answer: when it left and came back by the device's clock, came and was answered by the site's.
#[derive(Clone, Copy, Debug)]
pub struct Exchange {
    /// Device, when it asked.
    pub asked: Now,
    /// Site, when the question came.
    pub received_ms: i64,
    /// Site, when the answer left.
    pub answered_ms: i64,
    /// Device, when the answer came.
    pub back: Now,
}

impl Exchange {
    /// The offset and the most it can be wrong by, or `None` where a clock was set or the device slept in between, or the clocks
    /// are centuries apart.
    ///
    /// offset = ((T2 - T1) + (T3 - T4)) / 2 and round trip = (T4 - T1) - (T3 - T2) (RFC 5905, section 8). Whatever the two ways
    /// took, each is at least nothing, so the offset is right within half the round trip (Cristian, Probabilistic clock
    /// synchronization, Distributed Computing 3, 1989), and what the clocks ran apart meanwhile.
    pub fn measure(&self) -> Option<Measured> {
        let ms = |from: i64, to: i64| to as f64 - from as f64;
        let elapsed = self.back.steady_ms.checked_sub(self.asked.steady_ms)? as f64;
        let by_wall = ms(self.asked.wall_ms, self.back.wall_ms);
        let trip = elapsed - ms(self.received_ms, self.answered_ms);
        let clock_was_set = (by_wall - elapsed).abs() > 2.0 * ROUNDING_MS + DRIFT * elapsed;
        if clock_was_set || self.answered_ms < self.received_ms || trip < -2.0 * ROUNDING_MS {
            return None;
        }
        let offset_ms = (ms(self.asked.wall_ms, self.received_ms) + ms(self.back.wall_ms, self.answered_ms)) / 2.0;
        if offset_ms.abs() > MOST_OFFSET_MS {
            return None;
        }
        Some(Measured { offset_ms, bound_ms: trip.max(0.0) / 2.0 + ROUNDING_MS + DRIFT * elapsed, at_ms: self.back.wall_ms })
    }
}

/// A measured offset of a clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// What must be added to the device's time, ms.
    pub offset_ms: f64,
    /// The most it was wrong by when it was measured, ms.
    pub bound_ms: f64,
    /// When that was, by the device's clock.
    pub at_ms: i64,
}

impl Measured {
    /// The most it can be wrong by at a time of the device's clock: it grows as the clocks run apart ([`DRIFT`]).
    pub fn bound_at(&self, wall_ms: i64) -> f64 {
        self.bound_ms + DRIFT * (wall_ms as f64 - self.at_ms as f64).abs()
    }

    /// As an event or receipt of that time carries it: the bound as a standard uncertainty, u = bound / sqrt 3 (rectangular,
    /// JCGM 100:2008, 4.3.7).
    ///
    /// A clock that was set since is not noticed before the next measurement.
    pub fn clock(&self, wall_ms: i64) -> Clock {
        Clock { offset_ms: self.offset_ms, u_ms: self.bound_at(wall_ms) / ROOT_3 }
    }

    /// The better of two at the time of the later, and by how much the clock was set in between, if it was: both bounds
    /// together can't explain the difference.
    pub fn then(self, later: Self) -> (Self, Option<f64>) {
        let moved = later.offset_ms - self.offset_ms;
        let bound = self.bound_at(later.at_ms);
        if moved.abs() > bound + later.bound_ms {
            return (later, Some(moved));
        }
        (if later.bound_ms <= bound { later } else { self }, None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now(wall_ms: i64, steady_ms: u64) -> Now {
        Now { wall_ms, steady_ms }
    }

    #[test]
    fn the_offset_is_the_middle_and_its_bound_half_the_round_trip() {
        // Worked by hand with RFC 5905's formulas: T1 = 10000, T2 = 13040, T3 = 13050, T4 = 10090.
        // offset = ((13040 - 10000) + (13050 - 10090)) / 2 = 3000; round trip = 90 - 10 = 80.
        let exchange = Exchange { asked: now(10_000, 7), received_ms: 13_040, answered_ms: 13_050, back: now(10_090, 97) };
        let measured = exchange.measure().unwrap();
        assert_eq!((measured.offset_ms, measured.bound_ms), (3_000.0, 41.009));
        assert!((measured.clock(10_090).u_ms - 23.676).abs() < 1e-3, "41.009 / sqrt 3");
        // A day later the clocks may be 8.64 s further apart.
        assert!((measured.bound_at(10_090 + 86_400_000) - 8_681.009).abs() < 1e-6);
    }

    #[test]
    fn a_clock_set_or_a_sleep_during_the_exchange_is_no_measurement() {
        let sound = Exchange { asked: now(10_000, 0), received_ms: 10_040, answered_ms: 10_050, back: now(10_090, 90) };
        assert!(sound.measure().is_some());
        for back in [now(70_090, 90), now(9_000, 90), now(10_090, 5)] {
            assert!(Exchange { back, ..sound }.measure().is_none(), "{back:?}");
        }
        assert!(Exchange { back: now(10_090, 90), asked: now(10_000, 100), ..sound }.measure().is_none(), "back before it left");
        assert!(Exchange { answered_ms: 10_030, ..sound }.measure().is_none(), "answered before it came");
        let centuries = 20_000_000_000_000;
        assert!(Exchange { received_ms: centuries, answered_ms: centuries + 10, ..sound }.measure().is_none());
        assert!(Exchange { received_ms: i64::MIN, answered_ms: i64::MAX, ..sound }.measure().is_none());
    }

    #[test]
    fn a_clock_that_was_set_is_told_from_one_that_drifted() {
        let first = Measured { offset_ms: 100.0, bound_ms: 50.0, at_ms: 0 };
        let day = 86_400_000;
        let drifted = Measured { offset_ms: 8_000.0, bound_ms: 50.0, at_ms: day };
        assert_eq!(first.then(drifted), (drifted, None));
        let set = Measured { offset_ms: 9_000.0, bound_ms: 50.0, at_ms: day };
        assert_eq!(first.then(set), (set, Some(8_900.0)));
        let worse = Measured { offset_ms: 120.0, bound_ms: 400.0, at_ms: 1_000 };
        assert_eq!(first.then(worse), (first, None));
    }
}

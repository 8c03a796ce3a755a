//! Work that takes a while: off the threads that answer, so many at a time, and only so much waiting.

use crate::problem::{BUSY, FAILED, Refusal};
use axum::http::{HeaderValue, header};
use measure::Problem;
use std::sync::Arc;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Requests that run or wait at most, their bodies in memory.
const PLACES: usize = 32;

/// Where work is done.
pub struct Work {
    places: Arc<Semaphore>,
    hands: Arc<Semaphore>,
}

impl Work {
    /// With as many at a time as there are cores.
    pub fn new() -> Self {
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        Self { places: Arc::new(Semaphore::new(PLACES)), hands: Arc::new(Semaphore::new(cores)) }
    }

    /// A place among those that run or wait; taken before the body is read, so that bodies do not pile up.
    pub fn place(&self) -> Result<Place, Refusal> {
        let place = Arc::clone(&self.places).try_acquire_owned().map_err(|_| {
            let problem = Problem::at("", "the program has its hands full", "ask again in a moment");
            Refusal::of(&BUSY, problem).with(header::RETRY_AFTER, HeaderValue::from_static("1"))
        })?;
        Ok(Place { _place: place, hands: Arc::clone(&self.hands) })
    }
}

/// A place in the queue; free again when what runs in it is done, even if nobody waits for the answer any more.
pub struct Place {
    _place: OwnedSemaphorePermit,
    hands: Arc<Semaphore>,
}

impl Place {
    /// Runs it when its turn has come. A panic in it is a refusal, and the program lives on.
    pub async fn run<T: Send + 'static>(self, work: impl FnOnce() -> Result<T, Refusal> + Send + 'static) -> Result<T, Refusal> {
        let hand = Arc::clone(&self.hands).acquire_owned().await.expect("nobody closes it");
        let done = tokio::task::spawn_blocking(move || {
            let _kept = (self, hand);
            work()
        });
        done.await.unwrap_or_else(|_| {
            let right = "please report it with what was handed in; what is in the record is safe";
            Err(Refusal::of(&FAILED, Problem::at("", "the program made a mistake in this request", right)))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::response::IntoResponse;

    #[tokio::test]
    async fn a_panic_is_a_refusal_and_the_next_request_is_done() {
        let work = Work::new();
        let refusal = work.place().unwrap().run(|| -> Result<(), Refusal> { panic!("planted") }).await.unwrap_err();
        assert_eq!(refusal.into_response().status(), 500);
        assert_eq!(work.place().unwrap().run(|| Ok(7)).await.unwrap(), 7);
    }

    #[tokio::test]
    async fn when_all_places_are_taken_the_next_is_told_to_come_again() {
        let work = Work::new();
        let held: Vec<Place> = (0..PLACES).map(|_| work.place().unwrap()).collect();
        let response = work.place().err().unwrap().into_response();
        assert_eq!((response.status().as_u16(), response.headers()["retry-after"].to_str().unwrap()), (503, "1"));
        drop(held);
        assert!(work.place().is_ok());
    }

    #[tokio::test]
    async fn more_than_there_are_cores_run_one_after_another() {
        let work = Work::new();
        let all: Vec<_> = (0..PLACES).map(|i| tokio::spawn(work.place().unwrap().run(move || Ok(i)))).collect();
        for (i, one) in all.into_iter().enumerate() {
            assert_eq!(one.await.unwrap().unwrap(), i);
        }
    }
}

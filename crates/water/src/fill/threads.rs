//! Work on independent pieces, on several threads with the feature `threads`.

/// How many threads are worth their start for so many cells: one without the feature.
pub fn worth(cells: usize) -> usize {
    #[cfg(feature = "threads")]
    if cells > 500_000 {
        return std::thread::available_parallelism().map_or(1, |n| n.get());
    }
    let _ = cells;
    1
}

/// Does every job, in any order on up to `threads` threads; results in the order of the jobs.
#[cfg(feature = "threads")]
pub fn for_each<J: Send, R: Send>(threads: usize, jobs: Vec<J>, work: impl Fn(J) -> R + Sync) -> Vec<R> {
    use std::sync::Mutex;
    let threads = threads.min(jobs.len());
    if threads < 2 {
        return jobs.into_iter().map(work).collect();
    }
    let mut results: Vec<Option<R>> = jobs.iter().map(|_| None).collect();
    let queue = Mutex::new(jobs.into_iter().zip(results.iter_mut()));
    let next = || queue.lock().expect("a job panics outside the lock").next();
    let run = || {
        while let Some((job, result)) = next() {
            *result = Some(work(job));
        }
    };
    std::thread::scope(|scope| {
        for _ in 1..threads {
            scope.spawn(run);
        }
        run();
    });
    drop(queue);
    results.into_iter().map(|result| result.expect("every job was taken from the queue")).collect()
}

/// Does every job in order.
#[cfg(not(feature = "threads"))]
pub fn for_each<J, R>(_threads: usize, jobs: Vec<J>, work: impl Fn(J) -> R) -> Vec<R> {
    jobs.into_iter().map(work).collect()
}

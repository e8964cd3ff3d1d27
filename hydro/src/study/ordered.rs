//! Many jobs on several threads, their results handed over in order.

use std::collections::BTreeMap;
use std::ops::{ControlFlow, Range};
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, PoisonError};

/// Results that may wait for an earlier one, for each thread: bounds the memory.
const WAITING: u64 = 64;

/// No threads could be started.
#[derive(Debug, thiserror::Error)]
#[error("{threads} threads could not be started: {source}")]
pub struct ThreadsError {
    /// How many were asked for.
    pub threads: usize,
    /// Why.
    pub source: rayon::ThreadPoolBuildError,
}

/// What all threads share.
struct Shared<'s, R> {
    /// The job to be taken next.
    next: u64,
    /// The result to be handed over next.
    wanted: u64,
    /// Results that wait for an earlier one.
    waiting: BTreeMap<u64, R>,
    sink: &'s mut (dyn FnMut(u64, R) -> ControlFlow<()> + Send),
    stopped: bool,
}

/// Does the jobs of a range on `threads` threads (0: as many as there are processors) and hands each result to `sink`,
/// in order. Gives the first job that was not done: the end of the range unless it was stopped.
///
/// It stops taking jobs when `interrupt` is set or `sink` breaks; jobs that are begun are finished and handed over
/// (after a break of the sink: dropped), so that what is done is always the beginning of the range. Whatever the
/// number of threads, `sink` sees the same.
///
/// # Errors
/// Where the threads cannot be started. A panic of a job or of the sink stops the others and goes on to the caller.
pub fn run<R: Send>(
    range: Range<u64>,
    threads: usize,
    interrupt: &AtomicBool,
    job: &(dyn Fn(u64) -> R + Sync),
    sink: &mut (dyn FnMut(u64, R) -> ControlFlow<()> + Send),
) -> Result<u64, ThreadsError> {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
    let pool = pool.map_err(|source| ThreadsError { threads, source })?;
    let window = WAITING.saturating_mul(pool.current_num_threads() as u64);
    let shared =
        Mutex::new(Shared { next: range.start, wanted: range.start, waiting: BTreeMap::new(), sink, stopped: false });
    let changed = Condvar::new();
    let lock = || shared.lock().unwrap_or_else(PoisonError::into_inner);
    let guarded = |work: &mut dyn FnMut()| {
        if let Err(panic) = catch_unwind(AssertUnwindSafe(work)) {
            lock().stopped = true;
            changed.notify_all();
            resume_unwind(panic);
        }
    };
    // Each thread has this loop once. It waits only for a job that another thread is doing.
    pool.broadcast(|_| {
        loop {
            let mut state = lock();
            let ends = |s: &Shared<'_, R>| s.stopped || interrupt.load(Ordering::Relaxed) || s.next >= range.end;
            while !ends(&state) && state.next - state.wanted >= window {
                state = changed.wait(state).unwrap_or_else(PoisonError::into_inner);
            }
            if ends(&state) {
                break;
            }
            let index = state.next;
            state.next += 1;
            drop(state);
            guarded(&mut || {
                let result = job(index);
                let mut state = lock();
                let state = &mut *state;
                state.waiting.insert(index, result);
                while !state.stopped
                    && let Some(result) = state.waiting.remove(&state.wanted)
                {
                    // Counted before it is handed over: a sink that breaks has taken it.
                    let index = state.wanted;
                    state.wanted += 1;
                    state.stopped = (state.sink)(index, result).is_break();
                }
            });
            changed.notify_all();
        }
    });
    let state = shared.into_inner().unwrap_or_else(PoisonError::into_inner);
    Ok(state.wanted)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Some work that differs from job to job.
    fn work(index: u64) -> u64 {
        (0..(index * 7919) % 5000).fold(index, |sum, k| sum.wrapping_mul(31).wrapping_add(k))
    }

    fn collect(range: Range<u64>, threads: usize) -> Vec<(u64, u64)> {
        let mut seen = Vec::new();
        let done = run(range.clone(), threads, &AtomicBool::new(false), &work, &mut |index, result| {
            seen.push((index, result));
            ControlFlow::Continue(())
        });
        assert_eq!(done.unwrap(), range.end.max(range.start));
        seen
    }

    #[test]
    fn results_come_in_order_on_any_number_of_threads() {
        let wanted: Vec<(u64, u64)> = (3..1000).map(|k| (k, work(k))).collect();
        for threads in [1, 2, 3, 8] {
            assert_eq!(collect(3..1000, threads), wanted, "{threads} threads");
        }
        assert_eq!(collect(5..5, 2), []);
    }

    #[test]
    fn what_waits_for_a_slow_first_job_is_bounded() {
        // The first job ends only when no other job is begun any more: the others fill the window and wait.
        let begun = std::sync::atomic::AtomicU64::new(0);
        let job = |index: u64| {
            begun.fetch_add(1, Ordering::SeqCst);
            let mut last = 0;
            let mut same = 0;
            while index == 0 && same < 20_000 {
                let now = begun.load(Ordering::SeqCst);
                same = if now == last { same + 1 } else { 0 };
                last = now;
                std::hint::spin_loop();
            }
            if index == 0 { begun.load(Ordering::SeqCst) } else { 0 }
        };
        let mut at_first = 0;
        let done = run(0..100_000, 2, &AtomicBool::new(false), &job, &mut |index, result| {
            if index == 0 {
                at_first = result;
            }
            ControlFlow::Continue(())
        });
        assert_eq!(done.unwrap(), 100_000);
        assert!((1..=2 * WAITING).contains(&at_first), "{at_first} jobs were begun");
    }

    #[test]
    fn an_interruption_leaves_the_beginning_whole() {
        for threads in [1, 2, 4] {
            let interrupt = AtomicBool::new(false);
            let mut seen = Vec::new();
            let done = run(0..10_000, threads, &interrupt, &work, &mut |index, _| {
                seen.push(index);
                if index == 100 {
                    interrupt.store(true, Ordering::Relaxed);
                }
                ControlFlow::Continue(())
            });
            let done = done.unwrap();
            assert!((101..=101 + 2 * WAITING * threads as u64).contains(&done), "{done}");
            assert_eq!(seen, (0..done).collect::<Vec<_>>());
        }
    }

    #[test]
    fn a_sink_that_breaks_has_the_last_word() {
        let mut seen = 0;
        let done = run(0..1000, 3, &AtomicBool::new(false), &work, &mut |index, _| {
            seen += 1;
            if index == 10 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
        });
        assert_eq!((done.unwrap(), seen), (11, 11));
    }

    #[test]
    fn a_panic_reaches_the_caller_and_nobody_waits_for_ever() {
        let job = |index: u64| if index == 5 { panic!("job 5") } else { index };
        let outcome = catch_unwind(AssertUnwindSafe(|| {
            run(0..10_000, 2, &AtomicBool::new(false), &job, &mut |_, _| ControlFlow::Continue(()))
        }));
        assert!(outcome.is_err());
    }
}

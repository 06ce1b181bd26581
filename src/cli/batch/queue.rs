//! Works on several scans at once, within a memory limit.
//!
//! Every job is given a share of the limit, reckoned from its file, and must keep to it (see `command`); shares in use never
//! add up to more than the limit. A job that its share was too small for comes last, alone, with the whole limit.

use std::sync::{Condvar, Mutex, PoisonError};

/// What one scan is reckoned to need beside its own bytes: program, seams, pictures.
const BASE_BYTES: u64 = 300 << 20;
/// Bytes in memory per byte of file: meshes keep their corners, packed files are unpacked.
const PER_FILE_BYTE: u64 = 2;

/// Memory that a scan of this size is reckoned to need.
pub const fn reckoned_bytes(file_bytes: u64) -> u64 {
    BASE_BYTES.saturating_add(file_bytes.saturating_mul(PER_FILE_BYTE))
}

struct State {
    next: usize,
    running: usize,
    bytes_in_use: u64,
}

/// What came of a job.
pub enum Attempt<T> {
    Done(T),
    /// It needs more memory than it was given.
    Outgrown(T),
}

/// Calls `work` with every job and its share of memory, at most `workers` at once, and only as many as fit into
/// `byte_limit`; a job that is too large for it runs alone, with the whole limit. Results come in job order.
pub fn run_jobs<T: Send>(
    sizes: &[u64],
    workers: usize,
    byte_limit: u64,
    work: &(dyn Fn(usize, u64) -> Attempt<T> + Sync),
) -> Vec<T> {
    let first = run_beside(sizes, workers, byte_limit, &|job, bytes| work(job, bytes));
    first
        .into_iter()
        .enumerate()
        .map(|(job, attempt)| match attempt {
            Attempt::Outgrown(_) if sizes[job] < byte_limit => match work(job, byte_limit) {
                Attempt::Done(result) | Attempt::Outgrown(result) => result,
            },
            Attempt::Done(result) | Attempt::Outgrown(result) => result,
        })
        .collect()
}

fn run_beside<T: Send>(
    sizes: &[u64],
    workers: usize,
    byte_limit: u64,
    work: &(dyn Fn(usize, u64) -> T + Sync),
) -> Vec<T> {
    let state = Mutex::new(State { next: 0, running: 0, bytes_in_use: 0 });
    let freed = Condvar::new();
    let results: Mutex<Vec<(usize, T)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..workers.clamp(1, sizes.len().max(1)) {
            scope.spawn(|| {
                while let Some((job, bytes)) = take(sizes, byte_limit, &state, &freed) {
                    let result = work(job, bytes.min(byte_limit));
                    results.lock().unwrap_or_else(PoisonError::into_inner).push((job, result));
                    let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
                    state.running -= 1;
                    state.bytes_in_use -= bytes;
                    freed.notify_all();
                }
            });
        }
    });
    let mut results = results.into_inner().unwrap_or_else(PoisonError::into_inner);
    results.sort_by_key(|(job, _)| *job);
    results.into_iter().map(|(_, result)| result).collect()
}

/// Waits until the next job fits.
fn take(sizes: &[u64], limit: u64, state: &Mutex<State>, freed: &Condvar) -> Option<(usize, u64)> {
    let mut state = state.lock().unwrap_or_else(PoisonError::into_inner);
    loop {
        let job = state.next;
        let bytes = *sizes.get(job)?;
        if state.running == 0 || state.bytes_in_use.saturating_add(bytes) <= limit {
            state.next += 1;
            state.running += 1;
            state.bytes_in_use += bytes;
            return Some((job, bytes));
        }
        state = freed.wait(state).unwrap_or_else(PoisonError::into_inner);
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU64, Ordering};
    use std::time::Duration;

    use super::*;

    #[test]
    fn the_limit_holds_and_results_keep_their_order() {
        let sizes = [3, 5, 2, 90, 4, 4, 1, 6];
        let (in_use, most) = (AtomicU64::new(0), AtomicU64::new(0));
        let found = run_jobs(&sizes, 4, 10, &|job, bytes| {
            assert_eq!(bytes, sizes[job].min(10));
            let now = in_use.fetch_add(sizes[job], Ordering::SeqCst) + sizes[job];
            most.fetch_max(if sizes[job] == now { 0 } else { now }, Ordering::SeqCst);
            std::thread::sleep(Duration::from_millis(3));
            in_use.fetch_sub(sizes[job], Ordering::SeqCst);
            Attempt::Done(job * 10)
        });
        assert_eq!(found, [0, 10, 20, 30, 40, 50, 60, 70]);
        // Jobs that ran beside others never took more than the limit together; the one of 90 ran alone.
        assert!(most.load(Ordering::SeqCst) <= 10, "{most:?}");
        assert!(most.load(Ordering::SeqCst) > 0, "some ran side by side");
    }

    #[test]
    fn no_jobs_are_no_work() {
        assert_eq!(run_jobs(&[], 4, 10, &|job, _| Attempt::Done(job)), Vec::<usize>::new());
    }

    #[test]
    fn who_outgrows_a_share_comes_again_with_all() {
        let found = run_jobs(&[3, 4, 12], 2, 10, &|job, bytes| {
            let needs = [2, 9, 99][job];
            if needs <= bytes { Attempt::Done((job, bytes)) } else { Attempt::Outgrown((job, bytes)) }
        });
        assert_eq!(found, [(0, 3), (1, 10), (2, 10)]);
    }
}

//! Counts what a thread has allocated, so that tests can hold a bound on memory.
//!
//! Counted are bytes asked for by this thread and not given back by it; the highest value since the last call of
//! [`peak_of`]'s beginning is the peak. What other threads do does not count.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

thread_local! {
    static HELD: Cell<isize> = const { Cell::new(0) };
    static PEAK: Cell<isize> = const { Cell::new(0) };
}

struct Counting;

fn count(change: isize) {
    // A thread that is ending has no counters any more, and nobody asks.
    let _ = HELD.try_with(|held| {
        held.set(held.get() + change);
        let _ = PEAK.try_with(|peak| peak.set(peak.get().max(held.get())));
    });
}

// SAFETY: every call is handed to the system's allocator unchanged; counting touches thread-local integers only.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count(layout.size() as isize);
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        count(layout.size() as isize);
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
        count(-(layout.size() as isize));
        unsafe { System.dealloc(place, layout) }
    }

    unsafe fn realloc(&self, place: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // While it moves, both are held.
        count(size as isize);
        let moved = unsafe { System.realloc(place, layout, size) };
        count(-(layout.size() as isize));
        moved
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

/// Runs something and tells the most bytes that it held at once, beyond what was held before.
pub fn peak_of<T>(run: impl FnOnce() -> T) -> (T, u64) {
    let before = HELD.with(Cell::get);
    PEAK.with(|peak| peak.set(before));
    let result = run();
    let peak = PEAK.with(Cell::get) - before;
    (result, u64::try_from(peak).unwrap_or(0))
}

#[test]
fn the_counter_counts() {
    let (_, peak) = peak_of(|| {
        drop(std::hint::black_box(vec![0_u8; 3 << 20]));
        std::hint::black_box(vec![1_u8; 1 << 20])
    });
    assert!((3 << 20..4 << 20).contains(&peak), "{peak}");
}

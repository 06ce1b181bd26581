//! How far a run is: a bar where a person waits, stage times where they are asked for, and Ctrl-C.

use std::fmt::Write;
use std::io::IsTerminal;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use shutline::pipeline::{Stage, Watch};

/// A bar appears only for work that takes longer than this.
const PATIENCE: Duration = Duration::from_secs(1);

static IS_INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Watches one run.
pub struct Progress {
    started: Instant,
    begun: Mutex<Vec<(&'static str, Instant)>>,
    beside: Mutex<Vec<(&'static str, Duration)>>,
    bar: ProgressBar,
}

impl Progress {
    /// Starts the clock; the bar stays away when quiet or when nobody looks.
    pub fn start(is_quiet: bool) -> Self {
        // A second run in one process finds the handler set already, which is as good.
        let _ = ctrlc::set_handler(|| IS_INTERRUPTED.store(true, Ordering::Relaxed));
        let is_seen = !is_quiet && std::io::stderr().is_terminal();
        let target = if is_seen { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        let bar = ProgressBar::with_draw_target(None, target);
        if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {percent}%  {eta} left") {
            bar.set_style(style);
        }
        Self { started: Instant::now(), begun: Mutex::new(Vec::new()), beside: Mutex::new(Vec::new()), bar }
    }

    /// A stage that is not the pipeline's own begins.
    pub fn begin_named(&self, name: &'static str) {
        self.begun.lock().unwrap_or_else(PoisonError::into_inner).push((name, Instant::now()));
    }

    /// Runs something that goes on beside the stages, and keeps how long it took.
    pub fn time_beside<T>(&self, name: &'static str, work: impl FnOnce() -> T) -> T {
        let start = Instant::now();
        let result = work();
        self.beside.lock().unwrap_or_else(PoisonError::into_inner).push((name, start.elapsed()));
        result
    }

    /// One line a stage, milliseconds, in order; then what ran beside them.
    pub fn timings(&self) -> String {
        let begun = self.begun.lock().unwrap_or_else(PoisonError::into_inner);
        let now = Instant::now();
        let mut text = String::new();
        for (index, (name, start)) in begun.iter().enumerate() {
            let end = begun.get(index + 1).map_or(now, |(_, next)| *next);
            // Writing to a string cannot fail.
            let _ = writeln!(text, "{name:<10} {:>9.1} ms", (end - *start).as_secs_f64() * 1e3);
        }
        for (name, took) in self.beside.lock().unwrap_or_else(PoisonError::into_inner).iter() {
            let _ = writeln!(text, "{name:<10} {:>9.1} ms, beside the others", took.as_secs_f64() * 1e3);
        }
        let _ = writeln!(text, "{:<10} {:>9.1} ms", "total", (now - self.started).as_secs_f64() * 1e3);
        text
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

impl Watch for Progress {
    fn begin(&self, stage: Stage) {
        self.begin_named(match stage {
            Stage::Align => "align",
            Stage::Gather => "gather",
            Stage::Measure => "measure",
            Stage::Judge => "judge",
        });
    }

    fn gathered(&self, parts_done: usize, parts: usize) {
        if self.started.elapsed() > PATIENCE {
            self.bar.set_length(parts as u64);
            self.bar.set_message("reading the scan");
            self.bar.set_position(parts_done as u64);
        }
    }

    fn is_stopped(&self) -> bool {
        IS_INTERRUPTED.load(Ordering::Relaxed)
    }
}

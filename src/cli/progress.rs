//! How far a run is: a bar with rate and rest where a person waits, and stage times where they are asked for.

use std::fmt::Write;
use std::io::IsTerminal;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressState, ProgressStyle};
use shutline::pipeline::{Stage, Watch};
use shutline::scan::{PointSink, ScanFailure, ScanSource, SourceFacts, TriangleSink};
use shutline::trace::{Look, TraceWatch};

/// A bar appears only for work that takes longer than this.
const PATIENCE: Duration = Duration::from_secs(1);

/// Time between two steps of a sign that work goes on.
const TICK: Duration = Duration::from_millis(200);

/// What aligning is called.
pub const PLACING: &str = "placing the scan on the car";

const BYTES_BAR: &str = "{msg} {wide_bar} {bytes} of {total_bytes}, {bytes_per_sec}, {eta} left";
const COUNT_BAR: &str = "{msg} {wide_bar} {pos} of {len}, {pace}, {eta} left";

/// Watches one run.
pub struct Progress {
    started: Instant,
    begun: Mutex<Vec<(&'static str, Instant)>>,
    beside: Mutex<Vec<(&'static str, Duration)>>,
    /// Of the scan; 0 where it is not known.
    byte_count: AtomicU64,
    bar: ProgressBar,
}

/// A style by its template, which is one of this file's.
fn style(template: &str) -> ProgressStyle {
    ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
}

/// Things a second, without decimals where there are many.
fn pace(state: &ProgressState, text: &mut dyn Write) {
    let pace = state.per_sec();
    // Writing to a string cannot fail.
    let _ = if pace < 10.0 { write!(text, "{pace:.1}/s") } else { write!(text, "{pace:.0}/s") };
}

impl Progress {
    /// Starts the clock; the bar stays away when quiet or when nobody looks.
    pub fn start(is_quiet: bool) -> Self {
        let is_seen = !is_quiet && std::io::stderr().is_terminal();
        let target = if is_seen { ProgressDrawTarget::stderr() } else { ProgressDrawTarget::hidden() };
        Self {
            started: Instant::now(),
            begun: Mutex::new(Vec::new()),
            beside: Mutex::new(Vec::new()),
            byte_count: AtomicU64::new(0),
            // Nothing is drawn before there is something to say.
            bar: ProgressBar::with_draw_target(None, target).with_style(style("")),
        }
    }

    /// How many bytes there are to read, so that the bar can say how fast.
    pub fn expect_bytes(&self, byte_count: Option<u64>) {
        self.byte_count.store(byte_count.unwrap_or(0), Ordering::Relaxed);
    }

    /// So many of so many points are made.
    pub fn made(&self, points: u64, whole: u64) {
        self.show("making points", COUNT_BAR, points, whole);
    }

    /// So many of so many scans are done.
    pub fn scans_done(&self, done: u64, whole: u64) {
        // A scan that outgrew its share of memory is done twice.
        self.show("measuring scans", COUNT_BAR, done.min(whole), whole);
    }

    /// Takes the bar away while something is said.
    pub fn make_way<T>(&self, say: impl FnOnce() -> T) -> T {
        self.bar.suspend(say)
    }

    /// Work whose length nobody knows: the time so far, and a sign that it goes on.
    pub fn wait(&self, what: &'static str) {
        let seen = move |state: &ProgressState, text: &mut dyn Write| {
            if state.elapsed() > PATIENCE {
                // Writing to a string cannot fail.
                let _ = write!(text, "{what}, {:.0} s", state.elapsed().as_secs_f64());
            }
        };
        self.bar.set_style(style("{waited} {spinner}").with_key("waited", seen));
        self.bar.reset();
        self.bar.set_message(what);
        self.bar.enable_steady_tick(TICK);
    }

    /// Moves the bar, if the run has taken long enough for one.
    fn show(&self, what: &'static str, template: &str, done: u64, whole: u64) {
        if self.started.elapsed() <= PATIENCE {
            return;
        }
        self.bar.disable_steady_tick();
        if self.bar.message() != what {
            // The rate of another stage says nothing about this one.
            self.bar.set_style(style(template).with_key("pace", pace));
            self.bar.reset();
            self.bar.set_message(what);
        }
        self.bar.set_length(whole);
        self.bar.set_position(done);
    }

    /// So many of so many parts of the scan are read.
    fn read(&self, what: &'static str, parts_done: usize, parts: usize) {
        let bytes = self.byte_count.load(Ordering::Relaxed);
        let (done, parts) = (parts_done as u64, parts.max(1) as u64);
        if bytes == 0 {
            self.show(what, COUNT_BAR, done, parts);
        } else {
            let bytes_done = (u128::from(bytes) * u128::from(done) / u128::from(parts)) as u64;
            self.show(what, BYTES_BAR, bytes_done, bytes);
        }
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

    /// A scan whose reading moves the bar; what is done with it in between is named.
    pub fn watch_reading<'a>(&'a self, source: &'a dyn ScanSource, then: &'static str) -> WatchedSource<'a> {
        self.expect_bytes(source.facts().byte_count);
        WatchedSource { source, progress: self, parts_read: AtomicUsize::new(0), then }
    }

    /// Takes the bar away.
    pub fn finish(&self) {
        self.bar.finish_and_clear();
    }
}

/// A scan that tells how far it has been read, pass after pass.
pub struct WatchedSource<'a> {
    source: &'a dyn ScanSource,
    progress: &'a Progress,
    parts_read: AtomicUsize,
    then: &'static str,
}

impl WatchedSource<'_> {
    fn told(&self, parts: usize) {
        let before = self.parts_read.fetch_add(1, Ordering::Relaxed);
        match (before + 1) % parts.max(1) {
            0 => self.progress.wait(self.then),
            done => self.progress.gathered(done, parts),
        }
    }
}

impl ScanSource for WatchedSource<'_> {
    fn facts(&self) -> &SourceFacts {
        self.source.facts()
    }

    fn part_count(&self) -> usize {
        self.source.part_count()
    }

    fn read_points(&self, part: usize, sink: &mut dyn PointSink) -> Result<(), ScanFailure> {
        self.source.read_points(part, sink)?;
        self.told(self.source.part_count());
        Ok(())
    }

    fn is_mesh(&self) -> bool {
        self.source.is_mesh()
    }

    fn triangle_part_count(&self) -> usize {
        self.source.triangle_part_count()
    }

    fn read_triangles(&self, part: usize, sink: &mut dyn TriangleSink) -> Result<(), ScanFailure> {
        self.source.read_triangles(part, sink)?;
        self.told(self.source.triangle_part_count());
        Ok(())
    }
}

impl TraceWatch for Progress {
    fn looked(&self, look: Look, parts_done: usize, parts: usize) {
        let what = match look {
            Look::Survey => "first look",
            Look::CloseUp => "second look",
        };
        self.read(what, parts_done, parts);
    }

    fn searched(&self, done: usize, all: usize) {
        self.show("comparing edges", COUNT_BAR, done as u64, all as u64);
    }
}

impl Watch for Progress {
    fn begin(&self, stage: Stage) {
        match stage {
            Stage::Align => self.wait(PLACING),
            _ => self.bar.disable_steady_tick(),
        }
        self.begin_named(match stage {
            Stage::Align => "align",
            Stage::Gather => "gather",
            Stage::Measure => "measure",
            Stage::Judge => "judge",
        });
    }

    fn gathered(&self, parts_done: usize, parts: usize) {
        self.read("reading the scan", parts_done, parts);
    }

    fn measured(&self, stations_done: usize, stations: usize) {
        self.show("measuring stations", COUNT_BAR, stations_done as u64, stations as u64);
    }
}

//! The table of contents: calls the stages in order, in parallel over parts, seams and stations, and nothing else.
//!
//! In: a scan source, a plan and, where the plan aligns to one, a reference surface. Out: judged seams and their
//! summaries. Units: mm; frame of the results: Car.
//! Results are put together in plan order, so they do not depend on the number of threads.
//! Does not touch the disk and does not look at the clock: a [`Watch`] hears which stage begins.

use std::sync::atomic::{AtomicUsize, Ordering};

use nalgebra::Point3;
use rayon::prelude::*;
use thiserror::Error;

use crate::align::{AlignError, AlignSettings, Alignment, align, spread_out};
use crate::judge::{JudgedLineup, JudgedSeam, judge_lineup, judge_seam, lineup_with_finish, with_finish};
use crate::lineup::{LineupReading, measure_lineup};
use crate::measure::{
    MeasureSettings, SeamReadings, Smoothing, StartedSeam, allow_for_alignment, smoothing_of, start_seam,
};
use crate::plan::Plan;
use crate::scan::{
    PassedOver, PointBlock, PointSink, ScanFailure, ScanSource, Sieve, Spread, Thinner, Triangle,
    TriangleSink,
};
use crate::seam::{BandParts, Collector, Corridors, Gathered};
use crate::summarise::{ScanSummary, summarise_scan};
use crate::trace::{Evidence, Hands, TraceError, TraceSettings, TraceWatch, gather_evidence};

/// Why there are no readings at all.
#[derive(Debug, Error)]
pub enum MeasureError {
    #[error(transparent)]
    Scan(#[from] ScanFailure),
    #[error("could not put the scan on the car: {0}")]
    Align(#[from] AlignError),
    #[error(
        "no point of the scan is near any seam: the nearest of its {points_seen} points are about {nearest_mm:.0} mm \
         away; check the scan's unit in `[scan]`, and that scan and plan share a frame or `[align]` brings them together"
    )]
    NothingNear { points_seen: u64, nearest_mm: f64 },
    #[error(
        "the scan holds no usable point: all {points_not_finite} of its points are infinite or not a number; export it again"
    )]
    NothingFinite { points_not_finite: u64 },
    #[error("stopped before the end; earlier results are as they were")]
    Stopped,
}

/// The stages of a run, as `--timings` lists them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stage {
    Align,
    Gather,
    Measure,
    Judge,
}

/// Hears how far a run is; called from several threads.
pub trait Watch: Sync {
    /// A stage begins (and the one before has ended).
    fn begin(&self, _stage: Stage) {}
    /// So many of so many parts of the scan are gathered.
    fn gathered(&self, _parts_done: usize, _parts: usize) {}
    /// So many of so many stations are measured.
    fn measured(&self, _stations_done: usize, _stations: usize) {}
    /// True where the run should end early.
    fn is_stopped(&self) -> bool {
        false
    }
}

/// Nobody listens.
#[derive(Debug, Clone, Copy)]
pub struct Unwatched;

impl Watch for Unwatched {}

/// Everything that one scan gave.
#[derive(Debug, Clone)]
pub struct MeasuredScan {
    pub alignment: Alignment,
    pub smoothing: Smoothing,
    /// In plan order.
    pub seams: Vec<JudgedSeam>,
    pub summary: ScanSummary,
    /// In plan order.
    pub lineups: Vec<JudgedLineup>,
    /// Points of the scan file, and those that were left out because they are no numbers.
    pub points_seen: u64,
    pub points_not_finite: u64,
    /// A thinned copy of the whole scan for pictures, evenly spread. Car frame, mm.
    pub surface: Vec<Point3<f64>>,
}

/// Points of the thinned copy, and those from which it is spread out evenly.
const SURFACE_POINTS: usize = 60_000;
const SURFACE_CANDIDATES: usize = 600_000;

/// The main job: align, gather, measure, judge, sum up.
///
/// # Errors
/// The scan cannot be read, cannot be aligned, has nothing near any seam, or the watch stopped the run.
pub fn measure_scan(
    source: &dyn ScanSource,
    plan: &Plan,
    reference: Option<&dyn ScanSource>,
    watch: &dyn Watch,
) -> Result<MeasuredScan, MeasureError> {
    watch.begin(Stage::Align);
    let alignment = align(source, plan, reference, &AlignSettings::default())?;
    watch.begin(Stage::Gather);
    let corridors = Corridors::new(plan, alignment.car_from_scanner.inverse());
    let (gathered, candidates) = gather(source, &corridors, watch)?;
    check_gathered(&gathered)?;
    let surface = spread_out(&candidates, SURFACE_POINTS)
        .into_iter()
        .map(|index| alignment.car_from_scanner.point(&candidates[index]))
        .collect();
    watch.begin(Stage::Measure);
    let settings = MeasureSettings::for_plan(plan);
    let (mut readings, smoothing) = measure_seams(plan, &gathered, &settings, watch)?;
    for seam in &mut readings {
        allow_for_alignment(seam, |point, along| alignment.uncertainty_mm(point, along));
    }
    let lineups = lineup_readings(plan, &gathered, &readings);
    watch.begin(Stage::Judge);
    let seams: Vec<JudgedSeam> = plan
        .seams
        .iter()
        .zip(readings)
        .map(|(seam, readings)| with_finish(plan, seam, judge_seam(seam, readings, &plan.decision)))
        .collect();
    let summary = summarise_scan(plan, &seams);
    let lineups = plan
        .lineups
        .iter()
        .zip(lineups)
        .map(|(lineup, reading)| {
            lineup_with_finish(plan, lineup, judge_lineup(lineup, reading, &plan.decision))
        })
        .collect();
    if watch.is_stopped() {
        return Err(MeasureError::Stopped);
    }
    Ok(MeasuredScan {
        alignment,
        smoothing,
        seams,
        summary,
        lineups,
        points_seen: gathered.points_seen,
        points_not_finite: gathered.points_not_finite,
        surface,
    })
}

impl MeasuredScan {
    /// True (exit status 0) where every verdict on seams and on what runs across them is good.
    #[must_use]
    pub fn is_all_good(&self) -> bool {
        self.summary.is_all_good() && self.lineups.iter().all(JudgedLineup::is_all_good)
    }
}

/// What runs across the seams, in plan order.
fn lineup_readings(plan: &Plan, gathered: &Gathered, readings: &[SeamReadings]) -> Vec<LineupReading> {
    plan.lineups
        .par_iter()
        .filter_map(|lineup| {
            let place = plan.seams.iter().position(|seam| seam.id == lineup.seam)?;
            let (seam, band) = (&plan.seams[place], &gathered.bands[place]);
            Some(measure_lineup(lineup, seam, band, &readings[place], plan.scan.accuracy_mm))
        })
        .collect()
}

fn measure_seams(
    plan: &Plan,
    gathered: &Gathered,
    settings: &MeasureSettings,
    watch: &dyn Watch,
) -> Result<(Vec<SeamReadings>, Smoothing), MeasureError> {
    let stations: usize = plan.seams.iter().map(|seam| seam.stations().len()).sum();
    // Each station is looked at twice.
    let done = AtomicUsize::new(0);
    let look = |own: usize| watch.measured((own + done.fetch_add(own, Ordering::Relaxed)) / 2, stations);
    let stop = || if watch.is_stopped() { Err(MeasureError::Stopped) } else { Ok(()) };
    let started = plan
        .seams
        .par_iter()
        .zip(&gathered.bands)
        .map(|(seam, band)| {
            stop()?;
            let started = start_seam(seam, band, settings, &OnThreads);
            look(seam.stations().len());
            Ok(started)
        })
        .collect::<Result<Vec<StartedSeam<'_>>, MeasureError>>()?;
    let smoothing = smoothing_of(&started, settings, &OnThreads);
    let readings = started
        .into_par_iter()
        .map(|seam| {
            stop()?;
            let readings = seam.finish(smoothing);
            look(readings.stations.len());
            Ok(readings)
        })
        .collect::<Result<_, MeasureError>>()?;
    Ok((readings, smoothing))
}

/// Looks at a scan for seams, its parts on all threads; what is seen does not depend on how many.
///
/// # Errors
/// As [`gather_evidence`].
pub fn gather_evidence_on_threads(
    source: &dyn ScanSource,
    settings: &TraceSettings,
    watch: &dyn TraceWatch,
) -> Result<Evidence, TraceError> {
    gather_evidence(source, settings, &Hands { spread: &OnThreads, watch })
}

/// Pieces of work on all threads.
struct OnThreads;

impl Spread for OnThreads {
    fn each(&self, count: usize, work: &(dyn Fn(usize) + Sync)) {
        (0..count).into_par_iter().for_each(work);
    }
}

/// One part of a scan: what lies near the seams, and a few points of all of it.
struct Both<'a> {
    near: Collector<'a>,
    thinned: Thinner,
    /// True once the source keeps points back and names examples of all of them instead.
    has_examples: bool,
}

impl PointSink for Both<'_> {
    fn take(&mut self, block: &PointBlock<'_>) {
        PointSink::take(&mut self.near, block);
        if !self.has_examples {
            PointSink::take(&mut self.thinned, block);
        }
    }

    fn sieve(&self) -> Option<&Sieve> {
        self.near.sieve()
    }

    fn wants_normals(&self) -> bool {
        self.near.wants_normals()
    }

    fn pass_over(&mut self, run: &PassedOver<'_>) {
        self.has_examples = true;
        self.near.pass_over(run);
        run.examples.iter().for_each(|point| self.thinned.offer_point(point));
    }
}

impl TriangleSink for Both<'_> {
    fn take(&mut self, triangles: &[Triangle]) {
        TriangleSink::take(&mut self.near, triangles);
        TriangleSink::take(&mut self.thinned, triangles);
    }
}

/// One streaming pass over the scan: what lies near the seams, and the thinned copy's candidates.
fn gather(
    source: &dyn ScanSource,
    corridors: &Corridors,
    watch: &dyn Watch,
) -> Result<(Gathered, Vec<Point3<f64>>), MeasureError> {
    let is_mesh = source.is_mesh();
    let parts = if is_mesh { source.triangle_part_count() } else { source.part_count() };
    let done = AtomicUsize::new(0);
    let limit = (SURFACE_CANDIDATES / parts.max(1)).max(2000);
    let collected = (0..parts)
        .into_par_iter()
        .map(|part| {
            if watch.is_stopped() {
                return Err(MeasureError::Stopped);
            }
            let near = corridors.collector();
            let mut both = Both { near, thinned: Thinner::new(limit), has_examples: false };
            if is_mesh {
                source.read_triangles(part, &mut both)?;
            } else {
                source.read_points(part, &mut both)?;
            }
            watch.gathered(1 + done.fetch_add(1, Ordering::Relaxed), parts);
            Ok((both.near, both.thinned))
        })
        .collect::<Result<Vec<_>, MeasureError>>()?;
    let (near, thinned) = collected.into_iter().unzip();
    let (parts, counted) = corridors.by_seam(near);
    let gathered = Gathered { bands: parts.into_par_iter().map(BandParts::into_band).collect(), ..counted };
    Ok((gathered, Thinner::join(thinned, SURFACE_CANDIDATES)))
}

fn check_gathered(gathered: &Gathered) -> Result<(), MeasureError> {
    if gathered.points_seen > 0 && gathered.points_not_finite == gathered.points_seen {
        return Err(MeasureError::NothingFinite { points_not_finite: gathered.points_not_finite });
    }
    match gathered.nearest_mm {
        Some(nearest_mm) => Err(MeasureError::NothingNear { points_seen: gathered.points_seen, nearest_mm }),
        None => Ok(()),
    }
}

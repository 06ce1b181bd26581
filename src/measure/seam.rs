//! Measures seams: the only way in.
//!
//! In: a seam of the plan, its band, settings. Out: [`SeamReadings`], one per station of the plan, in order. Units: mm.
//! Method: rough edges at nodes, a centre line through mid-gap, the seam laid out along it; all stations fitted on their own
//! ([`start_seam`]); from the hems of all seams that were started, what the scanner smoothed ([`smoothing_of`]); then, with that and the
//! band, hem radius and curvature that neighbours agree on, fitted again; then the cubic that the whole seam's surfaces share, and
//! the uncertainty budget ([`StartedSeam::finish`]).
//! Pure: the same input gives the same output, whatever the order of the scan's points.

use super::centre_line::{CentreLine, lay_centre_line};
use super::hem_form::passed_arcs_mm;
use super::local_band::{LocalBand, TileLimits, left_in_flush_mm, local_bands};
use super::locate::{Node, locate_nodes};
use super::outward::find_outward;
use super::reading::{Reason, SeamReadings, StationReading, Warning};
use super::report::{Context, report_stations, unmeasured};
use super::settings::MeasureSettings;
use super::shared::{Shared, shared_curvature, shared_radius};
use super::smoothing::{Smoothing, estimate_smoothing};
use super::station::{Fitted, RADIUS_UNKNOWN_MM, SideKnowledge, fit_station};
use super::surface_form::with_shared_form;
use super::window::{choose_band_mm, is_joined};
use crate::geometry::median_in_place;
use crate::plan::{Seam, Side};
use crate::scan::{InOrder, Spread, gather};
use crate::seam::SeamBand;
use crate::section::{CELL_ACROSS_MM, CELL_ALONG_MM, CellGrid, FlatSeam, Track};

/// Band of the first fit, before the longest smooth one is known, mm.
const FIRST_BAND_MM: f64 = 15.0;
/// Band where not even the shortest one tried is smooth, mm.
const SHORTEST_BAND_MM: f64 = 6.0;
/// Below this mean count of the cells that have points, the empty ones must be reckoned with.
const SPARSE_BELOW: f64 = 4.0;
/// Spacing where there are too few points to tell, mm.
const SPACING_UNKNOWN_MM: f64 = 0.8;
/// How well a hem radius given in the plan is known: pressed hems keep theirs to a few per cent (common practice, no source).
const PLAN_RADIUS_SHARE: f64 = 0.03;

/// Measures all stations of a seam that is alone in its scan.
#[must_use]
pub fn measure_seam(seam: &Seam, band: &SeamBand, settings: &MeasureSettings) -> SeamReadings {
    let started = start_seam(seam, band, settings, &InOrder);
    let smoothing = smoothing_of(std::slice::from_ref(&started), settings, &InOrder);
    started.finish(smoothing)
}

/// A seam whose hems were looked at; what is left needs to know what the scanner smoothed.
pub struct StartedSeam<'a> {
    seam: &'a Seam,
    is_outward_assumed: bool,
    readings: SeamReadings,
    /// What was laid out, with its first fits; none where no station can be measured.
    run: Option<(Run<'a>, Vec<Fitted>)>,
}

/// Finds a seam in its band and fits its stations for the first time. Work on stations is handed to `spread`; what comes out is
/// the same.
#[must_use]
pub fn start_seam<'a>(
    seam: &'a Seam,
    band: &SeamBand,
    settings: &'a MeasureSettings,
    spread: &'a dyn Spread,
) -> StartedSeam<'a> {
    let oriented = if seam.curve.has_given_normals() { None } else { find_outward(band, &seam.curve) };
    let curve = oriented.as_ref().unwrap_or(&seam.curve);
    let plan_flat = FlatSeam::along_plan(band, curve);
    let nodes = locate_nodes(&plan_flat, largest_nominal_mm(seam), spread);
    let mut readings = SeamReadings {
        seam: seam.id.clone(),
        stations: Vec::new(),
        points_used: band.points_in_corridor,
        spacing_mm: spacing_mm(&plan_flat.cells, band.thinning),
    };
    let run = match lay_centre_line(&nodes, &plan_flat.track, seam.datum_side) {
        Some(line) => Some(lay_out((seam, band), line, nodes, settings, spread)),
        None => {
            let reason_at = |along_mm: f64| reason_near(&nodes, along_mm);
            readings.stations = seam
                .stations()
                .iter()
                .map(|station| unmeasured(curve, &plan_flat, station, reason_at(station.along_mm)))
                .collect();
            None
        }
    };
    StartedSeam { seam, is_outward_assumed: !seam.curve.has_given_normals(), readings, run }
}

/// What the scanner smoothed: as the plan states it, or as the hems of all seams show it together. One scan has one smoothing, and a
/// short seam alone hardly shows it.
#[must_use]
pub fn smoothing_of(
    started: &[StartedSeam<'_>],
    settings: &MeasureSettings,
    spread: &dyn Spread,
) -> Smoothing {
    match settings.smoothing_mm {
        Some(stated_mm) => Smoothing::stated(stated_mm),
        None => {
            let laid_out = started.iter().filter_map(|seam| seam.run.as_ref());
            let hems: Vec<_> = laid_out.map(|(run, sharp)| (&run.flat, sharp.as_slice())).collect();
            estimate_smoothing(&hems, settings, spread)
        }
    }
}

impl StartedSeam<'_> {
    /// The plan's seam.
    #[must_use]
    pub fn seam(&self) -> &Seam {
        self.seam
    }

    /// Measures what was started.
    #[must_use]
    pub fn finish(self, smoothing: Smoothing) -> SeamReadings {
        let mut readings = self.readings;
        if let Some((run, sharp)) = self.run {
            readings.stations = measure_along(Run { smoothing, ..run }, sharp);
        }
        if self.is_outward_assumed {
            for reading in &mut readings.stations {
                reading.warnings.push(Warning::OutwardSideAssumed);
            }
        }
        readings
    }
}

/// A seam laid out along its centre line, with what does not change from fit to fit.
struct Run<'a> {
    seam: &'a Seam,
    flat: FlatSeam,
    line: CentreLine,
    nodes: Vec<Node>,
    datum: usize,
    settings: &'a MeasureSettings,
    spread: &'a dyn Spread,
    spacing_mm: f64,
    smoothing: Smoothing,
    /// Distances of the stations along the centre line, mm.
    places: Vec<f64>,
}

/// Stations as they are read, with what their surfaces leave open in the flush.
struct Settled {
    fitted: Vec<Fitted>,
    form_u_mm: Vec<f64>,
    local: Vec<LocalBand>,
    local_u_mm: Vec<f64>,
}

/// The widest gap that the plan wants anywhere along a seam, mm.
fn largest_nominal_mm(seam: &Seam) -> f64 {
    let zones = seam.zones.iter().filter_map(|zone| Some(zone.gap?.nominal_mm));
    zones.fold(seam.gap.tolerance.nominal_mm, f64::max)
}

/// Lays the seam out along its centre line and fits each station on its own.
fn lay_out<'a>(
    (seam, band): (&'a Seam, &SeamBand),
    line: CentreLine,
    nodes: Vec<Node>,
    settings: &'a MeasureSettings,
    spread: &'a dyn Spread,
) -> (Run<'a>, Vec<Fitted>) {
    let station_place = |station| line.curve.nearest(&seam.station_point(station)).along_mm;
    let flat = FlatSeam::new(band, Track::of(&line.curve), |along_mm| line.line_s_mm(along_mm));
    let run = Run {
        seam,
        spacing_mm: spacing_mm(&flat.cells, 0).unwrap_or(SPACING_UNKNOWN_MM),
        flat,
        nodes,
        datum: usize::from(seam.datum_side == Side::Right),
        settings,
        spread,
        smoothing: Smoothing::stated(0.0),
        places: seam.stations().iter().map(station_place).collect(),
        line,
    };
    let sharp = run.fit_all(|s_mm, side| run.first_knowledge(s_mm, side));
    // A hem is told from the same surface as all else: beyond a feature line lies another one.
    let rough_mm = run.bands_mm(&sharp, FIRST_BAND_MM);
    let sharp = run.fitted_before_lines(sharp, rough_mm);
    (run, sharp)
}

fn measure_along(run: Run<'_>, sharp: Vec<Fitted>) -> Vec<StationReading> {
    let (settings, spread) = (run.settings, run.spread);
    // Without smoothing a second fit would be the first over again.
    let is_sharp = run.smoothing.width_mm() <= 0.0;
    let alone = if is_sharp { sharp } else { run.fit_all(|s_mm, side| run.first_knowledge(s_mm, side)) };
    let bands_mm = run.bands_mm(&alone, settings.set_back_mm);
    let alone = run.fitted_before_lines(alone, bands_mm);
    let banded = run.fit_all(|s_mm, side| {
        let first = run.first_knowledge(s_mm, side);
        let radius_mm = run.radius(&alone, side, s_mm).map(|shared| shared.value);
        SideKnowledge { radius_mm, window_mm: bands_mm[side].unwrap_or(SHORTEST_BAND_MM), ..first }
    });
    let settled = run.settle(|s_mm, side| SideKnowledge {
        radius_mm: run.radius(&alone, side, s_mm).map(|shared| shared.value),
        curvature: shared_curvature(&banded, side, s_mm),
        window_mm: bands_mm[side].unwrap_or(SHORTEST_BAND_MM),
        ..run.first_knowledge(s_mm, side)
    });
    let is_joined = |side: usize| is_joined(&run.flat, &settled.fitted, side, settings);
    let bands_mm = [0, 1].map(|side: usize| bands_mm[side].filter(|_| is_joined(side)));
    let radii = run.places.iter().map(|s_mm| [0, 1].map(|side| run.radius(&alone, side, *s_mm))).collect();
    let hem_form_mm = passed_arcs_mm(&run.flat, &settled.fitted, settings, run.smoothing.width_mm(), spread);
    let context = Context {
        seam: run.seam,
        flat: &run.flat,
        datum: run.datum,
        settings,
        nodes: &run.nodes,
        bands_mm,
        local: settled.local,
        local_u_mm: settled.local_u_mm,
        radii,
        form_u_mm: settled.form_u_mm,
        hem_form_mm,
        usual_fill: [0, 1].map(|side| usual_fill(&settled.fitted, side)),
        smoothing: run.smoothing,
        spacing_mm: run.spacing_mm,
    };
    report_stations(&context, &settled.fitted)
}

impl Run<'_> {
    fn fit_all(&self, knowledge: impl Fn(f64, usize) -> SideKnowledge + Sync) -> Vec<Fitted> {
        gather(self.spread, self.places.len(), |index| {
            let s_mm = self.places[index];
            let known = [0, 1].map(|side| knowledge(s_mm, side));
            fit_station(&self.flat, s_mm, self.datum, &known, self.settings)
        })
    }

    /// How far both sides' surfaces are smooth, up to a length, mm.
    fn bands_mm(&self, fitted: &[Fitted], longest_mm: f64) -> [Option<f64>; 2] {
        let of_side = |side: usize| choose_band_mm(&self.flat, fitted, side, longest_mm, self.settings);
        let bands_mm: Vec<Option<f64>> = gather(self.spread, 2, of_side);
        [bands_mm[0], bands_mm[1]]
    }

    /// The stations fitted again, their radii still free, where a surface is shorter than what they were fitted with.
    fn fitted_before_lines(&self, fitted: Vec<Fitted>, bands_mm: [Option<f64>; 2]) -> Vec<Fitted> {
        let bands_mm = bands_mm.map(|band_mm| band_mm.unwrap_or(SHORTEST_BAND_MM));
        if bands_mm.iter().all(|band_mm| *band_mm >= FIRST_BAND_MM) {
            return fitted;
        }
        self.fit_all(|s_mm, side| {
            let rough_mm = shared_radius(&fitted, side, s_mm).map_or(f64::INFINITY, |shared| shared.value);
            let first = self.first_knowledge(s_mm, side);
            SideKnowledge {
                window_mm: bands_mm[side].min(FIRST_BAND_MM),
                // The band that was chosen begins there, and must not reach further in than it did.
                largest_radius_mm: rough_mm.min(first.largest_radius_mm),
                ..first
            }
        })
    }

    /// The last fits with what neighbours agree on; then shorter bands where a panel is uneven, and the cubic of the whole seam.
    fn settle(&self, knowledge: impl Fn(f64, usize) -> SideKnowledge + Sync) -> Settled {
        let (flat, settings, spread) = (&self.flat, self.settings, self.spread);
        let mut fitted = self.fit_all(&knowledge);
        let limits = TileLimits::of(flat, &fitted, settings, spread);
        let local = local_bands(flat, &fitted, &limits, settings, spread);
        self.fit_shortened(&mut fitted, &local, &knowledge);
        let formed =
            with_shared_form(flat, fitted, (self.datum, self.seam.station_spacing_mm), settings, spread);
        let local_u_mm = gather(spread, formed.fitted.len(), |index| {
            left_in_flush_mm(flat, &formed.fitted[index], &limits, settings)
        });
        Settled { fitted: formed.fitted, form_u_mm: formed.flush_u_mm, local, local_u_mm }
    }

    /// Fits the stations again whose bands are shorter than the seam's.
    fn fit_shortened(
        &self,
        fitted: &mut [Fitted],
        local: &[LocalBand],
        knowledge: impl Fn(f64, usize) -> SideKnowledge + Sync,
    ) {
        let shortened: Vec<usize> =
            (0..local.len()).filter(|index| local[*index].bands_mm != [None, None]).collect();
        let again = gather(self.spread, shortened.len(), |place| {
            let index = shortened[place];
            let s_mm = self.places[index];
            let known = [0, 1].map(|side| {
                let usual = knowledge(s_mm, side);
                SideKnowledge { window_mm: local[index].bands_mm[side].unwrap_or(usual.window_mm), ..usual }
            });
            fit_station(&self.flat, s_mm, self.datum, &known, self.settings)
        });
        for (index, station) in shortened.into_iter().zip(again) {
            fitted[index] = station;
        }
    }

    fn first_knowledge(&self, s_mm: f64, side: usize) -> SideKnowledge {
        SideKnowledge {
            edge_mm: self.line.half_gap_mm(s_mm),
            radius_mm: None,
            largest_radius_mm: self.plan_radius_mm(side).map_or(RADIUS_UNKNOWN_MM, largest_radius_mm),
            curvature: None,
            window_mm: FIRST_BAND_MM,
            smoothing_mm: self.smoothing.width_mm(),
            spacing_mm: self.spacing_mm,
        }
    }

    fn plan_radius_mm(&self, side: usize) -> Option<f64> {
        self.seam.hem_radius_mm[usize::from(side != self.datum)]
    }

    /// The hem radius of a side: the plan's, or else what the neighbours saw.
    fn radius(&self, alone: &[Fitted], side: usize, s_mm: f64) -> Option<Shared> {
        match self.plan_radius_mm(side) {
            Some(value) => {
                Some(Shared { value, u: PLAN_RADIUS_SHARE * value, degrees_of_freedom: f64::INFINITY })
            }
            None => shared_radius(alone, side, s_mm),
        }
    }
}

/// The largest that a hem may be whose radius the plan gives, mm.
fn largest_radius_mm(plan_mm: f64) -> f64 {
    ((1.0 + 3.0 * PLAN_RADIUS_SHARE) * plan_mm).max(RADIUS_UNKNOWN_MM)
}

/// The middle station's share of a side's band that has points.
fn usual_fill(fitted: &[Fitted], side: usize) -> f64 {
    let mut filled: Vec<f64> =
        fitted.iter().filter_map(|station| Some(station.sides[side].as_ref()?.filled)).collect();
    median_in_place(&mut filled).unwrap_or(0.0)
}

/// Why nothing was found near a place: what the nearest node says.
pub(super) fn reason_near(nodes: &[Node], along_mm: f64) -> Reason {
    nodes
        .iter()
        .min_by(|left, right| (left.s_mm - along_mm).abs().total_cmp(&(right.s_mm - along_mm).abs()))
        .and_then(|node| node.finding.err())
        .unwrap_or(Reason::EdgeNotSeen)
}

/// Distance between neighbouring points on the surface, from the count of full cells.
fn spacing_mm(cells: &CellGrid, thinning: u32) -> Option<f64> {
    let mut counts: Vec<f64> = cells.all().iter().map(|cell| f64::from(cell.count)).collect();
    let mean = counts.iter().sum::<f64>() / counts.len().max(1) as f64;
    let median = median_in_place(&mut counts)?;
    let typical = if mean < SPARSE_BELOW { mean_with_empty_cells(mean) } else { median };
    Some((CELL_ALONG_MM * CELL_ACROSS_MM / (typical * 2.0_f64.powi(thinning as i32))).sqrt())
}

/// The mean count of all cells from the mean count `m` of those that are not empty, for points strewn at random:
/// `m = λ / (1 - exp(-λ))` (the zero-truncated Poisson distribution), by Newton's method.
fn mean_with_empty_cells(mean_of_full: f64) -> f64 {
    let mut mean = (2.0 * (mean_of_full - 1.0)).max(0.02);
    for _ in 0..30 {
        let empty = (-mean).exp();
        let (value, slope) =
            (mean / (1.0 - empty) - mean_of_full, (1.0 - empty - mean * empty) / (1.0 - empty).powi(2));
        mean = (mean - value / slope).max(0.01);
    }
    mean
}

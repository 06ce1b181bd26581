//! The change of gap and flush at the stations of one seam, with its own uncertainty.
//!
//! In: one seam in both scans. Out: a [`SeamChange`], not yet decided. Units: mm.
//! Method: after − before; of a source that cancels, u² = |u²(after) − u²(before)|, of any other the sum of squares. What each scan
//! told by itself, with an error of its own (a type A evaluation, JCGM 100:2008, 4.2), does not cancel between scans.
//! Does not decide what is real: see `change_verdict`.

use nalgebra::Point3;

use super::change_verdict::{ChangeVerdict, Trend};
use super::{CompareSettings, ComparisonKind};
use crate::geometry::CurveFrame;
use crate::judge::{JudgedReading, JudgedSeam, Measurand};
use crate::measure::{Component, Estimate, UncertaintySource};
use crate::plan::{JudgedState, Seam, SeamId, Side, Tolerance};
use crate::summarise::measurand_summary::mean_of;

/// One station's change of gap or flush.
#[derive(Debug, Clone, PartialEq)]
pub struct StationChange {
    pub station_index: usize,
    pub along_mm: f64,
    pub before: Option<Estimate>,
    pub after: Option<Estimate>,
    /// After − before; `None` where one of the two is unseen.
    pub change: Option<Estimate>,
    pub tolerance: Tolerance,
    pub verdict: ChangeVerdict,
    pub trend: Trend,
    /// Where a move of the datum panel and of the other panel acts on this reading. Car frame, mm.
    pub(super) datum_point: Point3<f64>,
    pub(super) other_point: Point3<f64>,
    /// The section's frame, before.
    pub(super) frame: CurveFrame,
}

/// One measurand along a seam.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasurandChange {
    pub measurand: Measurand,
    /// Stations in both scans, in order.
    pub stations: Vec<StationChange>,
    /// Mean change over the stations seen in both, with what is common to the seam kept whole.
    pub mean: Option<Estimate>,
    pub verdict: ChangeVerdict,
    /// Stations whose change is real and brings the value nearer to tolerance, or further into it.
    pub better_count: usize,
    pub worse_count: usize,
}

/// Everything that changed in a seam.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamChange {
    pub seam: SeamId,
    pub gap: MeasurandChange,
    pub flush: MeasurandChange,
}

impl SeamChange {
    /// The changes of one measurand.
    #[must_use]
    pub const fn measurand(&self, measurand: Measurand) -> &MeasurandChange {
        match measurand {
            Measurand::Gap => &self.gap,
            Measurand::Flush => &self.flush,
        }
    }
}

/// Subtracts two scans of a seam, station by station.
pub(super) fn seam_change(
    seam: &Seam,
    [before, after]: [&JudgedSeam; 2],
    kind: ComparisonKind,
    settings: &CompareSettings,
) -> SeamChange {
    let terms = Terms { cancelling: &settings.cancelling, kind };
    let change = |measurand| measurand_change(seam, [before, after], measurand, &terms);
    SeamChange { seam: seam.id.clone(), gap: change(Measurand::Gap), flush: change(Measurand::Flush) }
}

fn measurand_change(
    seam: &Seam,
    [before, after]: [&JudgedSeam; 2],
    measurand: Measurand,
    terms: &Terms<'_>,
) -> MeasurandChange {
    let stations: Vec<StationChange> = before
        .stations
        .iter()
        .filter_map(|first| {
            let index = first.reading.station.index;
            let second = after.stations.iter().find(|second| second.reading.station.index == index)?;
            Some(station_change(seam, [first, second], measurand, terms))
        })
        .collect();
    let seen: Vec<&Estimate> = stations.iter().filter_map(|station| station.change.as_ref()).collect();
    MeasurandChange {
        measurand,
        mean: mean_of(&seen),
        stations,
        verdict: ChangeVerdict::Unseen,
        better_count: 0,
        worse_count: 0,
    }
}

fn station_change(
    seam: &Seam,
    [first, second]: [&JudgedReading; 2],
    measurand: Measurand,
    terms: &Terms<'_>,
) -> StationChange {
    // Film still to come is the same for both scans, so what was scanned is compared.
    let scanned =
        |reading: &JudgedReading| reading.value_in(JudgedState::AsScanned, measurand).measured.ok().cloned();
    let (before, after) = (scanned(first), scanned(second));
    let change = before
        .as_ref()
        .zip(after.as_ref())
        .map(|(before, after)| difference([before, after], measurand, terms));
    let [datum_point, other_point] = acting_points(seam, first, measurand);
    StationChange {
        station_index: first.reading.station.index,
        along_mm: first.reading.station.along_mm,
        before,
        after,
        change,
        tolerance: first.value(measurand).tolerance,
        verdict: ChangeVerdict::Unseen,
        trend: Trend::Same,
        datum_point,
        other_point,
        frame: first.reading.frame,
    }
}

/// The edge points for a gap, mid-gap for a flush.
pub(crate) fn acting_points(seam: &Seam, reading: &JudgedReading, measurand: Measurand) -> [Point3<f64>; 2] {
    let frame = &reading.reading.frame;
    if measurand == Measurand::Flush {
        return [frame.origin; 2];
    }
    let half_mm = reading
        .value_in(JudgedState::AsScanned, Measurand::Gap)
        .measured
        .map_or(0.0, |gap| gap.value_mm / 2.0);
    let towards_other = datum_to_other(seam.datum_side, frame);
    let [datum, other] = &reading.reading.edges;
    [
        datum.map_or(frame.origin - towards_other * half_mm, |edge| edge.point),
        other.map_or(frame.origin + towards_other * half_mm, |edge| edge.point),
    ]
}

/// Unit vector across the seam, from the datum panel to the other one.
pub(crate) fn datum_to_other(datum_side: Side, frame: &CurveFrame) -> nalgebra::Vector3<f64> {
    match datum_side {
        Side::Left => frame.across(),
        Side::Right => -frame.across(),
    }
}

/// What two readings that are subtracted have in common.
struct Terms<'a> {
    cancelling: &'a [UncertaintySource],
    kind: ComparisonKind,
}

impl Terms<'_> {
    /// True where a source's part of both readings is one and the same error.
    fn is_common(&self, source: UncertaintySource, measurand: Measurand, parts: &[&[Component]; 2]) -> bool {
        let is_told_by_scan =
            || parts.iter().copied().flatten().any(|component| component.degrees_of_freedom.is_finite());
        let is_own = match source {
            // What is left open of the surfaces' form is decided by each scan's own noise.
            UncertaintySource::Model => measurand == Measurand::Flush,
            // One figure for the whole of a scan.
            UncertaintySource::Smoothing => self.kind == ComparisonKind::BeforeAfter && is_told_by_scan(),
            _ => false,
        };
        self.cancelling.contains(&source) && !is_own
    }
}

fn difference([before, after]: [&Estimate; 2], measurand: Measurand, terms: &Terms<'_>) -> Estimate {
    let mut components = Vec::new();
    for source in UncertaintySource::ALL {
        let of = |estimate: &Estimate| -> Vec<Component> {
            estimate.components.iter().filter(|component| component.source == source).copied().collect()
        };
        let (first, second) = (of(before), of(after));
        if terms.is_common(source, measurand, &[&first, &second]) {
            let variance = |parts: &[Component]| parts.iter().map(|part| part.u_mm.powi(2)).sum::<f64>();
            let u_mm = (variance(&second) - variance(&first)).abs().sqrt();
            components.push(Component { source, u_mm, degrees_of_freedom: f64::INFINITY });
        } else {
            components.extend(first);
            components.extend(second);
        }
    }
    components.retain(|component| component.u_mm > 0.0);
    Estimate::from_components(after.value_mm - before.value_mm, components)
}

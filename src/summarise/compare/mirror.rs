//! Left against right: the seams of one side of a car compared with their mirror images on the other side.
//!
//! In: the plan and one scan's judged seams. Out: a [`MirroredScan`], whose [`Comparison`] is right − left at the stations
//! of the left. Units: mm; frame: Car.
//! Method: each station of the left is mirrored in the car's middle plane, and the right seam's readings are interpolated
//! linearly at the foot of that point. Interpolated uncertainties add linearly (JCGM 100:2008, 5.2.2, note 1: fully
//! correlated), so they are never too small. Where the plan measures flush from opposite panels on the two sides, the
//! right's flush changes its sign. What cancels and what is real is decided as for two scans, see `changes` and
//! `change_verdict`. Does not look for panel moves: what differs between two sides is not one panel's move.

use thiserror::Error;

use super::change_verdict::decide;
use super::changes::{datum_to_other, seam_change};
use super::mirror_lineups::{MirroredLineups, mirrored_lineups};
use super::mirror_pairs::pairs_of;
use super::mirror_plane::MirrorPlane;
use super::tapers::taper_changes;
use super::{CompareSettings, Comparison, ComparisonKind};
use crate::geometry::Curve;
use crate::judge::{JudgedReading, JudgedSeam, judge_reading};
use crate::measure::{Component, Estimate, Profile, Reason, StationReading, UncertaintySource};
use crate::plan::{Plan, Seam, SeamId, Station, Tolerance};

/// A mirrored station further from the other side's curve than this has no counterpart, mm: cars are not that uneven.
const FURTHEST_MM: f64 = 30.0;

/// Why two sides could not be compared.
#[derive(Debug, Error, Clone, PartialEq)]
pub enum MirrorError {
    #[error(
        "no two seams are each other's mirror image; name them alike with left and right, as in hood-fender-left and \
         hood-fender-right, or list them under [car] as pairs = [[\"left-one\", \"right-one\"]]"
    )]
    NoPairs,
    #[error("could not fit the car's middle plane to the paired seams; state it in the plan under [car]")]
    NoPlane,
    #[error(
        "seam {left} should lie on the car's left and {right} on its right, and they do not; check `forward` and \
         `middle` under [car], and the order of `pairs`"
    )]
    SidesSwapped { left: SeamId, right: SeamId },
    #[error(
        "seam {left} mirrored in the car's middle plane comes nowhere within {FURTHEST_MM} mm of {right}; check the \
         pair, and `middle` under [car]"
    )]
    NotMirrored { left: SeamId, right: SeamId },
    #[error("no station is seen on both sides")]
    NothingInCommon,
}

/// Left against right, with what is needed to draw it.
#[derive(Debug, Clone, PartialEq)]
pub struct MirroredScan {
    pub comparison: Comparison,
    /// The plan with the left seams of the pairs only, each titled with both.
    pub plan: Plan,
    /// The left seams, and the right ones as read at the left's stations.
    pub sides: [Vec<JudgedSeam>; 2],
    pub plane: MirrorPlane,
    pub pairs: Vec<[SeamId; 2]>,
    /// What runs across seams on both sides, left first.
    pub lineups: Vec<MirroredLineups>,
    /// Seams without a partner.
    pub alone: Vec<SeamId>,
}

/// Compares the left seams of a scan with the right ones.
///
/// # Errors
/// There are no pairs, no plane, pairs that do not mirror, or nothing that is seen on both sides.
pub fn compare_mirrored(
    plan: &Plan,
    scan: &[JudgedSeam],
    settings: &CompareSettings,
) -> Result<MirroredScan, MirrorError> {
    let (pairs, alone) = pairs_of(plan);
    if pairs.is_empty() {
        return Err(MirrorError::NoPairs);
    }
    let curves: Vec<[&Curve; 2]> = pairs.iter().map(|pair| pair.map(|seam| &seam.curve)).collect();
    let plane = MirrorPlane::of(plan.car.as_ref(), &curves).ok_or(MirrorError::NoPlane)?;
    let mut mirrored = MirroredScan {
        comparison: empty(settings),
        plan: Plan { seams: Vec::new(), ..plan.clone() },
        sides: [Vec::new(), Vec::new()],
        pairs: pairs.iter().map(|pair| pair.map(|seam| seam.id.clone())).collect(),
        lineups: mirrored_lineups(plan, &plane),
        plane,
        alone,
    };
    for pair in pairs {
        mirrored.add(plan, pair, scan, settings)?;
    }
    let seams = &mut mirrored.comparison.seams;
    if seams.iter().all(|seam| seam.gap.mean.is_none() && seam.flush.mean.is_none()) {
        return Err(MirrorError::NothingInCommon);
    }
    decide(seams, settings);
    let sides = [mirrored.sides[0].as_slice(), mirrored.sides[1].as_slice()];
    mirrored.comparison.tapers = taper_changes(&mirrored.plan, sides);
    Ok(mirrored)
}

fn empty(settings: &CompareSettings) -> Comparison {
    Comparison {
        kind: ComparisonKind::LeftRight,
        seams: Vec::new(),
        moves: Vec::new(),
        tapers: Vec::new(),
        leftovers: Vec::new(),
        cancelled: settings.cancelling.clone(),
        missing_seams: Vec::new(),
    }
}

impl MirroredScan {
    fn add(
        &mut self,
        plan: &Plan,
        [left, right]: [&Seam; 2],
        scan: &[JudgedSeam],
        settings: &CompareSettings,
    ) -> Result<(), MirrorError> {
        let middle = |seam: &Seam| seam.curve.frame_at(seam.curve.length_mm() / 2.0).origin;
        let ids = || (left.id.clone(), right.id.clone());
        let is_left_of = self.plane.left_of_mm(&middle(left)) > self.plane.left_of_mm(&middle(right));
        let is_car_left =
            plan.axes().is_none_or(|axes| axes.left().dot(&(middle(left) - middle(right))) > 0.0);
        if !is_left_of || !is_car_left {
            let (left, right) = ids();
            return Err(MirrorError::SidesSwapped { left, right });
        }
        let places = places(&self.plane, [left, right]);
        if places.iter().all(|(_, along_mm)| along_mm.is_none()) {
            let (left, right) = ids();
            return Err(MirrorError::NotMirrored { left, right });
        }
        let find = |id: &SeamId| scan.iter().find(|judged| judged.seam == *id);
        let (Some(first), Some(second)) = (find(&left.id), find(&right.id)) else {
            self.comparison.missing_seams.push(left.id.clone());
            return Ok(());
        };
        let is_opposite = has_opposite_datum(&self.plane, [left, right]);
        let second = resampled(plan, [left, right], &places, second, is_opposite);
        self.comparison.seams.push(seam_change(left, [first, &second], ComparisonKind::LeftRight, settings));
        self.sides[0].push(first.clone());
        self.sides[1].push(second);
        self.plan.seams.push(Seam { title: format!("{} ↔ {}", left.title, right.title), ..left.clone() });
        Ok(())
    }
}

/// The left's stations, and where along the right seam each one's mirror image lies.
fn places(plane: &MirrorPlane, [left, right]: [&Seam; 2]) -> Vec<(Station, Option<f64>)> {
    left.stations()
        .into_iter()
        .map(|station| {
            let foot = right.curve.nearest(&plane.mirrored(&left.station_point(&station)));
            (station, (foot.distance_mm <= FURTHEST_MM).then_some(foot.along_mm))
        })
        .collect()
}

/// True where the right's datum panel mirrors the left's other panel.
fn has_opposite_datum(plane: &MirrorPlane, [left, right]: [&Seam; 2]) -> bool {
    let frame = left.curve.frame_at(left.curve.length_mm() / 2.0);
    let foot = right.curve.nearest(&plane.mirrored(&frame.origin));
    let image = plane.mirrored_direction(&datum_to_other(left.datum_side, &frame));
    image.dot(&datum_to_other(right.datum_side, &right.curve.frame_at(foot.along_mm))) < 0.0
}

/// The right seam as if it had been measured at the mirrored stations of the left.
fn resampled(
    plan: &Plan,
    [left, right]: [&Seam; 2],
    places: &[(Station, Option<f64>)],
    judged: &JudgedSeam,
    is_opposite: bool,
) -> JudgedSeam {
    let stations = places
        .iter()
        .filter_map(|(station, along_mm)| {
            let along_mm = (*along_mm)?;
            let [gap, flush] = readings_at(&judged.stations, along_mm, right.station_spacing_mm)?;
            let flush = if is_opposite { flush.map(negated) } else { flush };
            let reading = StationReading {
                station: *station,
                point: left.station_point(station),
                frame: left.station_frame(station),
                gap,
                flush,
                edges: [None, None],
                warnings: Vec::new(),
                profile: Profile::default(),
            };
            let flush_tolerance = right.flush_tolerance_at(along_mm);
            let flush_tolerance = if is_opposite { turned(&flush_tolerance) } else { flush_tolerance };
            let tolerances = [right.gap_tolerance_at(along_mm), flush_tolerance];
            Some(judge_reading(reading, tolerances, &plan.decision))
        })
        .collect();
    JudgedSeam {
        seam: left.id.clone(),
        stations,
        points_used: judged.points_used,
        spacing_mm: judged.spacing_mm,
    }
}

type Measured = Result<Estimate, Reason>;

/// Gap and flush at a distance along, between the two stations beside it; `None` beyond the first and last station.
fn readings_at(stations: &[JudgedReading], along_mm: f64, spacing_mm: f64) -> Option<[Measured; 2]> {
    let upper = stations.partition_point(|station| station.reading.station.along_mm < along_mm);
    let lower = &stations.get(upper.saturating_sub(1))?.reading;
    let upper = &stations.get(upper.min(stations.len().saturating_sub(1)))?.reading;
    let (from_mm, to_mm) = (lower.station.along_mm, upper.station.along_mm);
    if along_mm < from_mm - spacing_mm / 2.0 || along_mm > to_mm + spacing_mm / 2.0 {
        return None;
    }
    let share =
        if to_mm > from_mm { ((along_mm - from_mm) / (to_mm - from_mm)).clamp(0.0, 1.0) } else { 0.0 };
    let between = |one: &Measured, other: &Measured| -> Measured {
        match (one, other) {
            (Ok(one), Ok(other)) => Ok(interpolated(one, other, share)),
            (Err(reason), _) | (_, Err(reason)) => Err(*reason),
        }
    };
    Some([between(&lower.gap, &upper.gap), between(&lower.flush, &upper.flush)])
}

fn interpolated(one: &Estimate, other: &Estimate, share: f64) -> Estimate {
    let of = |estimate: &Estimate, source: UncertaintySource| {
        let parts = estimate.components.iter().filter(|part| part.source == source);
        parts.fold((0.0, f64::INFINITY), |(square, freedom), part| {
            (square + part.u_mm * part.u_mm, f64::min(freedom, part.degrees_of_freedom))
        })
    };
    let components = UncertaintySource::ALL
        .into_iter()
        .map(|source| {
            let ((first, first_freedom), (second, second_freedom)) = (of(one, source), of(other, source));
            let u_mm = (1.0 - share) * f64::sqrt(first) + share * f64::sqrt(second);
            Component { source, u_mm, degrees_of_freedom: first_freedom.min(second_freedom) }
        })
        .filter(|component| component.u_mm > 0.0)
        .collect();
    Estimate::from_components((1.0 - share) * one.value_mm + share * other.value_mm, components)
}

fn negated(estimate: Estimate) -> Estimate {
    Estimate { value_mm: -estimate.value_mm, ..estimate }
}

/// The tolerance of the negated value.
fn turned(tolerance: &Tolerance) -> Tolerance {
    Tolerance { nominal_mm: -tolerance.nominal_mm, minus_mm: tolerance.plus_mm, plus_mm: tolerance.minus_mm }
}

#[cfg(test)]
mod tests;

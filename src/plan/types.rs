//! The plan's own structs: what a seam is, where its stations lie and which tolerance holds there.

use std::fmt;

use nalgebra::Point3;

use super::table_adjuster::AdviceTerms;
use super::table_align::AlignTerms;
use super::table_car::CarTerms;
use super::table_decision::DecisionRule;
use super::table_finish::FinishTerms;
use super::table_lineup::Lineup;
use crate::frames::CarAxes;
use crate::geometry::{Curve, CurveFrame};
use crate::units::LengthUnit;

/// A panel's short name, as the plan spells it.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct PanelId(pub String);

/// A seam's short name: lower case, digits, hyphens; also the stem of its picture files.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct SeamId(pub String);

impl fmt::Display for PanelId {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

impl fmt::Display for SeamId {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.0)
    }
}

/// A whole plan, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    pub title: String,
    /// Unit of the plan's lengths, of its curve files and of the results.
    pub units: LengthUnit,
    pub scan: ScanTerms,
    /// In the plan's order.
    pub panels: Vec<Panel>,
    /// In the plan's order.
    pub seams: Vec<Seam>,
    /// How readings become verdicts.
    pub decision: DecisionRule,
    /// How the scan is put on the car.
    pub align: AlignTerms,
    /// How panels can be moved, for advice.
    pub advice: AdviceTerms,
    /// How the car lies in the frame; `None`: nobody knows which way it faces.
    pub car: Option<CarTerms>,
    /// The film of paint that is still to come.
    pub finish: FinishTerms,
    /// Creases, bars and grooves that run across seams.
    pub lineups: Vec<Lineup>,
}

/// What the plan says about the scan file and the scanner.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScanTerms {
    pub units: LengthUnit,
    /// Standard uncertainty of the scanner over a gap-sized distance, mm; common to the whole scan.
    pub accuracy_mm: f64,
    /// Gaussian width with which the scanner's software smooths the surface, mm, where it is known.
    pub smoothing_mm: Option<f64>,
}

/// One panel of the car.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Panel {
    pub id: PanelId,
    pub title: String,
    /// True for a panel that is not moved between scans and so may carry the alignment.
    pub is_fixed: bool,
}

/// Left or right of the seam curve, walking along it on the outside of the car (left = `n × t`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Side {
    Left,
    Right,
}

/// Where the gap is taken; defined in `measure`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum GapMethod {
    Edge,
    Shortest,
    Depth { depth_mm: f64 },
}

/// Where the flush is taken; defined in `measure`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum FlushMethod {
    MidGap,
    Straightedge { rest_mm: f64, reach_mm: f64 },
}

/// Nominal value with its allowed deviations, mm; `minus` and `plus` are not negative.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    pub nominal_mm: f64,
    pub minus_mm: f64,
    pub plus_mm: f64,
}

impl Tolerance {
    #[must_use]
    pub fn lower_mm(&self) -> f64 {
        self.nominal_mm - self.minus_mm
    }

    #[must_use]
    pub fn upper_mm(&self) -> f64 {
        self.nominal_mm + self.plus_mm
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapSpec {
    pub tolerance: Tolerance,
    pub method: GapMethod,
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlushSpec {
    pub tolerance: Tolerance,
    pub method: FlushMethod,
}

/// Most that the gap may change over a length of the seam, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TaperSpec {
    pub limit_mm: f64,
    pub length_mm: f64,
}

/// Tolerances that override the seam's between two distances along it (both included), mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zone {
    pub from_mm: f64,
    pub to_mm: f64,
    pub gap: Option<Tolerance>,
    pub flush: Option<Tolerance>,
}

/// One seam: two panels, a curve along the middle of the gap, and what is wanted.
#[derive(Debug, Clone, PartialEq)]
pub struct Seam {
    pub id: SeamId,
    pub title: String,
    /// Flush is measured from this one.
    pub datum_panel: PanelId,
    pub other_panel: PanelId,
    pub datum_side: Side,
    pub curve: Curve,
    pub station_spacing_mm: f64,
    pub skip_ends_mm: f64,
    pub gap: GapSpec,
    pub flush: FlushSpec,
    pub taper: Option<TaperSpec>,
    /// Hem radii of the datum and the other panel, mm, where the plan gives them.
    pub hem_radius_mm: [Option<f64>; 2],
    pub zones: Vec<Zone>,
}

/// A place along a seam where it is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Station {
    /// From 0.
    pub index: usize,
    pub along_mm: f64,
}

/// Slack, as a share of the spacing, within which the last station still counts as inside.
const LAST_STATION_SLACK: f64 = 1e-6;

impl Seam {
    /// The stations in order: from `skip_ends` on, every `station_spacing`, up to `skip_ends` before the end.
    #[must_use]
    pub fn stations(&self) -> Vec<Station> {
        let usable_mm = self.curve.length_mm() - 2.0 * self.skip_ends_mm;
        if usable_mm < 0.0 {
            return Vec::new();
        }
        let count = (usable_mm / self.station_spacing_mm + LAST_STATION_SLACK).floor() as usize + 1;
        (0..count)
            .map(|index| Station {
                index,
                along_mm: self.skip_ends_mm + index as f64 * self.station_spacing_mm,
            })
            .collect()
    }

    /// The station's point on the plan's curve, Car frame, mm.
    #[must_use]
    pub fn station_point(&self, station: &Station) -> Point3<f64> {
        self.station_frame(station).origin
    }

    /// The plan curve's frame at a station.
    #[must_use]
    pub fn station_frame(&self, station: &Station) -> CurveFrame {
        self.curve.frame_at(station.along_mm)
    }

    /// Gap tolerance at a distance along the seam; a later zone overrides an earlier one.
    #[must_use]
    pub fn gap_tolerance_at(&self, along_mm: f64) -> Tolerance {
        self.zone_value(along_mm, |zone| zone.gap).unwrap_or(self.gap.tolerance)
    }

    /// Flush tolerance at a distance along the seam; a later zone overrides an earlier one.
    #[must_use]
    pub fn flush_tolerance_at(&self, along_mm: f64) -> Tolerance {
        self.zone_value(along_mm, |zone| zone.flush).unwrap_or(self.flush.tolerance)
    }

    /// The panel on a side of the curve.
    #[must_use]
    pub fn panel_on(&self, side: Side) -> &PanelId {
        if side == self.datum_side { &self.datum_panel } else { &self.other_panel }
    }

    fn zone_value<T>(&self, along_mm: f64, pick: impl Fn(&Zone) -> Option<T>) -> Option<T> {
        self.zones
            .iter()
            .rev()
            .filter(|zone| zone.from_mm <= along_mm && along_mm <= zone.to_mm)
            .find_map(pick)
    }
}

impl Plan {
    /// Which way the car faces, where the plan says it.
    #[must_use]
    pub fn axes(&self) -> Option<&CarAxes> {
        self.car.as_ref().map(|car| &car.axes)
    }

    /// The seam with this id.
    #[must_use]
    pub fn seam(&self, id: &SeamId) -> Option<&Seam> {
        self.seams.iter().find(|seam| seam.id == *id)
    }

    /// The panel with this id.
    #[must_use]
    pub fn panel(&self, id: &PanelId) -> Option<&Panel> {
        self.panels.iter().find(|panel| panel.id == *id)
    }
}

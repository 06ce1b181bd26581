//! The result of measuring: plain data, with everything needed to doubt it.

use nalgebra::Point3;

use crate::geometry::CurveFrame;
use crate::plan::{SeamId, Station};

/// Where a part of an uncertainty comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum UncertaintySource {
    /// Noise of the scan near this station, with its correlation along the surface.
    ScanNoise,
    /// Points are so far apart that the fit leans on few of them.
    Spacing,
    /// The edge is not seen all the way round and is continued by its fitted arc.
    EdgeSeen,
    /// The shape model of hem and outer surface.
    Model,
    /// The scanner's smoothing of hems, as far as it is known.
    Smoothing,
    /// The scan's place on the car.
    Alignment,
    /// What is common to the whole scan: the scanner's own stated accuracy.
    ScannerAccuracy,
    /// The film of paint still to come; only in readings of the finished state.
    Finish,
}

impl UncertaintySource {
    /// Every source, in the order in which a budget lists them.
    pub const ALL: [Self; 8] = [
        Self::ScanNoise,
        Self::Spacing,
        Self::EdgeSeen,
        Self::Model,
        Self::Smoothing,
        Self::Alignment,
        Self::ScannerAccuracy,
        Self::Finish,
    ];

    /// The words in reports and files.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ScanNoise => "scan noise",
            Self::Spacing => "spacing",
            Self::EdgeSeen => "edge seen",
            Self::Model => "model",
            Self::Smoothing => "smoothing",
            Self::Alignment => "alignment",
            Self::ScannerAccuracy => "scanner accuracy",
            Self::Finish => "finish",
        }
    }

    /// True where the error is the same, or nearly so, at all stations of a seam in one scan: it does not average out.
    #[must_use]
    pub const fn is_common_along_seam(self) -> bool {
        matches!(self, Self::Model | Self::Smoothing | Self::Alignment | Self::ScannerAccuracy | Self::Finish)
    }
}

/// One line of the uncertainty budget.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    pub source: UncertaintySource,
    /// Standard uncertainty, mm.
    pub u_mm: f64,
    /// Degrees of freedom; infinite where the value is stated rather than estimated.
    pub degrees_of_freedom: f64,
}

/// A measured value with its standard uncertainty and budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    pub value_mm: f64,
    /// Combined standard uncertainty, mm: the root of the sum of squares of the components.
    pub u_mm: f64,
    /// Effective degrees of freedom (Welch–Satterthwaite, JCGM 100:2008, G.4.1).
    pub degrees_of_freedom: f64,
    pub components: Vec<Component>,
}

impl Estimate {
    /// Combines independent components; the value's effective degrees of freedom by Welch–Satterthwaite.
    #[must_use]
    pub fn from_components(value_mm: f64, components: Vec<Component>) -> Self {
        let variance_mm2: f64 = components.iter().map(|component| component.u_mm.powi(2)).sum();
        let spread: f64 = components
            .iter()
            .filter(|component| component.degrees_of_freedom.is_finite())
            .map(|component| component.u_mm.powi(4) / component.degrees_of_freedom)
            .sum();
        let degrees_of_freedom = if spread > 0.0 { variance_mm2.powi(2) / spread } else { f64::INFINITY };
        Self { value_mm, u_mm: variance_mm2.sqrt(), degrees_of_freedom, components }
    }
}

/// Why a gap or a flush is not there. One token each, as written to `readings.csv`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Reason {
    NoPoints,
    OnePanelMissing,
    EdgeNotSeen,
    TooSparse,
    Junction,
    NotASeam,
    SurfaceTooShort,
    /// The edges turn down, but hardly apart: less than a millimetre, too little to tell one from the other.
    NearlyShut,
}

impl Reason {
    /// Every reason, in the order in which a summary lists them.
    pub const ALL: [Self; 8] = [
        Self::NoPoints,
        Self::OnePanelMissing,
        Self::EdgeNotSeen,
        Self::TooSparse,
        Self::Junction,
        Self::NotASeam,
        Self::SurfaceTooShort,
        Self::NearlyShut,
    ];

    /// The token in files.
    #[must_use]
    pub const fn token(self) -> &'static str {
        match self {
            Self::NoPoints => "no-points",
            Self::OnePanelMissing => "one-panel-missing",
            Self::EdgeNotSeen => "edge-not-seen",
            Self::TooSparse => "too-sparse",
            Self::Junction => "junction",
            Self::NotASeam => "not-a-seam",
            Self::SurfaceTooShort => "surface-too-short",
            Self::NearlyShut => "nearly-shut",
        }
    }
}

/// Worth knowing about a reading that was made all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Warning {
    /// The arc was not seen to its furthest point; the edge is the fitted arc's.
    EdgeExtrapolated,
    /// The arc was too short to give its radius, which then came from the neighbours or the plan.
    RadiusBorrowed,
    /// A crease, hole or trim line made the outer surface usable only close to the edge.
    SurfaceShortened,
    /// A hole in the scan (a sticker, tape) covers part of this section.
    HoleInBand,
    /// The outer surfaces are not parallel (more than 3°), so flush depends on where it is read.
    SurfacesNotParallel,
    /// The value stands far off its neighbours.
    UnlikeNeighbours,
    /// The outward side was not given and was taken from the scan.
    OutwardSideAssumed,
    /// The flange leans out past its hem, or may do so; the edge is its lower end, as far as the scan shows it.
    OpenFlange,
    /// An edge was not seen: the flush is read where the points end, not at a measured mid-gap.
    MiddleAssumed,
}

impl Warning {
    /// Every warning, in the order in which reports list them.
    pub const ALL: [Self; 9] = [
        Self::EdgeExtrapolated,
        Self::RadiusBorrowed,
        Self::SurfaceShortened,
        Self::HoleInBand,
        Self::SurfacesNotParallel,
        Self::UnlikeNeighbours,
        Self::OutwardSideAssumed,
        Self::OpenFlange,
        Self::MiddleAssumed,
    ];

    /// The token in files.
    #[must_use]
    pub const fn token(self) -> &'static str {
        match self {
            Self::EdgeExtrapolated => "edge-extrapolated",
            Self::RadiusBorrowed => "radius-borrowed",
            Self::SurfaceShortened => "surface-shortened",
            Self::HoleInBand => "hole-in-band",
            Self::SurfacesNotParallel => "surfaces-not-parallel",
            Self::UnlikeNeighbours => "unlike-neighbours",
            Self::OutwardSideAssumed => "outward-side-assumed",
            Self::OpenFlange => "open-flange",
            Self::MiddleAssumed => "middle-assumed",
        }
    }
}

/// One panel's edge in one section.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeReading {
    /// The edge point: the place of the profile that reaches furthest towards the other panel. Car frame, mm.
    pub point: Point3<f64>,
    pub hem_radius_mm: f64,
    pub hem_radius_u_mm: f64,
    /// How far round the edge the scan really reaches, from the outer surface's normal, rad.
    pub arc_seen_rad: f64,
    /// How deep below the outer surface the flange was seen, mm.
    pub flange_depth_mm: f64,
    /// Height of this panel's outer surface at mid-gap over the station frame's origin, along `outward`, mm.
    pub surface_height_mm: f64,
    /// Slope of this panel's outer surface at mid-gap against the datum's tangent, in the direction of `across`, rad.
    pub surface_slope_rad: f64,
}

/// Everything measured at one station.
#[derive(Debug, Clone, PartialEq)]
pub struct StationReading {
    pub station: Station,
    /// The station's point on the plan's curve. Car frame, mm.
    pub point: Point3<f64>,
    /// The section frame after re-centring on mid-gap and re-levelling on the datum surface. Car frame.
    pub frame: CurveFrame,
    pub gap: Result<Estimate, Reason>,
    pub flush: Result<Estimate, Reason>,
    /// The datum panel's edge, then the other panel's.
    pub edges: [Option<EdgeReading>; 2],
    pub warnings: Vec<Warning>,
    /// What the section looked like, for drawing; thinned.
    pub profile: Profile,
}

/// A seam's readings in station order.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamReadings {
    pub seam: SeamId,
    pub stations: Vec<StationReading>,
    /// Points (or cut mesh samples) that lay in this seam's corridor.
    pub points_used: u64,
    /// Median distance between neighbouring points near the seam, mm.
    pub spacing_mm: Option<f64>,
}

/// A section as drawn: scan points and fitted shapes in section axes (`u` across, `v` outward), mm.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Profile {
    pub points: Vec<ProfilePoint>,
    /// Fitted outer surfaces: the datum panel's, then the other panel's.
    pub skins: [Option<ProfileSkin>; 2],
    /// Fitted hems, in the same order.
    pub arcs: [Option<ProfileArc>; 2],
}

/// One scan point of a section and whether the fits used it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProfilePoint {
    pub u_mm: f32,
    pub v_mm: f32,
    pub is_used: bool,
}

/// `v = c0 + c1 u + c2 u²` over a span of `u`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProfileSkin {
    pub coefficients: [f64; 3],
    pub from_u_mm: f64,
    pub to_u_mm: f64,
}

/// A hem: circle centre and radius, with the edge point that it gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProfileArc {
    pub centre_u_mm: f64,
    pub centre_v_mm: f64,
    pub radius_mm: f64,
    pub edge_u_mm: f64,
    pub edge_v_mm: f64,
}

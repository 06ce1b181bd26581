//! Made-up seams for the unit tests of this folder: a straight seam with given values at its stations.

use nalgebra::{Point3, Vector3};

use crate::geometry::{Curve, CurveFrame};
use crate::judge::{JudgedSeam, judge_seam};
use crate::measure::{Component, Estimate, Profile, Reason, SeamReadings, StationReading, UncertaintySource};
use crate::plan::{
    DecisionRule, FlushMethod, FlushSpec, GapMethod, GapSpec, PanelId, Seam, SeamId, Side, TaperSpec,
    Tolerance,
};

/// A seam of 1 m along x, outward z, station every 10 mm; gap 4 ± 0.5, flush 0 ± 0.5, taper 0.5 over 300.
pub fn seam() -> Seam {
    let points = [Point3::new(0.0, 0.0, 0.0), Point3::new(1000.0, 0.0, 0.0)];
    let tolerance = |nominal_mm| Tolerance { nominal_mm, minus_mm: 0.5, plus_mm: 0.5 };
    Seam {
        id: SeamId("hood-fender-left".to_owned()),
        title: "Hood to left fender".to_owned(),
        datum_panel: PanelId("fender-left".to_owned()),
        other_panel: PanelId("hood".to_owned()),
        datum_side: Side::Left,
        curve: Curve::through(&points, Some(&[Vector3::z(), Vector3::z()])).unwrap(),
        station_spacing_mm: 10.0,
        skip_ends_mm: 0.0,
        gap: GapSpec { tolerance: tolerance(4.0), method: GapMethod::Edge },
        flush: FlushSpec { tolerance: tolerance(0.0), method: FlushMethod::MidGap },
        taper: Some(TaperSpec { limit_mm: 0.5, length_mm: 300.0 }),
        hem_radius_mm: [None, None],
        zones: Vec::new(),
    }
}

/// A value with 0.03 mm of scan noise (ten degrees of freedom) and 0.04 mm of stated scanner accuracy: u = 0.05 mm.
pub fn estimate(value_mm: f64) -> Estimate {
    let component = |source, u_mm, degrees_of_freedom| Component { source, u_mm, degrees_of_freedom };
    Estimate::from_components(
        value_mm,
        vec![
            component(UncertaintySource::ScanNoise, 0.03, 10.0),
            component(UncertaintySource::ScannerAccuracy, 0.04, f64::INFINITY),
        ],
    )
}

/// The seam's stations with values by distance; `None` is an edge that was not seen.
pub fn judged(
    seam: &Seam,
    gap: impl Fn(f64) -> Option<f64>,
    flush: impl Fn(f64) -> Option<f64>,
) -> JudgedSeam {
    let measured = |value: Option<f64>| value.map(estimate).ok_or(Reason::EdgeNotSeen);
    let stations = seam
        .stations()
        .into_iter()
        .map(|station| {
            let frame: CurveFrame = seam.station_frame(&station);
            StationReading {
                point: frame.origin,
                frame,
                gap: measured(gap(station.along_mm)),
                flush: measured(flush(station.along_mm)),
                station,
                edges: [None, None],
                warnings: Vec::new(),
                profile: Profile::default(),
            }
        })
        .collect();
    let readings = SeamReadings { seam: seam.id.clone(), stations, points_used: 0, spacing_mm: None };
    judge_seam(seam, readings, &DecisionRule::default())
}

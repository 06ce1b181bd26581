//! What an uncertain place of the scan on the car does to readings.
//!
//! In: a seam's readings in station order, and how far a point of the car may be off along a direction (standard
//! uncertainty, mm). Out: the same readings with the component [`UncertaintySource::Alignment`]. Frame: Car.
//! Method (JCGM 100:2008, 5.1.2): gap and flush are taken between two panels of one scan, so that a rigid displacement
//! cancels but for one thing: the station slides along the seam. The sensitivity is the change of the reading per mm along
//! the seam, a straight line through the neighbours.
//! Does not add anything where the scan was not aligned: frames that agree are the plan's statement.

use nalgebra::{Point3, Vector3};

use super::reading::{Component, Estimate, SeamReadings, StationReading, UncertaintySource};

/// Neighbours to each side that the slope is taken from: long enough that noise does not make it, short enough to follow a bend.
const NEIGHBOURS: usize = 3;
/// Fewest values that make a slope.
const LEAST_VALUES: usize = 3;

/// Adds the component to every gap and flush; `u_along_mm(point, direction)` is the place's standard uncertainty.
pub fn allow_for_alignment(
    readings: &mut SeamReadings,
    u_along_mm: impl Fn(&Point3<f64>, &Vector3<f64>) -> f64,
) {
    let gap_slopes = slopes(&readings.stations, |station| station.gap.as_ref().ok());
    let flush_slopes = slopes(&readings.stations, |station| station.flush.as_ref().ok());
    for (index, station) in readings.stations.iter_mut().enumerate() {
        let u_mm = u_along_mm(&station.point, &station.frame.along);
        if !(u_mm > 0.0 && u_mm.is_finite()) {
            continue;
        }
        for (estimate, slope) in
            [(&mut station.gap, gap_slopes[index]), (&mut station.flush, flush_slopes[index])]
        {
            let (Ok(estimate), Some(slope)) = (estimate, slope) else { continue };
            let mut components = std::mem::take(&mut estimate.components);
            let source = UncertaintySource::Alignment;
            components.push(Component {
                source,
                u_mm: slope.abs() * u_mm,
                degrees_of_freedom: f64::INFINITY,
            });
            *estimate = Estimate::from_components(estimate.value_mm, components);
        }
    }
}

/// Change of a value per mm along the seam at each station; `None` where too few neighbours have one.
fn slopes(
    stations: &[StationReading],
    value: impl Fn(&StationReading) -> Option<&Estimate>,
) -> Vec<Option<f64>> {
    (0..stations.len())
        .map(|index| {
            let window =
                &stations[index.saturating_sub(NEIGHBOURS)..(index + NEIGHBOURS + 1).min(stations.len())];
            let places: Vec<(f64, f64)> = window
                .iter()
                .filter_map(|station| Some((station.station.along_mm, value(station)?.value_mm)))
                .collect();
            straight_slope(&places)
        })
        .collect()
}

fn straight_slope(places: &[(f64, f64)]) -> Option<f64> {
    if places.len() < LEAST_VALUES {
        return None;
    }
    let count = places.len() as f64;
    let middle = places.iter().map(|place| place.0).sum::<f64>() / count;
    let square: f64 = places.iter().map(|place| (place.0 - middle).powi(2)).sum();
    let cross: f64 = places.iter().map(|place| (place.0 - middle) * place.1).sum();
    (square > 0.0).then(|| cross / square)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_is_the_straight_lines() {
        let line: Vec<(f64, f64)> =
            (0..5).map(|index| (10.0 * f64::from(index), 4.0 + 0.1 * f64::from(index))).collect();
        assert!((straight_slope(&line).unwrap() - 0.01).abs() < 1e-12);
        assert_eq!(straight_slope(&line[..2]), None);
        assert_eq!(straight_slope(&[(5.0, 1.0), (5.0, 2.0), (5.0, 3.0)]), None);
    }
}

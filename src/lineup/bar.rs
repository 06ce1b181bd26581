//! A bar or a groove on one panel: half-way between its flanks at half height, strip by strip.
//!
//! In: the points of one side (heights turned over for a groove), a place to look near. Out: a [`SideLine`]. Units: mm; frame: the
//! section frame at the crossing. Method:
//! 1. coarse: of all lines in reach, the one over which the surface stands highest above what lies beside it;
//! 2. the ground is a plane with a bend across and a twist, fitted to what lies beside the bar on both sides;
//! 3. in each strip of 4 mm the height is that of the middle of the top over the ground; each flank is a straight line through
//!    its points between a quarter and three quarters of the height, and the middle of their two places at half height is
//!    the bar's. A profile that is symmetric gives its axis, whatever its shape and however the scanner has smoothed it;
//! 4. a straight line through the strips' places; the height is the ground's at mid-gap plus the strips' mean height.
//!
//! Refuses a bar lower than 0.3 mm or than five times the ground's noise, and one of which a flank is not seen.

use std::collections::BTreeMap;

use super::cells::cells;
use super::reading::{LinePlace, LineupReason, SideLine};
use super::robust_fit::{RobustFit, robust_fit};
use crate::geometry::{NormalEquations, median_in_place};
use crate::plan::Lineup;

/// The ground beside the bar is taken from its foot plus this, mm …
const GROUND_MARGIN_MM: f64 = 0.5;
/// … over so much, mm.
pub(super) const GROUND_MM: f64 = 5.0;
const CELL_MM: [f64; 2] = [3.0, 0.75];
const COARSE_STEP_MM: f64 = 0.5;
const SLOPES: [f64; 9] = [-0.4, -0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3, 0.4];
const STRIP_MM: f64 = 4.0;
const LEAST_HEIGHT_MM: f64 = 0.3;
const LEAST_SIGMAS: f64 = 5.0;
/// Fewest points of a top and of each flank in a strip, and fewest strips.
const FEWEST_POINTS: usize = 4;
const FEWEST_STRIPS: usize = 5;
/// Shares of the height between which a flank is used.
const FLANK: [f64; 2] = [0.25, 0.75];
/// A line's places scatter by no more than this, mm: more is another feature or none.
const MOST_SCATTER_MM: f64 = 0.6;
/// Noise is a little correlated from strip to strip (L = 3 mm at 4 mm: exp(−8/9) = 0.41), which enlarges the variance of what is
/// drawn from them by up to (1 + r) / (1 − r) = 2.4; a strip's own averaging takes some of it back. Its root.
const CORRELATION: f64 = 1.4;
/// Least scatter that is believed, mm: a few places may lie on a line by chance.
const LEAST_SCATTER_MM: f64 = 0.001;
const SCALE_MM: [f64; 2] = [20.0, 10.0];

/// Level, rise across, rise along, bend across, twist.
type Ground = RobustFit<5>;

/// A strip's place along the seam, its middle across, and the top's height over the ground.
struct StripPlace {
    x_mm: f64,
    s_mm: f64,
    height_mm: f64,
}

/// The bar's line within reach of `at_mm`.
pub(super) fn bar_line(points: &[LinePlace], lineup: &Lineup, at_mm: f64) -> Result<SideLine, LineupReason> {
    let cells = cells(points, CELL_MM[0], CELL_MM[1]);
    let width_mm = lineup.width_mm;
    let line = coarse_line(&cells, at_mm, lineup).ok_or(LineupReason::TooSparse)?;
    let off_mm = |point: &LinePlace| point.s_mm - line.0 - line.1 * point.x_mm;
    let from_mm = width_mm / 2.0 + GROUND_MARGIN_MM;
    let row = |point: &LinePlace| {
        let (x, off) = (point.x_mm / SCALE_MM[0], off_mm(point) / SCALE_MM[1]);
        [1.0, x, off, x * x, x * off]
    };
    let ground: Ground = robust_fit(&cells, points, |point| {
        (from_mm..=from_mm + GROUND_MM).contains(&off_mm(point).abs()).then(|| row(point))
    })
    .ok_or(LineupReason::FeatureNotSeen)?;
    let height_mm = |point: &LinePlace| {
        point.z_mm - row(point).iter().zip(&ground.parameters).map(|(a, b)| a * b).sum::<f64>()
    };
    let mut strips: BTreeMap<i64, Vec<(f64, f64, f64)>> = BTreeMap::new();
    for point in points.iter().filter(|point| off_mm(point).abs() <= from_mm) {
        let strip = strips.entry((point.x_mm.abs() / STRIP_MM).floor() as i64).or_default();
        strip.push((point.x_mm, off_mm(point), height_mm(point)));
    }
    let places: Vec<StripPlace> =
        strips.values().filter_map(|strip| strip_place(strip, line, width_mm)).collect();
    let least_mm = LEAST_HEIGHT_MM.max(LEAST_SIGMAS * ground.variance(&[1.0, 0.0, 0.0, 0.0, 0.0]).sqrt());
    let places: Vec<StripPlace> = places.into_iter().filter(|place| place.height_mm >= least_mm).collect();
    if places.len() < FEWEST_STRIPS {
        return Err(LineupReason::FeatureNotSeen);
    }
    let found = side_line(&ground, &without_outliers(places), line).ok_or(LineupReason::FeatureNotSeen)?;
    let is_near = (found.along_mm - at_mm).abs() <= lineup.search_mm + 1.0;
    if is_near { Ok(found) } else { Err(LineupReason::FeatureNotSeen) }
}

/// Place at mid-gap and slope of the line over which the surface stands highest above both of its sides.
fn coarse_line(cells: &[LinePlace], at_mm: f64, lineup: &Lineup) -> Option<(f64, f64)> {
    let half_mm = lineup.width_mm / 2.0;
    let steps = (lineup.search_mm / COARSE_STEP_MM).floor() as i64;
    let places = (-steps..=steps).map(|step| at_mm + step as f64 * COARSE_STEP_MM);
    places
        .flat_map(|place_mm| SLOPES.map(|slope| (place_mm, slope)))
        .filter_map(|line| {
            let mean = |from_mm: f64, to_mm: f64| {
                let inside = cells.iter().filter_map(|cell| {
                    let off_mm = cell.s_mm - line.0 - line.1 * cell.x_mm;
                    (from_mm..to_mm).contains(&off_mm).then_some(cell.z_mm)
                });
                let (sum, count) = inside.fold((0.0, 0usize), |(sum, count), z_mm| (sum + z_mm, count + 1));
                (count > 0).then(|| sum / count as f64)
            };
            let top_mm = mean(-half_mm / 2.0, half_mm / 2.0)?;
            let beside_mm = mean(-half_mm - 3.0, -half_mm)? + mean(half_mm, half_mm + 3.0)?;
            Some((top_mm - beside_mm / 2.0, line))
        })
        .max_by(|one, other| one.0.total_cmp(&other.0))
        .map(|(_, line)| line)
}

/// Points of a strip: across, off the coarse line, over the ground.
fn strip_place(strip: &[(f64, f64, f64)], line: (f64, f64), width_mm: f64) -> Option<StripPlace> {
    let mut top: Vec<f64> = strip
        .iter()
        .filter(|(_, off_mm, _)| off_mm.abs() <= width_mm / 6.0)
        .map(|(_, _, over_mm)| *over_mm)
        .collect();
    if top.len() < FEWEST_POINTS {
        return None;
    }
    let height_mm = median_in_place(&mut top).filter(|height_mm| *height_mm > 0.0)?;
    let flanks = [-1.0, 1.0].map(|sign: f64| flank_place(strip, sign, height_mm));
    let (x_mm, off_mm) = ((flanks[0]?.0 + flanks[1]?.0) / 2.0, (flanks[0]?.1 + flanks[1]?.1) / 2.0);
    Some(StripPlace { x_mm, s_mm: line.0 + line.1 * x_mm + off_mm, height_mm })
}

/// Mean place across of a flank's points, and where it stands at half height.
fn flank_place(strip: &[(f64, f64, f64)], sign: f64, height_mm: f64) -> Option<(f64, f64)> {
    let mut equations = NormalEquations::<2>::default();
    let (mut across_mm, mut count) = (0.0, 0usize);
    for (x_mm, off_mm, over_mm) in strip {
        let share = over_mm / height_mm;
        if off_mm * sign > 0.0 && (FLANK[0]..=FLANK[1]).contains(&share) {
            equations.add([1.0, share - 0.5], *off_mm, 1.0);
            across_mm += x_mm;
            count += 1;
        }
    }
    if count < FEWEST_POINTS {
        return None;
    }
    Some((across_mm / count as f64, equations.solve()?[0]))
}

/// Leaves out places further than five robust deviations off a straight line through all, as long as enough stay.
fn without_outliers(places: Vec<StripPlace>) -> Vec<StripPlace> {
    let Some((start_mm, slope, _)) = straight_line(&places) else { return places };
    let off_mm = |place: &StripPlace| (place.s_mm - start_mm - slope * place.x_mm).abs();
    let mut sizes: Vec<f64> = places.iter().map(off_mm).collect();
    let limit_mm = (5.0 * 1.4826 * median_in_place(&mut sizes).unwrap_or(0.0)).max(0.01);
    let kept = places.iter().filter(|place| off_mm(place) <= limit_mm).count();
    if kept < FEWEST_STRIPS {
        return places;
    }
    places.into_iter().filter(|place| off_mm(place) <= limit_mm).collect()
}

/// Place at mid-gap, slope, and the cofactor of the place.
fn straight_line(places: &[StripPlace]) -> Option<(f64, f64, f64)> {
    let mut equations = NormalEquations::<2>::default();
    places.iter().for_each(|place| equations.add([1.0, place.x_mm / SCALE_MM[0]], place.s_mm, 1.0));
    let [start_mm, slope] = equations.solve()?;
    Some((start_mm, slope / SCALE_MM[0], equations.cofactors()?[(0, 0)]))
}

fn side_line(ground: &Ground, places: &[StripPlace], line: (f64, f64)) -> Option<SideLine> {
    let (along_mm, slope, cofactor) = straight_line(places)?;
    let count = places.len() as f64;
    let sum_mm2: f64 = places.iter().map(|place| (place.s_mm - along_mm - slope * place.x_mm).powi(2)).sum();
    let scatter_mm = (sum_mm2 / (count - 2.0)).sqrt();
    if scatter_mm > MOST_SCATTER_MM {
        return None;
    }
    let height_mm = places.iter().map(|place| place.height_mm).sum::<f64>() / count;
    let rest_mm2: f64 = places.iter().map(|place| (place.height_mm - height_mm).powi(2)).sum();
    let height_u_mm = CORRELATION * (rest_mm2 / (count - 1.0) / count).sqrt();
    let p = &ground.parameters;
    let off = (along_mm - line.0) / SCALE_MM[1];
    let level_row = [1.0, 0.0, off, 0.0, 0.0];
    let course = SideLine {
        along_mm,
        slope,
        height_mm: p[0] + p[2] * off + height_mm,
        height_slope: p[1] / SCALE_MM[0],
        height_bend_per_mm: p[3] / SCALE_MM[0].powi(2),
        along_u_mm: CORRELATION * scatter_mm.max(LEAST_SCATTER_MM) * cofactor.sqrt(),
        height_u_mm: ground.variance(&level_row).sqrt().hypot(height_u_mm),
        along_degrees_of_freedom: count - 2.0,
        height_degrees_of_freedom: ground.noise.degrees_of_freedom,
        places: Vec::new(),
    };
    let shown = places.iter().map(|place| LinePlace {
        x_mm: place.x_mm,
        s_mm: place.s_mm,
        z_mm: course.height_at(place.x_mm) + place.height_mm - height_mm,
    });
    Some(SideLine { places: shown.collect(), ..course })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::{LineupKind, SeamId};

    fn bar() -> Lineup {
        Lineup {
            id: "a".to_owned(),
            title: String::new(),
            seam: SeamId("s".to_owned()),
            at_mm: 0.0,
            kind: LineupKind::Bar,
            width_mm: 6.0,
            rounded_mm: 0.0,
            search_mm: 6.0,
            step: None,
            shift: None,
            bars: None,
            mirror: None,
        }
    }

    fn side_of(height: impl Fn(f64, f64) -> f64) -> Vec<LinePlace> {
        let mut points = Vec::new();
        for across in 0..85 {
            for along in -60..60 {
                // Rows that do not lie at the same places of the flanks.
                let (x_mm, s_mm) =
                    (6.0 + 0.4 * f64::from(across), 0.4 * f64::from(along) + 0.07 * f64::from(across % 5));
                points.push(LinePlace { x_mm, s_mm, z_mm: height(x_mm, s_mm) });
            }
        }
        points
    }

    /// By hand: a trapezium 6 mm wide at the foot and 2 mm at the top, 1.5 mm high, its axis on s = 1.7 − 0.05 x, on ground that
    /// rises by 0.02 along and falls away across by a crown of 1 m radius.
    fn trapezium(x_mm: f64, s_mm: f64) -> f64 {
        let off_mm: f64 = s_mm - 1.7 + 0.05 * x_mm;
        1.5 * (3.0 - off_mm.abs()).clamp(0.0, 2.0) / 2.0 + 0.02 * s_mm - x_mm * x_mm / 2000.0
    }

    #[test]
    fn the_axis_of_a_bar_is_half_way_between_its_flanks() {
        let line = bar_line(&side_of(trapezium), &bar(), 0.0).unwrap();
        // Flanks are straight lines; the points' own places leave less than 0.01 mm. The top: 1.5 over ground of 0.034.
        assert!((line.along_mm - 1.7).abs() < 0.01 && (line.slope + 0.05).abs() < 0.001, "{line:?}");
        assert!((line.height_mm - 1.534).abs() < 0.01, "{line:?}");
    }

    #[test]
    fn no_bar_and_half_a_bar_are_refused() {
        let flat = side_of(|x_mm, s_mm| 0.01 * x_mm + 0.02 * s_mm);
        assert_eq!(bar_line(&flat, &bar(), 0.0), Err(LineupReason::FeatureNotSeen));
        let half: Vec<LinePlace> =
            side_of(trapezium).into_iter().filter(|point| point.s_mm < 2.0 - 0.05 * point.x_mm).collect();
        assert!(bar_line(&half, &bar(), 0.0).is_err());
    }
}

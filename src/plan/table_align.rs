//! The plan's table `[align]`: how the scan is put on the car.
//!
//! In: the table with its `[[align.target]]` or `[[align.pair]]` tables. Out: [`AlignTerms`], mm.
//! Units: points in the car are in the plan's unit, points in the scan in the scan's.
//! Defaults: no table, or `way = "none"`: scan and plan agree already.

use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};

use super::fields::Fields;
use super::plan_error::PlanError;
use crate::units::LengthUnit;

pub(super) const KEYS: &[&str] = &["way", "target", "pair", "reference", "start", "limit"];
const TARGET_KEYS: &[&str] = &["id", "scan", "car", "direction", "u"];
const PAIR_KEYS: &[&str] = &["id", "scan", "car", "sphere_diameter"];
const START_KEYS: &[&str] = &["turn_deg", "shift"];
/// Most targets or pairs: many times what anybody sticks on a car.
const MOST_TARGETS: usize = 10_000;
/// Largest residual of a point pair before it is called an outlier, where the plan gives none, mm: a sticker that has
/// been moved or mixed up is off by more (common practice, no source).
const DEFAULT_PAIR_LIMIT_MM: f64 = 1.0;
/// Largest root-mean-square residual of a registration to a surface where the plan gives none, mm: panels that nobody
/// moved repeat better than this even between two cars of a kind (common practice, no source).
const DEFAULT_SURFACE_LIMIT_MM: f64 = 1.0;

/// How `car_from_scanner` is found.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum AlignTerms {
    /// The scan is in the car's frame already.
    #[default]
    None,
    /// Each target fixes one coordinate.
    DatumTargets { targets: Vec<DatumTarget> },
    /// Points known in scan and car. A pair further off than `limit_mm` is an outlier.
    PointPairs { pairs: Vec<PointPair>, limit_mm: f64 },
    /// Registration of the fixed panels to a reference surface, from a start pose.
    BestFit { reference: String, start: Isometry3<f64>, limit_mm: f64 },
    /// Registration to a reference surface from any pose.
    Coarse { reference: String, limit_mm: f64 },
}

/// A datum target (ISO 5459): the scan's point must lie at the nominal one, seen along one direction.
#[derive(Debug, Clone, PartialEq)]
pub struct DatumTarget {
    pub id: String,
    /// Measured, Scanner frame, mm.
    pub scan: Point3<f64>,
    /// Nominal, Car frame, mm.
    pub car: Point3<f64>,
    /// Unit vector, Car frame.
    pub direction: Vector3<f64>,
    /// Standard uncertainty of the measured coordinate, mm.
    pub u_mm: f64,
}

/// A point known in both frames: a sticker, a tooling hole, a sphere's centre.
#[derive(Debug, Clone, PartialEq)]
pub struct PointPair {
    pub id: String,
    /// Scanner frame, mm. For a sphere: roughly its centre.
    pub scan: Point3<f64>,
    /// Car frame, mm.
    pub car: Point3<f64>,
    /// Where given, the point is the centre of a sphere of this diameter, fitted in the scan. mm.
    pub sphere_diameter_mm: Option<f64>,
}

impl AlignTerms {
    /// The word in the plan.
    #[must_use]
    pub const fn way(&self) -> &'static str {
        match self {
            Self::None => "none",
            Self::DatumTargets { .. } => "datum-targets",
            Self::PointPairs { .. } => "point-pairs",
            Self::BestFit { .. } => "best-fit",
            Self::Coarse { .. } => "coarse",
        }
    }

    /// Largest residual that is believed, mm; see the ways. Infinite where the way has none.
    #[must_use]
    pub const fn limit_mm(&self) -> f64 {
        match self {
            Self::PointPairs { limit_mm, .. }
            | Self::BestFit { limit_mm, .. }
            | Self::Coarse { limit_mm, .. } => *limit_mm,
            Self::None | Self::DatumTargets { .. } => f64::INFINITY,
        }
    }

    /// The reference surface's path as the plan writes it, where the way needs one.
    #[must_use]
    pub fn reference(&self) -> Option<&str> {
        match self {
            Self::BestFit { reference, .. } | Self::Coarse { reference, .. } => Some(reference),
            _ => None,
        }
    }
}

pub(super) fn read(
    root: &Fields<'_>,
    scan_units: LengthUnit,
    scan_accuracy_mm: f64,
) -> Result<AlignTerms, PlanError> {
    let Some(fields) = root.table("align", "[align]", KEYS)? else { return Ok(AlignTerms::None) };
    let words = ["none", "datum-targets", "point-pairs", "best-fit", "coarse"].map(|word| (word, word));
    let way = fields.choice("way", &words)?.ok_or_else(|| fields.missing("way", "way = \"best-fit\""))?.value;
    refuse_keys_of_other_ways(&fields, way)?;
    let limit_mm = fields.positive_length_mm("limit")?;
    let surface_limit_mm = limit_mm.unwrap_or(DEFAULT_SURFACE_LIMIT_MM);
    Ok(match way {
        "datum-targets" => {
            AlignTerms::DatumTargets { targets: read_targets(&fields, scan_units, scan_accuracy_mm)? }
        }
        "point-pairs" => AlignTerms::PointPairs {
            pairs: read_pairs(&fields, scan_units)?,
            limit_mm: limit_mm.unwrap_or(DEFAULT_PAIR_LIMIT_MM),
        },
        "best-fit" => AlignTerms::BestFit {
            reference: read_reference(&fields)?,
            start: read_start(&fields)?,
            limit_mm: surface_limit_mm,
        },
        "coarse" => AlignTerms::Coarse { reference: read_reference(&fields)?, limit_mm: surface_limit_mm },
        _ => AlignTerms::None,
    })
}

/// A key that the chosen way does not use would be silently without effect.
fn refuse_keys_of_other_ways(fields: &Fields<'_>, way: &str) -> Result<(), PlanError> {
    let used: &[&str] = match way {
        "datum-targets" => &["target"],
        "point-pairs" => &["pair", "limit"],
        "best-fit" => &["reference", "start", "limit"],
        "coarse" => &["reference", "limit"],
        _ => &[],
    };
    match KEYS[1..].iter().find(|key| fields.has(key) && !used.contains(key)) {
        None => Ok(()),
        Some(key) => {
            let message = format!("`{key}` has no meaning in [align] with way = \"{way}\"");
            Err(super::contradiction(&fields.context, &fields.span_of(key), message)
                .with_hint(format!("take `{key}` out, or choose the way that uses it")))
        }
    }
}

fn read_targets(
    fields: &Fields<'_>,
    scan_units: LengthUnit,
    scan_accuracy_mm: f64,
) -> Result<Vec<DatumTarget>, PlanError> {
    let tables = counted(fields, "target", TARGET_KEYS, "[[align.target]] with id, scan, car and direction")?;
    tables
        .iter()
        .map(|table| {
            let [x, y, z] = table
                .numbers::<3>("direction")?
                .ok_or_else(|| table.missing("direction", "direction = [0, 0, 1]"))?;
            let direction = Vector3::new(x, y, z).try_normalize(1e-9).ok_or_else(|| {
                table.bad_value("direction", "a direction that is not zero", table.written("direction"))
            })?;
            Ok(DatumTarget {
                id: required_id(table)?,
                scan: scan_point(table, scan_units)?,
                car: point(table, "car")?,
                direction,
                u_mm: table.positive_length_mm("u")?.unwrap_or_else(|| scan_accuracy_mm.max(1e-6)),
            })
        })
        .collect()
}

fn read_pairs(fields: &Fields<'_>, scan_units: LengthUnit) -> Result<Vec<PointPair>, PlanError> {
    let tables = counted(fields, "pair", PAIR_KEYS, "[[align.pair]] with id, scan and car")?;
    tables
        .iter()
        .map(|table| {
            Ok(PointPair {
                id: required_id(table)?,
                scan: scan_point(table, scan_units)?,
                car: point(table, "car")?,
                sphere_diameter_mm: table.positive_length_mm("sphere_diameter")?,
            })
        })
        .collect()
}

fn counted<'t>(
    fields: &Fields<'t>,
    key: &str,
    keys: &[&str],
    example: &str,
) -> Result<Vec<Fields<'t>>, PlanError> {
    let tables = fields.tables(key, &format!("an [[align.{key}]]"), keys)?;
    let span = fields.span_of(key);
    super::check_count(&fields.context, &span, &format!("the number of {key}s"), tables.len(), MOST_TARGETS)?;
    if tables.is_empty() {
        return Err(fields.missing(key, example));
    }
    let mut seen = std::collections::BTreeSet::new();
    for table in &tables {
        let id = required_id(table)?;
        if !seen.insert(id.clone()) {
            let message = format!("two {key}s of [align] are called `{id}`");
            return Err(super::contradiction(&table.context, &table.span_of("id"), message)
                .with_hint("give each its own id, so that a bad one can be named"));
        }
    }
    Ok(tables)
}

fn required_id(table: &Fields<'_>) -> Result<String, PlanError> {
    Ok(table.id("id")?.ok_or_else(|| table.missing("id", "id = \"t1\""))?.value)
}

fn point(table: &Fields<'_>, key: &str) -> Result<Point3<f64>, PlanError> {
    let numbers =
        table.lengths_mm::<3>(key)?.ok_or_else(|| table.missing(key, &format!("{key} = [0.0, 0.0, 0.0]")))?;
    Ok(Point3::from(numbers))
}

fn scan_point(table: &Fields<'_>, scan_units: LengthUnit) -> Result<Point3<f64>, PlanError> {
    point(&table.in_units(scan_units), "scan")
}

fn read_reference(fields: &Fields<'_>) -> Result<String, PlanError> {
    let given =
        fields.text("reference")?.ok_or_else(|| fields.missing("reference", "reference = \"front.stl\""))?;
    if given.value.trim().is_empty() {
        return Err(fields.bad_value("reference", "the path of a mesh or an earlier scan", "nothing"));
    }
    Ok(given.value.to_owned())
}

/// `start = { turn_deg = [x, y, z], shift = [x, y, z] }`: a rotation vector in degrees about the scanner's origin, then a
/// shift in the plan's unit.
fn read_start(fields: &Fields<'_>) -> Result<Isometry3<f64>, PlanError> {
    let Some(table) = fields.table("start", "`start` of [align]", START_KEYS)? else {
        return Ok(Isometry3::identity());
    };
    let turn = table.numbers::<3>("turn_deg")?.unwrap_or([0.0; 3]).map(f64::to_radians);
    let shift_mm = table.lengths_mm::<3>("shift")?.unwrap_or([0.0; 3]);
    let rotation = UnitQuaternion::from_scaled_axis(Vector3::from(turn));
    if !rotation.coords.iter().all(|value| value.is_finite()) {
        return Err(table.bad_value("turn_deg", "angles in degrees", table.written("turn_deg")));
    }
    Ok(Isometry3::from_parts(Translation3::from(Vector3::from(shift_mm)), rotation))
}

/// The table as text that [`read`] takes for the same; nothing for `none`.
pub(super) fn align_text(terms: &AlignTerms, units: LengthUnit, scan_units: LengthUnit) -> String {
    let list = |values: [f64; 3], unit: LengthUnit| {
        let [x, y, z] = values.map(|value| value / unit.mm());
        format!("[{x:?}, {y:?}, {z:?}]")
    };
    let number = |value_mm: f64| format!("{:?}", value_mm / units.mm());
    let mut text = format!("\n[align]\nway = \"{}\"\n", terms.way());
    match terms {
        AlignTerms::None => return String::new(),
        AlignTerms::DatumTargets { targets } => {
            for target in targets {
                text.push_str(&format!(
                    "[[align.target]]\nid = \"{}\"\nscan = {}\ncar = {}\ndirection = {}\nu = {}\n",
                    target.id,
                    list(target.scan.into(), scan_units),
                    list(target.car.into(), units),
                    list(target.direction.into(), LengthUnit::Millimetre),
                    number(target.u_mm),
                ));
            }
        }
        AlignTerms::PointPairs { pairs, limit_mm } => {
            text.push_str(&format!("limit = {}\n", number(*limit_mm)));
            for pair in pairs {
                text.push_str(&format!(
                    "[[align.pair]]\nid = \"{}\"\nscan = {}\ncar = {}\n",
                    pair.id,
                    list(pair.scan.into(), scan_units),
                    list(pair.car.into(), units),
                ));
                if let Some(diameter_mm) = pair.sphere_diameter_mm {
                    text.push_str(&format!("sphere_diameter = {}\n", number(diameter_mm)));
                }
            }
        }
        AlignTerms::BestFit { reference, start, limit_mm } => {
            let turn_deg: [f64; 3] = start.rotation.scaled_axis().map(f64::to_degrees).into();
            text.push_str(&format!(
                "reference = {}\nlimit = {}\nstart = {{ turn_deg = {}, shift = {} }}\n",
                toml::Value::String(reference.clone()),
                number(*limit_mm),
                list(turn_deg, LengthUnit::Millimetre),
                list(start.translation.vector.into(), units),
            ));
        }
        AlignTerms::Coarse { reference, limit_mm } => {
            let reference = toml::Value::String(reference.clone());
            text.push_str(&format!("reference = {reference}\nlimit = {}\n", number(*limit_mm)));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Curve;
    use crate::plan::PlanText;

    const PLAN: &str = "title = 'Two panels'\nunits = 'inch'\n[scan]\nunits = 'm'\n[panels.a]\n[panels.b]\n\
        [[seam]]\nid = 'a-b'\ndatum_panel = 'a'\nother_panel = 'b'\ndatum_side = 'left'\ncurve = 'a-b.csv'\n\
        gap = { nominal = 0.2, minus = 0.1, plus = 0.1 }\nflush = { nominal = 0, minus = 0.1, plus = 0.1 }\n\
        station_spacing = 0.4\n";

    fn terms(table: &str) -> Result<AlignTerms, String> {
        let straight = |_: &_| {
            Curve::through(&[Point3::origin(), Point3::new(900.0, 0.0, 0.0)], None)
                .map_err(|error| error.to_string())
        };
        PlanText::parse(&format!("{PLAN}{table}"), "two.seams.toml")
            .and_then(|text| text.into_plan(straight))
            .map(|plan| plan.align)
            .map_err(|error| error.to_string())
    }

    #[test]
    fn points_of_the_scan_are_in_the_scans_unit_and_the_cars_in_the_plans() {
        let table = "[align]\nway = 'point-pairs'\n[[align.pair]]\nid = 't1'\nscan = [1, 0, 0]\ncar = [1, 0, 0]\n\
            sphere_diameter = 1.5\n";
        let AlignTerms::PointPairs { pairs, limit_mm } = terms(table).unwrap() else { panic!("{table}") };
        assert!((pairs[0].scan.x - 1000.0).abs() < 1e-9 && (pairs[0].car.x - 25.4).abs() < 1e-12);
        assert_eq!((pairs[0].sphere_diameter_mm, limit_mm), (Some(1.5 * 25.4), DEFAULT_PAIR_LIMIT_MM));
    }

    #[test]
    fn no_table_means_that_the_frames_agree() {
        assert_eq!(terms(""), Ok(AlignTerms::None));
        let start = "[align]\nway = 'best-fit'\nreference = 'front.stl'\nstart = { turn_deg = [0, 0, 90] }\n";
        let AlignTerms::BestFit { start, .. } = terms(start).unwrap() else { panic!("{start}") };
        assert!((start * Point3::new(1.0, 0.0, 0.0) - Point3::new(0.0, 1.0, 0.0)).norm() < 1e-15);
    }

    #[test]
    fn faults_are_refused_with_what_to_do() {
        let faults = [
            ("[align]\nway = 'best'\nreference = 'a'", "best-fit"),
            ("[align]\nway = 'best-fit'", "`reference` is missing"),
            ("[align]\nway = 'coarse'\nreference = 'a'\nstart = {}", "no meaning"),
            ("[align]\nway = 'datum-targets'", "`target` is missing"),
            (
                "[align]\nway = 'datum-targets'\n[[align.target]]\nid = 'a'\nscan = [0,0,0]\ncar = [0,0,0]\n\
                 direction = [0,0,0]",
                "not zero",
            ),
            (
                "[align]\nway = 'point-pairs'\n[[align.pair]]\nid = 'a'\nscan = [0,0,0]\ncar = [0,0,0]\n\
                 [[align.pair]]\nid = 'a'\nscan = [0,0,0]\ncar = [0,0,0]",
                "two pairs",
            ),
        ];
        for (table, part) in faults {
            let shown = terms(table).expect_err(table);
            assert!(shown.contains(part), "{table}\n{shown}");
        }
    }

    /// `[align]` tables written by [`align_text`] are read as the same, to rounding of units.
    #[test]
    fn what_is_written_is_read_back() {
        let tables = [
            "[align]\nway = 'best-fit'\nreference = 'a \"b\".stl'\nstart = { turn_deg = [0, 0, 90], shift = [1, 2, 3] }\n",
            "[align]\nway = 'coarse'\nreference = 'front.stl'\nlimit = 0.25\n",
            "[align]\nway = 'point-pairs'\n[[align.pair]]\nid = 'a'\nscan = [1, 2, 3]\ncar = [4, 5, 6]\n\
             sphere_diameter = 1\n",
            "[align]\nway = 'datum-targets'\n[[align.target]]\nid = 'a'\nscan = [1, 2, 3]\ncar = [4, 5, 6]\n\
             direction = [0, 0, 1]\n",
        ];
        for table in tables {
            let first = terms(table).unwrap();
            let written = align_text(&first, LengthUnit::Inch, LengthUnit::Metre);
            let second = terms(&written).unwrap_or_else(|error| panic!("{written}\n{error}"));
            let again = align_text(&second, LengthUnit::Inch, LengthUnit::Metre);
            let numbers = |text: &str| -> Vec<f64> {
                text.split(|c: char| " ,[]\n".contains(c)).filter_map(|word| word.parse().ok()).collect()
            };
            assert_eq!(first.way(), second.way());
            assert_eq!(first.reference(), second.reference());
            let (written, again) = (numbers(&written), numbers(&again));
            assert_eq!(written.len(), again.len());
            assert!(written.iter().zip(&again).all(|(a, b)| (a - b).abs() < 1e-9), "{written:?} {again:?}");
        }
    }
}

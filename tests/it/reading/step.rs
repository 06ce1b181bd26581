//! Curves of STEP files written by a CAD kernel; `data/README.md` says which. Truth: closed forms from what the kernel was told,
//! and for edges of solids the kernel's own lengths and points (`ocp-*.csv`: nine points an edge, in the file's unit).

use std::f64::consts::{FRAC_PI_2, TAU};
use std::path::{Path, PathBuf};

use nalgebra::Point3;
use shutline::files::{CurveFile, ReadError, read_curve};
use shutline::units::LengthUnit;

/// What 1e-6 of a curve's size as sagitta leaves of its length: less than this share.
const LENGTH_SHARE: f64 = 2e-6;
/// Sagitta of chords, and the digits of the file (1e-12 of lengths, 1e-7 between vertex and curve).
const OFF_SHARE: f64 = 2e-6;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/reading/data").join(name)
}

fn only(name: &str) -> Vec<Point3<f64>> {
    read_curve(&data(name), None, LengthUnit::Millimetre).unwrap_or_else(|error| panic!("{error}")).points
}

fn near(
    file: &CurveFile,
    name: Option<&str>,
    places: &[[f64; 3]],
    unit: LengthUnit,
) -> Result<Vec<Point3<f64>>, ReadError> {
    file.curve(name, places, unit).map(|curve| curve.points)
}

fn length(points: &[Point3<f64>]) -> f64 {
    points.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum()
}

fn off(points: &[Point3<f64>], place: &Point3<f64>) -> f64 {
    let chord = |pair: &[Point3<f64>]| {
        let along = pair[1] - pair[0];
        let share = ((place - pair[0]).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
        (pair[0] + along * share - place).norm()
    };
    points.windows(2).map(chord).fold(f64::INFINITY, f64::min)
}

/// Ends to 1e-9: files are written to 1e-12 or so.
fn check(points: &[Point3<f64>], first: [f64; 3], last: [f64; 3], wanted: f64) {
    let (start, end) = (points.first().unwrap(), points.last().unwrap());
    assert!((start - Point3::from(first)).norm() < 1e-9, "starts at {start}");
    assert!((end - Point3::from(last)).norm() < 1e-9, "ends at {end}");
    let found = length(points);
    assert!((found - wanted).abs() < LENGTH_SHARE * wanted, "{found} long, not {wanted}");
}

/// The kernel's edges: length and points, mm.
fn truth(name: &str, unit: LengthUnit) -> Vec<(f64, Vec<Point3<f64>>)> {
    let mut edges: Vec<(f64, Vec<Point3<f64>>)> = Vec::new();
    for row in csv::Reader::from_path(data(name)).unwrap().records() {
        let row = row.unwrap();
        let number = |column: usize| row[column].parse::<f64>().unwrap() * unit.mm();
        if edges.last().is_none_or(|(_, points)| points.len() == 9) {
            edges.push((number(1), Vec::new()));
        }
        edges.last_mut().unwrap().1.push(Point3::new(number(2), number(3), number(4)));
    }
    // Poles of round corners are edges without length in the kernel and none in the file.
    edges.retain(|(length, _)| *length > 1e-6);
    edges
}

/// Picks every edge by three places on it, in its direction and against it.
fn check_edges(name: &str, unit: LengthUnit, wanted_count: usize) {
    let file = CurveFile::open(&data(&format!("{name}.step"))).unwrap();
    let edges = truth(&format!("{name}.csv"), unit);
    assert_eq!(edges.len(), wanted_count);
    for (index, (wanted, points)) in edges.iter().enumerate() {
        let mut places: Vec<[f64; 3]> = [2, 4, 6].map(|place| points[place].into()).to_vec();
        for direction in ["along", "against"] {
            let found =
                near(&file, None, &places, unit).unwrap_or_else(|error| panic!("edge {index}: {error}"));
            let what = format!("{name}, edge {index}, {direction}");
            assert!(
                (length(&found) - wanted).abs() < LENGTH_SHARE * wanted,
                "{what}: {} not {wanted}",
                length(&found)
            );
            for point in points {
                assert!(
                    off(&found, point) < OFF_SHARE * wanted,
                    "{what}: {point} is {} off",
                    off(&found, point)
                );
            }
            let start = if direction == "along" { points.first() } else { points.last() };
            assert!((found[0] - start.unwrap()).norm() < OFF_SHARE * wanted, "{what} starts at {}", found[0]);
            places.reverse();
        }
    }
}

/// Pieces of a parabola and of hyperbolas, one against its sense. The kernel counts a parabola's parameter in millimetres and
/// not as the standard does, so that the points beside it must count.
#[test]
fn conics_without_a_period_are_the_kernels() {
    check_edges("ocp-conics", LengthUnit::Millimetre, 4);
}

#[test]
fn one_curve_files_need_no_name() {
    let (half_root_three, quarter) = (0.75_f64.sqrt(), FRAC_PI_2);
    check(&only("ocp-line.step"), [0.0; 3], [10.0, 0.0, 5.0], 125.0_f64.sqrt());
    // A quarter of a circle of radius 5 round (1, 2, 3), from 30° on, in a plane turned by 30° about x.
    let arc = only("ocp-arc.step");
    assert!(arc.iter().all(|point| ((point - Point3::new(1.0, 2.0, 3.0)).norm() - 5.0).abs() < 1e-9));
    assert!((arc[0].x - (1.0 + 5.0 * half_root_three)).abs() < 1e-9);
    assert!((length(&arc) - 5.0 * quarter).abs() < LENGTH_SHARE * 5.0 * quarter);
    // A quarter of an ellipse with axes 10 and 5: 10 E(3/4), E the complete elliptic integral.
    let ellipse = length(&only("ocp-ellipse.step"));
    assert!((ellipse - 12.110_560_276).abs() < LENGTH_SHARE * 12.2, "{ellipse}");
    // The middle of a cubic Bezier curve is (p0 + 3 p1 + 3 p2 + p3) / 8; the part from 0.25 to 0.75 has the same middle.
    let middle = Point3::new(10.0, 5.0, 0.625);
    for name in ["ocp-spline.step", "ocp-part.step"] {
        assert!(off(&only(name), &middle) < 1e-4 * OFF_SHARE.sqrt(), "{name}");
    }
    check(
        &only("ocp-part.step"),
        [5.9375, 1.5625, 0.078_125],
        [14.0625, 8.4375, 2.109_375],
        length(&only("ocp-part.step")),
    );
    // The rational quadratic with weights 1, cos 45°, 1 is a quarter of a circle of radius 10.
    let rational = only("ocp-rational.step");
    check(&rational, [0.0; 3], [10.0, 10.0, 0.0], 10.0 * quarter);
    assert!(rational.iter().all(|point| ((point - Point3::new(0.0, 10.0, 0.0)).norm() - 10.0).abs() < 1e-9));
}

#[test]
fn closed_edges_go_round_from_their_vertex() {
    let file = CurveFile::open(&data("ocp-cylinder.step")).unwrap();
    let top = near(&file, None, &[[5.0, 0.0, 11.0]], LengthUnit::Millimetre).unwrap();
    check(&top, [5.0, 0.0, 10.0], [5.0, 0.0, 10.0], 5.0 * TAU);
}

#[test]
fn edges_of_solids_are_as_the_kernel_says() {
    check_edges("ocp-rounded-box", LengthUnit::Millimetre, 48);
    check_edges("ocp-prism-inch", LengthUnit::Inch, 12);
    check_edges("ocp-assembly", LengthUnit::Millimetre, 96);
}

#[test]
fn shapes_are_had_by_name_and_the_message_lists_names() {
    let unit = LengthUnit::Millimetre;
    let file = CurveFile::open(&data("ocp-assembly.step")).unwrap();
    // The part stands twice: once moved by 100 along x, once turned by 60° about z and moved by (0, 200, 50). Along its
    // longest edge, from (3, 0, 17) to (37, 0, 17), it has 34 mm.
    let right = near(&file, Some("door skin"), &[[105.0, 0.0, 17.0], [135.0, 0.0, 17.0]], unit).unwrap();
    check(&right, [103.0, 0.0, 17.0], [137.0, 0.0, 17.0], 34.0);
    let (half, root) = (0.5, 0.75_f64.sqrt());
    let turned = |x: f64| [x * half, 200.0 + x * root, 67.0];
    let left = near(&file, Some("left doors"), &[turned(5.0), turned(35.0)], unit).unwrap();
    check(&left, turned(3.0), turned(37.0), 34.0);
    // The group holds one of the two parts only.
    assert!(matches!(
        near(&file, Some("left doors"), &[[105.0, 0.0, 17.0]], unit),
        Err(ReadError::NothingNear { .. })
    ));
    let several = near(&file, Some("door skin"), &[], unit).unwrap_err().to_string();
    assert!(
        several.contains("96 edges") && several.contains("\"left doors\"") && several.contains("curve_near"),
        "{several}"
    );
    let none = near(&file, Some("roof"), &[], unit).unwrap_err().to_string();
    assert!(none.contains("\"door skin\""), "{none}");
}

#[test]
fn places_in_a_row_follow_a_chain_of_edges() {
    let file = CurveFile::open(&data("ocp-rounded-box.step")).unwrap();
    // Round a corner of the top face: a straight edge, and the next one; the top face's own outline has sharp corners.
    let places = [[10.0, 3.0, 20.0], [37.0, 10.0, 20.0]];
    let points = near(&file, None, &places, LengthUnit::Millimetre).unwrap();
    check(&points, [3.0, 3.0, 20.0], [37.0, 27.0, 20.0], 34.0 + 24.0);
    let apart = near(&file, None, &[[10.0, 3.0, 20.0], [10.0, 27.0, 20.0]], LengthUnit::Millimetre)
        .unwrap_err()
        .to_string();
    assert!(apart.contains("24.000 mm apart"), "{apart}");
}

#[test]
fn the_pieces_of_a_wire_are_joined() {
    // A spline, half an ellipse and two lines, in a ring; the kernel's own lengths of the four.
    let wanted: f64 =
        truth("ocp-wire-242.csv", LengthUnit::Millimetre).iter().map(|(length, _)| length).sum();
    let points = only("ocp-wire-242.step");
    check(&points, [0.0; 3], [0.0; 3], wanted);
}

#[test]
fn the_files_unit_must_be_the_plans() {
    for (name, unit, found) in [
        ("ocp-prism-inch.step", LengthUnit::Millimetre, "inch"),
        ("ocp-rounded-box.step", LengthUnit::Inch, "mm"),
        ("ocp-wire-metre.step", LengthUnit::Millimetre, "m"),
    ] {
        let error = near(&CurveFile::open(&data(name)).unwrap(), None, &[[0.0; 3]], unit).unwrap_err();
        assert!(
            matches!(&error, ReadError::UnitContradiction { file_unit, .. } if file_unit == found),
            "{name}: {error}"
        );
    }
}

/// A file by hand, in millimetres and degrees, with these curves in a set.
fn by_hand(items: &str, data: &str) -> Result<CurveFile, ReadError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("hand.stp");
    let text = format!(
        "ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('CONFIG_CONTROL_DESIGN'));\nENDSEC;\nDATA;\n\
         #1=SHAPE_REPRESENTATION('',(#2),#3);\n#2=GEOMETRIC_CURVE_SET('all',({items}));\n\
         #3=(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNIT_ASSIGNED_CONTEXT((#4,#5))REPRESENTATION_CONTEXT('',''));\n\
         #4=(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.));\n\
         #5=(CONVERSION_BASED_UNIT('DEGREE',#6)NAMED_UNIT(#8)PLANE_ANGLE_UNIT());\n\
         #6=PLANE_ANGLE_MEASURE_WITH_UNIT(PLANE_ANGLE_MEASURE(0.017453292519943295),#7);\n\
         #7=(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.));\n#8=DIMENSIONAL_EXPONENTS(0.,0.,0.,0.,0.,0.,0.);\n\
         #10=CARTESIAN_POINT('',(0.,0.,0.));#11=CARTESIAN_POINT('',(10.,0.,0.));#12=CARTESIAN_POINT('',(10.,5.,0.));\n\
         #13=AXIS2_PLACEMENT_3D('',#10,$,$);#14=DIRECTION('',(1.,0.,0.));#15=VECTOR('',#14,2.);#16=LINE('',#10,#15);\n\
         {data}\nENDSEC;\nEND-ISO-10303-21;\n"
    );
    std::fs::write(&path, text).unwrap();
    CurveFile::open(&path)
}

#[test]
fn trims_by_degrees_and_senses_are_followed() {
    let unit = LengthUnit::Millimetre;
    let arc = |from: &str, to: &str, sense: &str| {
        let data = format!(
            "#20=CIRCLE('',#13,10.);\n#21=TRIMMED_CURVE('T\\X2\\00FC\\X0\\r',#20,({from}),({to}),.{sense}.,.PARAMETER.);"
        );
        near(&by_hand("#21", &data).unwrap(), Some("Tür"), &[], unit).unwrap()
    };
    let (zero, quarter) = ("PARAMETER_VALUE(0.)", "PARAMETER_VALUE(90.)");
    check(&arc(zero, quarter, "T"), [10.0, 0.0, 0.0], [0.0, 10.0, 0.0], 5.0 * std::f64::consts::PI);
    check(&arc(zero, quarter, "F"), [10.0, 0.0, 0.0], [0.0, 10.0, 0.0], 15.0 * std::f64::consts::PI);
    check(&arc(quarter, zero, "F"), [0.0, 10.0, 0.0], [10.0, 0.0, 0.0], 5.0 * std::f64::consts::PI);
    check(&arc("#11", quarter, "T"), [10.0, 0.0, 0.0], [0.0, 10.0, 0.0], 5.0 * std::f64::consts::PI);
    // A line's parameter counts its vector, which is 2 long.
    let line =
        by_hand("#20", "#20=TRIMMED_CURVE('',#16,(PARAMETER_VALUE(1.)),(#11),.T.,.UNSPECIFIED.);").unwrap();
    check(&near(&line, Some("20"), &[], unit).unwrap(), [2.0, 0.0, 0.0], [10.0, 0.0, 0.0], 8.0);
}

#[test]
fn composite_curves_turn_their_segments() {
    let unit = LengthUnit::Millimetre;
    let data = "#20=POLYLINE('',(#10,#11));#21=POLYLINE('',(#12,#11));\n\
        #22=COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,.T.,#20);#23=COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,.F.,#21);\n\
        #24=COMPOSITE_CURVE('seam',(#22,#23),.F.);#25=POLYLINE('loose',(#10,#12));";
    let file = by_hand("#24,#25,#16", data).unwrap();
    check(&near(&file, Some("seam"), &[], unit).unwrap(), [0.0; 3], [10.0, 5.0, 0.0], 15.0);
    check(
        &near(&file, None, &[[5.0, 2.6, 0.0]], unit).unwrap(),
        [0.0; 3],
        [10.0, 5.0, 0.0],
        125.0_f64.sqrt(),
    );
    let gap = by_hand("#24", &data.replace(".F.,#21", ".T.,#21")).unwrap();
    assert!(near(&gap, None, &[], unit).unwrap_err().to_string().contains("does not begin where"));
}

#[test]
fn hostile_files_end_in_errors() {
    let unit = LengthUnit::Millimetre;
    let circles = |count: usize| {
        // Every composite holds the one before it twice.
        let pairs = (0..count).map(|index| {
            let (id, inner) = (100 + 2 * index, if index == 0 { 20 } else { 99 + 2 * index });
            format!(
                "#{id}=COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,.T.,#{inner});#{}=COMPOSITE_CURVE('',(#{id},#{id}),.F.);\n",
                id + 1
            )
        });
        format!("#20=CIRCLE('',#13,1.);{}", pairs.collect::<String>())
    };
    for (items, data, expected) in [
        ("#20", "#20=COMPOSITE_CURVE('',(#21),.F.);#21=COMPOSITE_CURVE_SEGMENT(.CONTINUOUS.,.T.,#20);".to_owned(), "nested too deep"),
        ("#159", circles(30), "nested too deep"),
        ("#20", "#20=CIRCLE('',#13,-1.);".to_owned(), "radius"),
        ("#20", "#20=CIRCLE('',#13,1.E300);".to_owned(), ""),
        ("#20", "#20=B_SPLINE_CURVE_WITH_KNOTS('',2,(#10,#11,#12),.UNSPECIFIED.,.F.,.F.,(3,999999999),(0.,1.),.UNSPECIFIED.);".to_owned(), "do not fit"),
        ("#20", "#20=B_SPLINE_CURVE_WITH_KNOTS('',99999999,(#10,#11),.UNSPECIFIED.,.F.,.F.,(3,3),(0.,1.),.UNSPECIFIED.);".to_owned(), "do not fit"),
        ("#20", "#20=TRIMMED_CURVE('',#20,(#10),(#11),.T.,.CARTESIAN.);".to_owned(), "nested too deep"),
        ("#20", "#20=SURFACE_CURVE('',#20,(),.CURVE_3D.);".to_owned(), "nested too deep"),
        ("#99", String::new(), "no such instance"),
        ("#16", String::new(), "no ends"),
        ("#20", "#20=POLYLINE('',(#10));".to_owned(), "fewer than two"),
        ("#20", "#20=POLYLINE('',(#10,#5));".to_owned(), "no point"),
    ] {
        let result = by_hand(items, &data).and_then(|file| near(&file, None, &[], unit));
        match result {
            Err(error) => assert!(error.to_string().contains(expected), "{data}\n{error}"),
            Ok(points) => assert!(expected.is_empty() && points.len() > 1, "{data}"),
        }
    }
    // An assembly that contains itself, and one that doubles at every level.
    let link = |id: usize, part: usize, whole: usize| {
        format!(
            "#{id}=(REPRESENTATION_RELATIONSHIP('','',#{part},#{whole})REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION(#{})\
             SHAPE_REPRESENTATION_RELATIONSHIP());#{}=ITEM_DEFINED_TRANSFORMATION('','',#13,#13);\n",
            id + 1,
            id + 1
        )
    };
    let ring = by_hand("#20", &format!("#20=POLYLINE('',(#10,#11));{}", link(30, 1, 1))).err().unwrap();
    assert!(ring.to_string().contains("contains itself"), "{ring}");
    let levels: String = (0..40)
        .map(|level| {
            let (part, whole) = (if level == 0 { 1 } else { 200 + level }, 201 + level);
            format!(
                "#{whole}=SHAPE_REPRESENTATION('',(),#3);{}{}",
                link(300 + 4 * level, part, whole),
                link(302 + 4 * level, part, whole)
            )
        })
        .collect();
    let doubling = by_hand("#20", &format!("#20=POLYLINE('',(#10,#11));{levels}")).err().unwrap();
    assert!(doubling.to_string().contains("more parts than a car"), "{doubling}");
}

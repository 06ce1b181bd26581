//! Strips, sections and tables of the hand-made seams, as last accepted.

use super::accepted::check;
use super::made_seams::{judged, plan};
use shutline::render::{SectionSettings, StripSettings, readings_csv, section_png, strip_png};
use shutline::units::LengthUnit;

fn ends() -> [String; 2] {
    ["front".to_owned(), "rear".to_owned()]
}

#[test]
fn a_strip_shows_every_verdict() {
    let plan = plan(LengthUnit::Millimetre);
    let seams = judged(&plan);
    let settings = StripSettings { ends: ends(), ..StripSettings::default() };
    check("strip-hood-fender-left.png", &strip_png(&plan, &seams[0], &settings).unwrap());
    check("strip-hood-fender-right.png", &strip_png(&plan, &seams[1], &settings).unwrap());
}

#[test]
fn a_good_strip_is_quiet() {
    let plan = plan(LengthUnit::Millimetre);
    let seams = judged(&plan);
    check("strip-hood-cowl.png", &strip_png(&plan, &seams[2], &StripSettings::default()).unwrap());
}

#[test]
fn a_strip_fits_a_phone_and_speaks_german_and_inches() {
    let plan = plan(LengthUnit::Inch);
    let seams = judged(&plan);
    let settings = StripSettings {
        width: 340.0,
        language: shutline::render::Language::German,
        ends: ["vorn".to_owned(), "hinten".to_owned()],
        ..StripSettings::default()
    };
    check("strip-phone-german-inch.png", &strip_png(&plan, &seams[0], &settings).unwrap());
}

#[test]
fn a_section_shows_points_fits_gap_and_flush() {
    let plan = plan(LengthUnit::Millimetre);
    let seams = judged(&plan);
    let settings = SectionSettings::default();
    check("section-tight.png", &section_png(&plan, &seams[0], 40, &settings).unwrap());
    check("section-low.png", &section_png(&plan, &seams[1], 54, &settings).unwrap());
    check("section-unseen.png", &section_png(&plan, &seams[0], 28, &settings).unwrap());
}

#[test]
fn the_table_of_readings_is_as_accepted() {
    let plan = plan(LengthUnit::Millimetre);
    check("readings.csv", readings_csv(&plan, &judged(&plan)).unwrap().as_bytes());
}

#[test]
fn the_table_has_the_published_header_and_empty_cells_where_unseen() {
    for (units, suffix) in [(LengthUnit::Millimetre, "mm"), (LengthUnit::Inch, "in")] {
        let plan = plan(units);
        let table = readings_csv(&plan, &judged(&plan)).unwrap();
        let header = "seam,station,along_mm,x_mm,y_mm,z_mm,gap_mm,gap_u_mm,gap_verdict,flush_mm,flush_u_mm,flush_verdict,reason"
            .replace("_mm", &format!("_{suffix}"));
        assert_eq!(table.lines().next().unwrap(), header);
        let unseen = table.lines().find(|line| line.ends_with("edge-not-seen")).unwrap();
        assert!(unseen.contains(",,,unseen,,,unseen,edge-not-seen"), "{unseen}");
    }
}

#[test]
fn the_same_picture_is_the_same_bytes() {
    let plan = plan(LengthUnit::Millimetre);
    let seams = judged(&plan);
    let settings = StripSettings::default();
    assert_eq!(
        strip_png(&plan, &seams[0], &settings).unwrap(),
        strip_png(&plan, &seams[0], &settings).unwrap()
    );
}

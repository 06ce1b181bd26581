//! What the script knows: places and colours of the stations, the thinned scan, the sections. Numbers in words are taken
//! from the table, so that page and script cannot say different things.
//!
//! In: [`Results`], thinned scan. Out: a JSON element and two base64 elements. Units: mm in the Car frame.
//! The scan is quantised to 16 bits over its extent (0.1 mm over 6 m) with a normal of two bytes for shading.
//! Does not hold what the page shows anyway.

use std::collections::BTreeMap;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use maud::{Markup, PreEscaped, html};
use nalgebra::{Point3, Vector3};
use serde::Serialize;

use super::ReportSettings;
use super::list::{station_place, worst_places};
use super::section_data::section_data;
use crate::frames::CarAxes;
use crate::measure::Warning;
use crate::plan::Side;
use crate::render::format::unit_name;
use crate::render::ink::{Ink, mark, severity};
use crate::render::overview::station_ink;
use crate::render::run_facts::Results;
use crate::render::strip::panel_title;
use crate::render::texts::reading_warning;
use crate::scan::surface_normals;

/// Most letters in the view in space.
const MOST_MARKS: usize = 12;

#[derive(Serialize)]
struct PageData<'a> {
    unit: &'static str,
    /// mm in one unit.
    unit_mm: f64,
    /// Rearward, leftward, upward.
    axes: [[f64; 3]; 3],
    seams: Vec<SeamData<'a>>,
    surface: Frame,
    /// Seam, station, letter and ink of the worst places.
    marks: Vec<(usize, usize, &'static str, &'static str)>,
    words: Words,
    /// Warnings about readings in words; empty where not shown.
    warnings: Vec<String>,
}

#[derive(Serialize)]
struct SeamData<'a> {
    id: &'a str,
    title: &'a str,
    /// Names of the panels on the left and on the right; the datum panel's place: 0 or 1.
    panels: [&'a str; 2],
    datum: usize,
    along: Vec<f64>,
    /// Station points, then outward normals, three numbers each.
    points: Vec<f64>,
    normals: Vec<f64>,
    inks: Vec<&'static str>,
    /// Of stations that carry warnings: place in the seam, and places in the page's `warnings`.
    warned: BTreeMap<usize, Vec<usize>>,
}

/// `point = low + step * integer`.
#[derive(Serialize)]
struct Frame {
    count: usize,
    low: [f64; 3],
    step: f64,
}

#[derive(Serialize)]
struct Words {
    datum: &'static str,
    gap: &'static str,
    flush: &'static str,
    rows: &'static str,
}

pub(super) fn data(results: &Results<'_>, settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    let axes = results.plan.axes().copied().unwrap_or_else(CarAxes::x_rearward);
    let (frame, packed) = packed_surface(&settings.surface);
    let data = PageData {
        unit: unit_name(results.plan.units),
        unit_mm: results.plan.units.mm(),
        axes: [-axes.forward(), axes.left(), axes.up()].map(Into::into),
        seams: results.judged.iter().filter_map(|judged| seam_data(results, judged)).collect(),
        surface: frame,
        marks: marks(results),
        words: Words { datum: texts.datum, gap: texts.gap, flush: texts.flush, rows: texts.rows_shown },
        warnings: Warning::ALL
            .map(|warning| reading_warning(warning, results.plan.units, settings.language))
            .into(),
    };
    // Nothing of this can fail to be written; `</` would end the element.
    let json = serde_json::to_string(&data).unwrap_or_default().replace("</", "<\\/");
    html! {
        script type="application/json" id="data" { (PreEscaped(json)) }
        script type="text/plain" id="surface" { (packed) }
        script type="text/plain" id="sections" { (section_data(results.judged)) }
    }
}

/// The worst places, as many as can stand in a view without covering it.
fn marks(results: &Results<'_>) -> Vec<(usize, usize, &'static str, &'static str)> {
    worst_places(results)
        .iter()
        .take(MOST_MARKS)
        .filter_map(|place| {
            let (seam, station) = station_place(results, place.judged, place.place.station_index)?;
            let ink =
                Ink::of_verdict(place.place.verdict, severity(place.place.value_mm, &place.tolerance()));
            Some((seam, station, mark(place.place.verdict), ink.css_name()))
        })
        .collect()
}

fn seam_data<'a>(results: &Results<'a>, judged: &'a crate::judge::JudgedSeam) -> Option<SeamData<'a>> {
    let seam = results.plan.seam(&judged.seam)?;
    let round = |value: f64, places: f64| (value * places).round() / places;
    let stations = || judged.stations.iter();
    let panel = |side: Side| panel_title(results.plan, seam.panel_on(side));
    Some(SeamData {
        id: &seam.id.0,
        title: &seam.title,
        panels: [panel(Side::Left), panel(Side::Right)],
        datum: usize::from(seam.datum_side == Side::Right),
        along: stations().map(|station| round(station.reading.station.along_mm, 10.0)).collect(),
        points: stations()
            .flat_map(|station| station.reading.point.coords.iter().copied().collect::<Vec<_>>())
            .map(|value| round(value, 10.0))
            .collect(),
        normals: stations()
            .flat_map(|station| station.reading.frame.outward.iter().copied().collect::<Vec<_>>())
            .map(|value| round(value, 100.0))
            .collect(),
        inks: stations().map(|station| station_ink(station).0.css_name()).collect(),
        warned: stations()
            .map(|station| {
                station.reading.warnings.iter().map(|warning| *warning as usize).collect::<Vec<usize>>()
            })
            .enumerate()
            .filter(|(_, warnings)| !warnings.is_empty())
            .collect(),
    })
}

/// Eight bytes a point: three `u16` little endian and an octahedral normal of two `i8` (Q. Meyer and others, "On
/// floating-point normal vectors", Computer Graphics Forum 29 (2010) 1405).
fn packed_surface(points: &[Point3<f64>]) -> (Frame, String) {
    let bound = |axis: usize, pick: fn(f64, f64) -> f64, start: f64| {
        points.iter().map(|point| point[axis]).fold(start, pick)
    };
    let low = [0, 1, 2].map(|axis| bound(axis, f64::min, f64::INFINITY)).map(finite_or_zero);
    let high = [0, 1, 2].map(|axis| bound(axis, f64::max, f64::NEG_INFINITY)).map(finite_or_zero);
    let extent_mm = (0..3).map(|axis| high[axis] - low[axis]).fold(1.0, f64::max);
    let step = extent_mm / f64::from(u16::MAX);
    let mut bytes = Vec::with_capacity(points.len() * 8);
    for (point, normal) in points.iter().zip(surface_normals(points)) {
        for axis in 0..3 {
            bytes.extend((((point[axis] - low[axis]) / step).round() as u16).to_le_bytes());
        }
        bytes.extend(octahedral(&normal).map(|value| (value * 127.0).round() as i8 as u8));
    }
    (Frame { count: points.len(), low, step }, STANDARD.encode(bytes))
}

fn finite_or_zero(value: f64) -> f64 {
    if value.is_finite() { value } else { 0.0 }
}

fn octahedral(normal: &Vector3<f64>) -> [f64; 2] {
    let length = normal.iter().map(|value| value.abs()).sum::<f64>().max(1e-9);
    let [x, y] = [normal.x / length, normal.y / length];
    if normal.z >= 0.0 { [x, y] } else { [(1.0 - y.abs()).copysign(x), (1.0 - x.abs()).copysign(y)] }
}

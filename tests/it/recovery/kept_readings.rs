//! Readings of rehearsed scans, kept on disk for studies, so that statistics can be scored again without scanning again.
//!
//! Only where the environment names a folder (`READINGS`); without it every scan is made and measured. Kept readings are
//! those of the measuring code of their day: use a new folder when `rehearse` or `measure` have changed.

use std::fs;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::PathBuf;

use nalgebra::{Point3, Vector3};
use serde_json::{Value, json};
use shutline::geometry::CurveFrame;
use shutline::judge::{JudgedSeam, judge_seam, with_finish};
use shutline::measure::{
    Component, EdgeReading, Estimate, Profile, Reason, SeamReadings, StationReading, UncertaintySource,
};
use shutline::plan::{Plan, Seam};

/// Judged seams kept under `settings` (everything that decides them besides the code), or measured now.
pub fn kept(plan: &Plan, settings: &str, measured: impl FnOnce() -> Vec<JudgedSeam>) -> Vec<JudgedSeam> {
    let Some(folder) = std::env::var_os("READINGS") else { return measured() };
    let mut hasher = DefaultHasher::new();
    settings.hash(&mut hasher);
    let file = PathBuf::from(folder).join(format!("{:016x}.json", hasher.finish()));
    if let Ok(text) = fs::read_to_string(&file) {
        let seams: Vec<Value> = serde_json::from_str(&text).unwrap();
        return plan.seams.iter().zip(&seams).map(|(seam, value)| judged(plan, seam, value)).collect();
    }
    let found = measured();
    let text = Value::from(found.iter().map(seam_value).collect::<Vec<_>>()).to_string();
    let unfinished = file.with_extension("part");
    fs::write(&unfinished, text).unwrap();
    fs::rename(&unfinished, &file).unwrap();
    found
}

fn seam_value(seam: &JudgedSeam) -> Value {
    let stations: Vec<Value> = seam.stations.iter().map(|station| station_value(&station.reading)).collect();
    json!({ "seam": seam.seam.0, "stations": stations })
}

fn station_value(reading: &StationReading) -> Value {
    let frame = &reading.frame;
    let edges: Vec<Value> = reading.edges.iter().map(edge_value).collect();
    json!({
        "along_mm": reading.station.along_mm,
        "point": reading.point.coords.as_slice(),
        "frame": [frame.origin.coords.as_slice(), frame.along.as_slice(), frame.outward.as_slice()],
        "gap": estimate_value(&reading.gap),
        "flush": estimate_value(&reading.flush),
        "edges": edges,
    })
}

fn edge_value(edge: &Option<EdgeReading>) -> Value {
    edge.as_ref().map_or(Value::Null, |edge| {
        json!([
            edge.point.x,
            edge.point.y,
            edge.point.z,
            edge.hem_radius_mm,
            edge.hem_radius_u_mm,
            edge.arc_seen_rad,
            edge.flange_depth_mm,
            edge.surface_height_mm,
            edge.surface_slope_rad
        ])
    })
}

fn estimate_value(estimate: &Result<Estimate, Reason>) -> Value {
    match estimate {
        Ok(estimate) => {
            let components: Vec<Value> = estimate
                .components
                .iter()
                .map(|one| json!([one.source.words(), one.u_mm, one.degrees_of_freedom]))
                .collect();
            json!({ "mm": estimate.value_mm, "components": components })
        }
        Err(reason) => json!(reason.token()),
    }
}

fn judged(plan: &Plan, seam: &Seam, value: &Value) -> JudgedSeam {
    assert_eq!(value["seam"], seam.id.0);
    let stations: Vec<StationReading> = seam
        .stations()
        .into_iter()
        .zip(value["stations"].as_array().unwrap())
        .map(|(station, kept)| {
            let [origin, along, outward] = [0, 1, 2].map(|place| numbers(&kept["frame"][place]));
            StationReading {
                station,
                point: Point3::from(vector(&numbers(&kept["point"]))),
                frame: CurveFrame {
                    origin: Point3::from(vector(&origin)),
                    along: vector(&along),
                    outward: vector(&outward),
                },
                gap: estimate(&kept["gap"]),
                flush: estimate(&kept["flush"]),
                edges: [0, 1].map(|side| edge(&kept["edges"][side])),
                warnings: Vec::new(),
                profile: Profile::default(),
            }
        })
        .collect();
    let readings = SeamReadings { seam: seam.id.clone(), stations, points_used: 0, spacing_mm: None };
    with_finish(plan, seam, judge_seam(seam, readings, &plan.decision))
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|one| one.as_f64().unwrap_or(f64::INFINITY)).collect()
}

fn vector(numbers: &[f64]) -> Vector3<f64> {
    Vector3::from_column_slice(numbers)
}

fn edge(value: &Value) -> Option<EdgeReading> {
    let all = value.as_array().map(|_| numbers(value))?;
    Some(EdgeReading {
        point: Point3::from(vector(&all[..3])),
        hem_radius_mm: all[3],
        hem_radius_u_mm: all[4],
        arc_seen_rad: all[5],
        flange_depth_mm: all[6],
        surface_height_mm: all[7],
        surface_slope_rad: all[8],
    })
}

fn estimate(value: &Value) -> Result<Estimate, Reason> {
    if let Some(token) = value.as_str() {
        return Err(Reason::ALL.into_iter().find(|reason| reason.token() == token).unwrap());
    }
    let components = value["components"].as_array().unwrap().iter().map(|one| Component {
        source: UncertaintySource::ALL.into_iter().find(|source| one[0] == source.words()).unwrap(),
        u_mm: one[1].as_f64().unwrap(),
        degrees_of_freedom: one[2].as_f64().unwrap_or(f64::INFINITY),
    });
    Ok(Estimate::from_components(value["mm"].as_f64().unwrap(), components.collect()))
}

//! `shutline rehearse --gannet DIR`: makes the sample scans again.

use std::fmt::Write as _;
use std::path::Path;

use nalgebra::Vector3;
use shutline::files::{PlyLayout, PlyWriter, read_plan, write_file};
use shutline::geometry::Curve;
use shutline::plan::CurveReference;
use shutline::rehearse::body::{body_truth, gannet};
use shutline::rehearse::truth_csv;
use shutline::units::LengthUnit;

use super::exit_code::Outcome;
use super::messages::{Failure, Talk};

/// Distance between the points of a written curve, mm.
const CURVE_STEP_MM: f64 = 10.0;

/// Writes plan, curves, both scans and their true values into a folder.
pub fn write_gannet(folder: &Path, talk: Talk) -> Result<Outcome, Failure> {
    for (is_adjusted, name) in [(false, "before"), (true, "after")] {
        let scan = gannet(is_adjusted)?;
        let plan_path = folder.join("gannet.seams.toml");
        if !is_adjusted {
            let mut references = Vec::new();
            for seam in &scan.plan.seams {
                let path = format!("curves/{}.csv", seam.id);
                write_file(&folder.join(&path), curve_csv(&seam.curve).as_bytes())?;
                references.push(CurveReference::file(path));
            }
            write_file(&plan_path, shutline::plan::to_toml(&scan.plan, &references).as_bytes())?;
        }
        let scan_path = folder.join(format!("gannet-{name}.ply"));
        let layout = PlyLayout { normals: false, colour: false, unit: LengthUnit::Millimetre };
        let mut writer = PlyWriter::create(&scan_path, layout)?;
        for point in &scan.points {
            writer.point(point, &Vector3::zeros(), 0)?;
        }
        let point_count = writer.finish()?;
        // The truth is taken at the stations of the plan as written, whose curves are rounded.
        let plan = read_plan(&plan_path)?;
        let (truth, _) = body_truth(&plan, &scan.design)?;
        write_file(&folder.join(format!("gannet-{name}.truth.csv")), truth_csv(&plan, &truth).as_bytes())?;
        talk.line(format!("{point_count} points in {}", scan_path.display()));
    }
    Ok(Outcome::AllGood)
}

fn curve_csv(curve: &Curve) -> String {
    let mut text = "x,y,z,nx,ny,nz\n".to_owned();
    let count = (curve.length_mm() / CURVE_STEP_MM).ceil().max(2.0) as usize;
    for index in 0..=count {
        let frame = curve.frame_at(curve.length_mm() * index as f64 / count as f64);
        let (at, out) = (frame.origin, frame.outward);
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{:.4},{:.4},{:.4},{:.6},{:.6},{:.6}", at.x, at.y, at.z, out.x, out.y, out.z);
    }
    text
}

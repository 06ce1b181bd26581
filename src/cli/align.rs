//! `shutline align`: where does the scan stand on the car, and how sure is that?

use std::fmt::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use shutline::align::{AlignSettings, Alignment, align};
use shutline::files::{open_scan, read_plan, write_file};
use shutline::plan::Plan;
use shutline::scan::ScanSource;

use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};

/// Put a scan on the car as the plan's [align] says, and show what is left
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline align front.ply --plan gannet.seams.toml --out aligned.json")]
pub struct Align {
    /// The scan
    scan: PathBuf,
    /// The seam plan (TOML) with its [align] table
    #[arg(long)]
    plan: PathBuf,
    /// Where the pose goes, with residuals and covariance (JSON)
    #[arg(long, short)]
    out: Option<PathBuf>,
}

impl Align {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.plan)?;
        let source = open_scan(&self.scan, plan.scan.units)?;
        let reference = open_reference(&plan, &self.plan)?;
        let alignment = align(source.as_ref(), &plan, reference.as_deref(), &AlignSettings::default())
            .map_err(|error| Failure::new(format!("could not align the scan: {error}")))?;
        for warning in &alignment.warnings {
            talk.warning(warning);
        }
        if let Some(out) = &self.out {
            write_file(out, to_json(&alignment)?.as_bytes())?;
        }
        print_data(&told(&alignment))?;
        Ok(Outcome::AllGood)
    }
}

/// The reference is in the plan's unit; its path starts at the plan's folder.
pub(super) fn open_reference(plan: &Plan, plan_path: &Path) -> Result<Option<Box<dyn ScanSource>>, Failure> {
    let Some(reference) = plan.align.reference() else { return Ok(None) };
    let folder = plan_path.parent().unwrap_or(Path::new(""));
    Ok(Some(open_scan(&folder.join(reference), plan.units)?))
}

fn told(alignment: &Alignment) -> String {
    let isometry = alignment.car_from_scanner.isometry();
    let (turn, shift) = (isometry.rotation.scaled_axis().map(f64::to_degrees), isometry.translation.vector);
    let mut text = format!(
        "{}: turn [{:.5}, {:.5}, {:.5}] deg, shift [{:.4}, {:.4}, {:.4}] mm\n",
        alignment.way, turn.x, turn.y, turn.z, shift.x, shift.y, shift.z
    );
    // Writing to a string cannot fail.
    let _ = writeln!(
        text,
        "residuals: {:.4} mm rms, {:.4} mm worst, {} points, condition {:.1}, {}",
        alignment.rms_residual_mm,
        alignment.worst_residual_mm,
        alignment.points_used,
        alignment.condition,
        if alignment.converged { "converged" } else { "not converged" },
    );
    for target in &alignment.targets {
        let mark = if target.is_used { "" } else { "   left out" };
        let _ = writeln!(text, "  {:<28} {:>9.4} mm{mark}", target.id, target.residual_mm);
    }
    for panel in &alignment.panels {
        let mark = if panel.is_used { "" } else { "   not fixed" };
        let _ = writeln!(
            text,
            "  {:<28} {:>+9.4} mm median {:>9.4} mm rms {:>8} points{mark}",
            panel.panel.0, panel.median_mm, panel.rms_mm, panel.point_count
        );
    }
    text
}

fn to_json(alignment: &Alignment) -> Result<String, Failure> {
    let matrix = alignment.car_from_scanner.isometry().to_homogeneous();
    let rows: Vec<Vec<f64>> = matrix.row_iter().map(|row| row.iter().copied().collect()).collect();
    let covariance: Vec<Vec<f64>> =
        alignment.covariance.row_iter().map(|row| row.iter().copied().collect()).collect();
    let value = serde_json::json!({
        "version": 1,
        "way": alignment.way,
        "car_from_scanner": rows,
        "rms_residual_mm": alignment.rms_residual_mm,
        "worst_residual_mm": alignment.worst_residual_mm,
        "points_used": alignment.points_used,
        "iterations": alignment.iterations,
        "converged": alignment.converged,
        "condition": if alignment.condition.is_finite() { Some(alignment.condition) } else { None },
        "pivot_mm": [alignment.pivot.x, alignment.pivot.y, alignment.pivot.z],
        "covariance_turn_rad_shift_mm": covariance,
        "targets": alignment.targets.iter().map(|target| serde_json::json!({
            "id": target.id, "residual_mm": target.residual_mm, "is_used": target.is_used,
        })).collect::<Vec<_>>(),
        "panels": alignment.panels.iter().map(|panel| serde_json::json!({
            "panel": panel.panel.0, "median_mm": panel.median_mm, "rms_mm": panel.rms_mm,
            "point_count": panel.point_count, "is_fixed": panel.is_used,
        })).collect::<Vec<_>>(),
        "warnings": alignment.warnings.iter().map(ToString::to_string).collect::<Vec<_>>(),
    });
    Ok(serde_json::to_string_pretty(&value)? + "\n")
}

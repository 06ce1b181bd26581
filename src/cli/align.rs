//! `shutline align`: where does the scan stand on the car, and how sure is that?

use std::fmt::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use shutline::align::{AlignSettings, Alignment, align};
use shutline::files::{OutputFolder, open_scan, read_plan, spare_inputs, write_file};
use shutline::plan::Plan;
use shutline::render::{Language, alignment_json, png, residual_map};
use shutline::scan::ScanSource;

use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::{PLACING, Progress};

/// Width of the residual map in picture units (1/96 inch): 180 mm; and its sharpness: 288 dots an inch.
const MAP_WIDTH: f64 = 680.0;
const MAP_PIXELS_PER_UNIT: f64 = 3.0;

/// Put a scan on the car as the plan's [align] says, and show what is left
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  shutline align front.ply --plan gannet.seams.toml --out aligned.json")]
pub struct Align {
    /// The scan
    scan: PathBuf,
    /// The seam plan (TOML) with its [align] table
    #[arg(long)]
    plan: PathBuf,
    /// Where the pose goes, with residuals and covariance: a JSON file, or a folder; a map of the residuals goes beside it
    #[arg(long, short)]
    out: Option<PathBuf>,
}

impl Align {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.plan)?;
        let source = open_scan(&self.scan, plan.scan.units)?;
        let reference = open_reference(&plan, &self.plan)?;
        if let Some(out) = &self.out {
            let surface = plan.align.reference().map(|name| beside(&self.plan, Path::new(name)));
            let inputs = [&self.scan, &self.plan].into_iter().chain(&surface).map(PathBuf::as_path);
            spare_inputs(out, inputs)?;
        }
        let progress = Progress::start(talk.is_quiet);
        let watched = progress.watch_reading(source.as_ref(), PLACING);
        let alignment = align(&watched, &plan, reference.as_deref(), &AlignSettings::default());
        progress.finish();
        let alignment =
            alignment.map_err(|error| Failure::new(format!("could not align the scan: {error}")))?;
        for warning in &alignment.warnings {
            talk.warning(warning);
        }
        if let Some(out) = &self.out {
            write_alignment(out, &plan, &alignment)?;
        }
        print_data(&told(&alignment))?;
        Ok(Outcome::AllGood)
    }
}

/// The reference is in the plan's unit; its path starts at the plan's folder.
pub(super) fn open_reference(plan: &Plan, plan_path: &Path) -> Result<Option<Box<dyn ScanSource>>, Failure> {
    let Some(reference) = plan.align.reference() else { return Ok(None) };
    Ok(Some(open_scan(&beside(plan_path, Path::new(reference)), plan.units)?))
}

/// A path that starts at the plan's folder.
fn beside(plan_path: &Path, name: &Path) -> PathBuf {
    plan_path.parent().unwrap_or(Path::new("")).join(name)
}

/// Into `aligned.json` and `residuals.png` of a folder, or into a JSON file with a PNG of its name beside it.
fn write_alignment(out: &Path, plan: &Plan, alignment: &Alignment) -> Result<(), Failure> {
    let json = alignment_json(alignment)?;
    let map = residual_png(plan, alignment, Language::default())?;
    if out.extension().is_some() && !out.is_dir() {
        write_file(out, json.as_bytes())?;
        if let Some(map) = map {
            write_file(&out.with_extension("residuals.png"), &map)?;
        }
        return Ok(());
    }
    let folder = OutputFolder::begin(out)?;
    folder.write("aligned.json", json.as_bytes())?;
    if let Some(map) = map {
        folder.write("residuals.png", &map)?;
    }
    Ok(folder.finish()?)
}

/// The residual map, 180 mm wide when printed; none where the way has no surface.
pub(super) fn residual_png(
    plan: &Plan,
    alignment: &Alignment,
    language: Language,
) -> Result<Option<Vec<u8>>, Failure> {
    let picture = residual_map(plan, alignment, language.texts(), MAP_WIDTH);
    Ok(picture.map(|picture| png(&picture, MAP_PIXELS_PER_UNIT)).transpose()?)
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

//! `shutline rehearse`: a practice scan with known gap and flush.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use nalgebra::Vector3;
use shutline::files::{
    PlyLayout, PlyWriter, WriteError, read_plan, read_rehearsal, spare_inputs, write_file,
};
use shutline::plan::Plan;
use shutline::rehearse::{
    Along, Faults, Rehearsal, Scanner, background, displacement, lineup_truth_csv, rehearse, rehearse_into,
    truth_csv,
};

use super::exit_code::Outcome;
use super::messages::{Failure, Talk};
use super::progress::Progress;
use super::rehearse_gannet::write_gannet;

/// The bar moves after so many points.
const POINTS_PER_NOTE: u64 = 1 << 18;

/// Make a practice scan with known gap and flush, to see what accuracy to expect
#[derive(Debug, Args)]
#[command(
    after_help = "The true values go to truth.csv beside the scan, in the columns of readings.csv.\n\nExample:\n  \
shutline rehearse --plan sample-scans/gannet.seams.toml --out out/practice.ply --scanner ordinary --seed 3"
)]
pub struct Rehearse {
    /// The seam plan (TOML)
    #[arg(long, required_unless_present = "gannet")]
    plan: Option<PathBuf>,
    /// The scan to write (PLY, binary)
    #[arg(long, short, required_unless_present = "gannet")]
    out: Option<PathBuf>,
    /// Instead of all else: make the sample scans of the Gannet coupe again, in this folder
    #[arg(long, value_name = "DIR", conflicts_with_all = ["plan", "out", "settings", "seed", "scanner"])]
    gannet: Option<PathBuf>,
    /// Where the true values go [default: truth.csv beside the scan]
    #[arg(long)]
    truth: Option<PathBuf>,
    /// Settings of the rehearsal (TOML); the options below override it
    #[arg(long)]
    settings: Option<PathBuf>,
    /// Same seed, same scan
    #[arg(long)]
    seed: Option<u64>,
    /// A ready-made scanner with its noise and faults
    #[arg(long)]
    scanner: Option<Grade>,
    /// Distance between points, mm
    #[arg(long, value_parser = spacing_mm)]
    spacing: Option<f64>,
    /// Noise that is independent from point to point, mm
    #[arg(long, value_parser = length_mm)]
    noise: Option<f64>,
    /// True gap of every seam, mm [default: the plan's nominal]
    #[arg(long, value_parser = length_mm)]
    gap: Option<f64>,
    /// True flush of every seam, mm [default: the plan's nominal]
    #[arg(long, allow_negative_numbers = true, value_parser = offset_mm)]
    flush: Option<f64>,
    /// How far the plan's curves lie off the true ones, mm (and as many thirds of a degree)
    #[arg(long, value_parser = length_mm)]
    curve_error: Option<f64>,
    /// Write triangles too
    #[arg(long)]
    mesh: bool,
    /// Write normals
    #[arg(long)]
    normals: bool,
    /// Write a colour for every point
    #[arg(long)]
    colour: bool,
    /// Fill up with points of the rest of the car to this many
    #[arg(long, conflicts_with = "mesh", value_parser = clap::value_parser!(u64).range(..=MOST_POINTS))]
    points: Option<u64>,
}

/// Scanners of the accuracy budgets.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum Grade {
    /// No noise at all
    Perfect,
    /// 0.015 mm white noise and little else
    Good,
    /// Hand-held: correlated noise, smoothing, stickers, drop-outs, strays
    Ordinary,
    /// 0.05 mm white and 0.04 mm correlated noise
    Poor,
}

/// Largest length that an option takes, mm: beyond it lies no car.
const LONGEST_MM: f64 = 1000.0;
/// Least distance between points, mm.
const LEAST_SPACING_MM: f64 = 0.01;
/// Most points to fill up with: 27 GB.
const MOST_POINTS: u64 = 1_000_000_000;

/// A length of an option, between two others, mm.
fn between_mm(text: &str, least_mm: f64, most_mm: f64) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|length_mm| (least_mm..=most_mm).contains(length_mm))
        .ok_or_else(|| format!("give a length between {least_mm} and {most_mm} mm"))
}

fn length_mm(text: &str) -> Result<f64, String> {
    between_mm(text, 0.0, LONGEST_MM)
}

fn offset_mm(text: &str) -> Result<f64, String> {
    between_mm(text, -LONGEST_MM, LONGEST_MM)
}

fn spacing_mm(text: &str) -> Result<f64, String> {
    between_mm(text, LEAST_SPACING_MM, LONGEST_MM)
}

impl Rehearse {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        if let Some(folder) = &self.gannet {
            return write_gannet(folder, talk);
        }
        let (Some(plan_path), Some(out)) = (&self.plan, &self.out) else {
            return Err(Failure::new("give --plan and --out"));
        };
        let plan = read_plan(plan_path)?;
        let settings = self.rehearsal()?;
        let truth_path = self.truth.clone().unwrap_or_else(|| out.with_file_name("truth.csv"));
        for place in [out, &truth_path] {
            spare_inputs(place, [plan_path].into_iter().chain(&self.settings).map(PathBuf::as_path))?;
        }
        let layout =
            PlyLayout { normals: settings.output.normals, colour: self.colour, unit: plan.scan.units };
        let writer = PlyWriter::create(out, layout)?;
        let (point_count, truth) = if settings.output.mesh {
            write_mesh(writer, &plan, &settings)?
        } else {
            self.write_cloud(writer, &plan, &settings, talk)?
        };
        write_file(&truth_path, truth.as_bytes())?;
        if let Some(lineups) = lineup_truth_csv(&plan, &settings) {
            write_file(&truth_path.with_file_name("truth-lineups.csv"), lineups.as_bytes())?;
        }
        talk.line(format!("{point_count} points in {}", out.display()));
        talk.line(format!("true values in {}", truth_path.display()));
        Ok(Outcome::AllGood)
    }

    fn rehearsal(&self) -> Result<Rehearsal, Failure> {
        let mut settings = match &self.settings {
            Some(path) => read_rehearsal(path)?,
            None => Rehearsal::default(),
        };
        if let Some(grade) = self.scanner {
            settings.scanner = match grade {
                Grade::Perfect => Scanner::default(),
                Grade::Good => Scanner::good(),
                Grade::Ordinary => Scanner::ordinary(),
                Grade::Poor => Scanner::poor(),
            };
            if matches!(grade, Grade::Ordinary) {
                settings.faults = Faults::ordinary();
            }
        }
        settings.seed = self.seed.unwrap_or(settings.seed);
        settings.scanner.spacing_mm = self.spacing.unwrap_or(settings.scanner.spacing_mm);
        settings.scanner.white_noise_mm = self.noise.unwrap_or(settings.scanner.white_noise_mm);
        for shape in settings.seams.values_mut().chain([&mut settings.shape]) {
            shape.gap_mm = self.gap.map(Along::Constant).or_else(|| shape.gap_mm.take());
            shape.flush_mm = self.flush.map(Along::Constant).or_else(|| shape.flush_mm.take());
        }
        if let Some(shift_mm) = self.curve_error {
            settings.curve_error.shift_mm = shift_mm;
            settings.curve_error.tilt_deg = shift_mm / 3.0;
        }
        settings.output.mesh |= self.mesh;
        settings.output.normals |= self.normals;
        Ok(settings)
    }

    /// Writes the points as they are made, then the rest of the car.
    fn write_cloud(
        &self,
        mut writer: PlyWriter,
        plan: &Plan,
        settings: &Rehearsal,
        talk: Talk,
    ) -> Result<(u64, String), Failure> {
        let mut seam_points = 0_u64;
        let mut trouble: Option<WriteError> = None;
        let truth = rehearse_into(plan, settings, &mut |_, point| {
            if trouble.is_none() {
                seam_points += 1;
                trouble = writer.point(&point.position, &point.normal, 160).err();
            }
        })?;
        if let Some(error) = trouble {
            return Err(error.into());
        }
        let rest = self.points.unwrap_or(0).saturating_sub(seam_points);
        let scanner_from_car = displacement(&settings.displacement);
        let progress = Progress::start(talk.is_quiet);
        let mut made = 0;
        background(plan, rest, settings.seed, |point, normal| {
            made += 1;
            if made % POINTS_PER_NOTE == 0 {
                progress.made(made, rest);
            }
            writer.point(&scanner_from_car.point(&point), &scanner_from_car.vector(&normal), 90)
        })?;
        progress.finish();
        Ok((writer.finish()?, truth_csv(plan, &truth)))
    }
}

fn write_mesh(mut writer: PlyWriter, plan: &Plan, settings: &Rehearsal) -> Result<(u64, String), Failure> {
    let scan = rehearse(plan, settings)?;
    for (index, point) in scan.points.iter().enumerate() {
        let normal = scan.normals.as_ref().map_or([0.0; 3], |normals| normals[index]);
        writer.point(point, &Vector3::from(normal.map(f64::from)), 160)?;
    }
    for corners in scan.triangle_corners.iter().flatten() {
        writer.triangle(*corners)?;
    }
    Ok((writer.finish()?, truth_csv(plan, &scan.truth)))
}

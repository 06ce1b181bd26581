//! `shutline trace`: follows one seam between rough points and adds it to a plan.

use std::path::{Path, PathBuf};

use clap::Args;
use nalgebra::Point3;
use shutline::files::{append_to_plan, open_scan, read_plan, spare_inputs, write_file};
use shutline::pipeline::gather_evidence_on_threads;
use shutline::plan::{CurveReference, Plan, ScanTerms, Seam, Side, panel_text, seam_text, to_toml};
use shutline::trace::{
    Bridge, NamedCurve, Stop, TraceSettings, TracedSeam, curve_csv, curves_dxf, curves_obj, empty_plan,
    follow, panel_named, seam_of_curve,
};
use shutline::units::LengthUnit;

use super::exit_code::Outcome;
use super::messages::{Failure, Talk};
use super::progress::Progress;

/// Standard uncertainty of an ordinary scanner over a gap, until the plan says better (common practice, no source).
pub const FIRST_ACCURACY_MM: f64 = 0.03;

/// Follow one seam between rough points and add it to a plan
#[derive(Debug, Args)]
#[command(allow_negative_numbers = true)]
#[command(
    after_help = "Points are in the scan's own coordinates, within about 10 mm of the gap. Left and right are \
as seen walking from the first point to the last on the outside of the car.\n\nExample:\n  shutline trace \
sample-scans/gannet-before.ply --from=266,-491,68 --to=933,-507,120 --id hood-fender-left --left-panel hood \
--right-panel fender-left --plan out/traced.seams.toml --units mm"
)]
pub struct Trace {
    /// The scan
    scan: PathBuf,
    /// A point at the seam's beginning: X,Y,Z
    #[arg(long, value_parser = parse_point, allow_hyphen_values = true)]
    from: Point3<f64>,
    /// A point on the way, where the seam is hard to follow; may be repeated, in order
    #[arg(long, value_parser = parse_point, allow_hyphen_values = true)]
    via: Vec<Point3<f64>>,
    /// A point at the seam's end: X,Y,Z
    #[arg(long, value_parser = parse_point, allow_hyphen_values = true)]
    to: Point3<f64>,
    /// The seam's name: lower-case letters, digits, hyphens
    #[arg(long)]
    id: String,
    /// The plan to add the seam to; made if it does not exist
    #[arg(long)]
    plan: PathBuf,
    /// Panel on the left; flush is measured from it unless --datum says otherwise
    #[arg(long)]
    left_panel: Option<String>,
    /// Panel on the right
    #[arg(long)]
    right_panel: Option<String>,
    /// Side of the datum panel
    #[arg(long, default_value = "left", value_parser = ["left", "right"])]
    datum: String,
    /// Unit of the scan's coordinates, where the plan does not say it: mm, cm, m or inch
    #[arg(long, value_parser = parse_unit)]
    units: Option<LengthUnit>,
}

impl Trace {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        check_id(&self.id)?;
        let earlier = if self.plan.exists() { Some(read_plan(&self.plan)?) } else { None };
        if earlier.as_ref().is_some_and(|plan| plan.seams.iter().any(|seam| seam.id.0 == self.id)) {
            return Err(Failure::new(format!(
                "the plan {} has a seam \"{}\" already; give another --id, or take that seam out first",
                self.plan.display(),
                self.id
            )));
        }
        let scan_unit =
            earlier.as_ref().map(|plan| plan.scan.units).or(self.units).unwrap_or(LengthUnit::Millimetre);
        let plan_unit = earlier.as_ref().map_or(LengthUnit::Millimetre, |plan| plan.units);
        let source = open_scan(&self.scan, scan_unit)?;
        let in_mm = |point: &Point3<f64>| point * scan_unit.mm();
        let via: Vec<Point3<f64>> = self.via.iter().map(in_mm).collect();
        let settings = TraceSettings::default();
        let progress = Progress::start(talk.is_quiet);
        progress.expect_bytes(source.facts().byte_count);
        let evidence = gather_evidence_on_threads(source.as_ref(), &settings, &progress)?;
        progress.finish();
        let goals: Vec<Point3<f64>> = via.into_iter().chain([in_mm(&self.to)]).collect();
        let traced = follow(&evidence, &in_mm(&self.from), &goals, &settings)?;
        let seam = self.plan_entry(&traced)?;
        self.write_curves(&traced, plan_unit)?;
        self.write_plan(&seam, earlier.as_ref(), scan_unit)?;
        report(&self.id, &traced, seam.curve.length_mm(), talk);
        Ok(Outcome::AllGood)
    }

    fn plan_entry(&self, traced: &TracedSeam) -> Result<Seam, Failure> {
        let left = self.left_panel.clone().unwrap_or_else(|| format!("{}-left", self.id));
        let right = self.right_panel.clone().unwrap_or_else(|| format!("{}-right", self.id));
        [&left, &right].into_iter().try_for_each(|panel| check_id(panel))?;
        let mut widths: Vec<f64> =
            traced.points.iter().filter(|point| point.pair_count > 0).map(|point| point.width_mm).collect();
        widths.sort_by(f64::total_cmp);
        let width_mm = widths.get(widths.len() / 2).copied().unwrap_or(4.0);
        let (datum, side, other) =
            if self.datum == "left" { (&left, Side::Left, &right) } else { (&right, Side::Right, &left) };
        Ok(seam_of_curve(&self.id, &traced.points, width_mm, (datum, side), other)?)
    }

    fn write_curves(&self, traced: &TracedSeam, unit: LengthUnit) -> Result<(), Failure> {
        let folder = self.plan.parent().unwrap_or_else(|| Path::new("")).join("curves");
        let curve = [NamedCurve { name: &self.id, points: &traced.points }];
        let path = |ending: &str| folder.join(format!("{}.{ending}", self.id));
        for ending in ["csv", "dxf", "obj"] {
            spare_inputs(&path(ending), [self.scan.as_path()])?;
        }
        write_file(&path("csv"), curve_csv(&traced.points, unit.mm()).as_bytes())?;
        write_file(&path("dxf"), curves_dxf(&curve, unit.mm()).as_bytes())?;
        write_file(&path("obj"), curves_obj(&curve, unit.mm()).as_bytes())?;
        Ok(())
    }

    /// A new plan, or the old text with the new tables after it: what a person wrote stays as it is.
    fn write_plan(&self, seam: &Seam, earlier: Option<&Plan>, scan_unit: LengthUnit) -> Result<(), Failure> {
        let mut fresh = empty_plan(
            "Traced seams",
            LengthUnit::Millimetre,
            ScanTerms { units: scan_unit, accuracy_mm: FIRST_ACCURACY_MM, smoothing_mm: None },
        );
        let panels = [&seam.datum_panel, &seam.other_panel].map(|panel| panel_named(&panel.0));
        let reference = CurveReference::file(format!("curves/{}.csv", self.id));
        match earlier {
            None => {
                fresh.panels.extend(panels);
                fresh.seams.push(seam.clone());
                write_file(&self.plan, to_toml(&fresh, &[reference]).as_bytes())?;
            }
            Some(plan) => {
                let unknown = panels.iter().filter(|panel| plan.panel(&panel.id).is_none());
                let mut tables: String = unknown.map(panel_text).collect();
                tables.push_str(&seam_text(seam, &reference, plan.units));
                append_to_plan(&self.plan, &tables)?;
            }
        }
        Ok(())
    }
}

fn report(id: &str, traced: &TracedSeam, length_mm: f64, talk: Talk) {
    let end = match traced.stop {
        Stop::Reached => "up to the last point",
        Stop::Junction => {
            "up to a junction where other panels meet, before the last point; trace on from there"
        }
        Stop::EndOfData => {
            "as far as the scan shows the gap, which is short of the last point; look for a hole in the \
                            scan there, or give --via points that lead over it"
        }
    };
    talk.line(format_args!("{id}: traced {length_mm:.0} mm, {end}"));
    for Bridge { from_mm, to_mm } in &traced.bridges {
        talk.warning(format_args!(
            "bridged from {from_mm:.0} to {to_mm:.0} mm along the curve: the gap is not seen there, the curve is a guess"
        ));
    }
    talk.line("nominals in the plan are what was seen, tolerances a first guess: put in what is wanted");
}

/// `X,Y,Z`.
fn parse_point(text: &str) -> Result<Point3<f64>, String> {
    let numbers: Vec<f64> = text.split(',').filter_map(|part| part.trim().parse().ok()).collect();
    match numbers.as_slice() {
        [x, y, z] if text.split(',').count() == 3 && numbers.iter().all(|number| number.is_finite()) => {
            Ok(Point3::new(*x, *y, *z))
        }
        _ => Err("give three numbers with commas between: 120.5,-640,810".to_owned()),
    }
}

/// A unit's short name.
pub fn parse_unit(text: &str) -> Result<LengthUnit, String> {
    LengthUnit::from_symbol(text).ok_or_else(|| "one of mm, cm, m, inch".to_owned())
}

fn check_id(id: &str) -> Result<(), Failure> {
    let allowed = |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '-';
    if id.is_empty() || !id.chars().all(allowed) {
        return Err(Failure::new(format!(
            "\"{id}\" is no name for a seam or panel; use lower-case letters, digits and hyphens"
        )));
    }
    Ok(())
}

//! `shutline find`: every seam of a scan without a hint, as a plan ready to measure by.

use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;
use shutline::files::{OutputFolder, open_scan, read_plan};
use shutline::pipeline::gather_evidence_on_threads;
use shutline::plan::{ScanTerms, to_toml};
use shutline::render::{found_overview, png};
use shutline::trace::{
    FoundJunction, FoundSeams, NamedCurve, TraceSettings, curve_csv, curves_dxf, curves_obj, plan_of,
    seams_of,
};
use shutline::units::LengthUnit;

use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::Progress;
use super::results::LanguageChoice;
use super::trace::{FIRST_ACCURACY_MM, parse_unit};

/// Pixels of the overview for each of its units: 200 to the inch.
const PIXELS_PER_UNIT: f64 = 2.0;

/// The plan's name in the output folder; a later run takes the names from it.
const PLAN_NAME: &str = "found.seams.toml";

/// Find all seams in a scan, and write a plan, the curves and what was not believed
#[derive(Debug, Args)]
#[command(
    after_help = "Writes overview.png (seams numbered, panels tinted), a plan ready to measure by (found.seams.toml), the \
curves (CSV each; DXF and OBJ together), panels.csv, junctions.csv, and rejected.csv with the reason for all that was taken for no seam. A later run \
into the same folder keeps the names by position.\n\nExample:\n  \
shutline find sample-scans/gannet-before.ply --out out/found\n  \
shutline find sample-scans/gannet-before.ply --out out/found --name 3=hood-fender-right"
)]
pub struct Find {
    /// The scan
    scan: PathBuf,
    /// Folder for the plan, the curves and the lists
    #[arg(long)]
    out: PathBuf,
    /// Unit of the scan's coordinates: mm, cm, m or inch
    #[arg(long, default_value = "mm", value_parser = parse_unit)]
    units: LengthUnit,
    /// Name a seam by its number: 3=hood-fender-left; may be repeated
    #[arg(long, value_parser = parse_name)]
    name: Vec<(usize, String)>,
    /// Take names by position from this plan instead of the output folder's earlier one
    #[arg(long)]
    names_from: Option<PathBuf>,
    /// Smallest hem radius that must be seen, mm: smaller needs a denser scan
    #[arg(long, default_value_t = TraceSettings::default().hem_radius_mm)]
    hem_radius: f64,
    /// Language of the overview
    #[arg(long, value_enum, default_value = "en")]
    language: LanguageChoice,
    /// Say how long each stage took
    #[arg(long)]
    timings: bool,
}

impl Find {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        if !(0.2..=20.0).contains(&self.hem_radius) {
            return Err(Failure::new("--hem-radius must lie between 0.2 and 20 mm"));
        }
        let source = open_scan(&self.scan, self.units)?;
        let settings = TraceSettings { hem_radius_mm: self.hem_radius, ..TraceSettings::default() };
        let progress = Progress::start(talk.is_quiet);
        progress.expect_bytes(source.facts().byte_count);
        progress.begin_named("look");
        let evidence = gather_evidence_on_threads(source.as_ref(), &settings, &progress)?;
        progress.begin_named("join");
        let mut found = seams_of(evidence, &settings);
        progress.begin_named("write");
        let own = self.out.join(PLAN_NAME);
        let earlier = self.names_from.clone().or_else(|| own.exists().then_some(own));
        if let Some(path) = earlier {
            found.keep_names(&read_plan(&path)?);
        }
        found.give_names(&self.name)?;
        self.write(&found)?;
        progress.finish();
        if self.timings {
            talk.asked_for(progress.timings().trim_end());
        }
        print_data(&list(&found))?;
        for junction in found.junctions.iter().filter(|junction| junction.is_doubtful()) {
            talk.line(doubt(junction));
        }
        if found.seams.is_empty() {
            talk.warning(
                "no seams: the scan shows no two panels with their edges turned towards one another",
            );
        } else {
            talk.line(
                "nominals in the plan are what was seen, tolerances a first guess: put in what is wanted",
            );
        }
        Ok(Outcome::AllGood)
    }

    fn write(&self, found: &FoundSeams) -> Result<(), Failure> {
        let scan = ScanTerms { units: self.units, accuracy_mm: FIRST_ACCURACY_MM, smoothing_mm: None };
        let plan = plan_of(found, "Found seams", LengthUnit::Millimetre, scan)?;
        let folder = OutputFolder::begin(&self.out)?;
        // A plan without seams is no plan.
        if !plan.seams.is_empty() {
            folder.write(PLAN_NAME, to_toml(&plan, &[]).as_bytes())?;
        }
        let curves: Vec<NamedCurve<'_>> =
            found.seams.iter().map(|seam| NamedCurve { name: &seam.name, points: &seam.points }).collect();
        for curve in &curves {
            folder.write(&format!("curves/{}.csv", curve.name), curve_csv(curve.points, 1.0).as_bytes())?;
        }
        folder.write("curves.dxf", curves_dxf(&curves, 1.0).as_bytes())?;
        folder.write("curves.obj", curves_obj(&curves, 1.0).as_bytes())?;
        if !found.seams.is_empty() {
            let scan_name =
                self.scan.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
            let picture = found_overview(found, &scan_name, self.language.language());
            folder.write("overview.png", &png(&picture, PIXELS_PER_UNIT)?)?;
        }
        folder.write("rejected.csv", rejected_table(found).as_bytes())?;
        folder.write("panels.csv", panel_table(found).as_bytes())?;
        folder.write("junctions.csv", junction_table(found).as_bytes())?;
        folder.finish()?;
        Ok(())
    }
}

fn list(found: &FoundSeams) -> String {
    let mut text =
        String::from("  no  name                          length mm  width mm  trust  left | right\n");
    for (number, seam) in found.seams.iter().enumerate() {
        let [left, right] = seam.panels.map(|panel| found.panels[panel].name.as_str());
        let twin =
            seam.twin.map_or_else(String::new, |twin| format!("   mirrors {}", found.seams[twin].name));
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{:>4}  {:<28} {:>10.0} {:>9.1} {:>6.2}  {left} | {right}{twin}",
            number + 1,
            seam.name,
            seam.length_mm,
            seam.width_mm,
            seam.trust
        );
    }
    text
}

fn rejected_table(found: &FoundSeams) -> String {
    let mut text = String::from("x_mm,y_mm,z_mm,length_mm,why\n");
    for candidate in &found.rejected {
        let points = &candidate.points;
        let length_mm: f64 = points.windows(2).map(|pair| (pair[1].point - pair[0].point).norm()).sum();
        if let Some(middle) = points.get(points.len() / 2) {
            let place = middle.point;
            let why = candidate.why.phrase();
            let _ = writeln!(text, "{:.1},{:.1},{:.1},{length_mm:.0},\"{why}\"", place.x, place.y, place.z);
        }
    }
    text
}

fn panel_table(found: &FoundSeams) -> String {
    let mut text = String::from("panel,x_mm,y_mm,z_mm,area_mm2,neighbours\n");
    for panel in &found.panels {
        let names: Vec<&str> =
            panel.neighbours.iter().map(|other| found.panels[*other].name.as_str()).collect();
        let centre = panel.centre;
        let _ = writeln!(
            text,
            "{},{:.1},{:.1},{:.1},{:.0},{}",
            panel.name,
            centre.x,
            centre.y,
            centre.z,
            panel.area_mm2,
            names.join(" ")
        );
    }
    text
}

/// Where seams meet, which, and how well that is known: half the width of the interval that holds it in 95 of 100 cases.
fn junction_table(found: &FoundSeams) -> String {
    let mut text = String::from("x_mm,y_mm,z_mm,known_to_mm,seams\n");
    for junction in &found.junctions {
        let meets = found.seams.iter().filter(|seam| seam.nodes.contains(&Some(junction.node)));
        let names: Vec<&str> = meets.map(|seam| seam.name.as_str()).collect();
        let place = junction.point;
        let known = junction.doubt_mm.map_or_else(String::new, |doubt_mm| format!("{doubt_mm:.1}"));
        let _ = writeln!(text, "{:.1},{:.1},{:.1},{known},{}", place.x, place.y, place.z, names.join(" "));
    }
    text
}

fn doubt(junction: &FoundJunction) -> String {
    let place = junction.point;
    let known = junction.doubt_mm.map_or_else(
        || "the seams show too little there to say where they meet".to_owned(),
        |doubt_mm| format!("what was seen of the seams leaves it open by {doubt_mm:.1} mm to either side"),
    );
    format!("junction at ({:.1}, {:.1}, {:.1}) mm: {known}", place.x, place.y, place.z)
}

/// `3=hood-fender-left`.
fn parse_name(text: &str) -> Result<(usize, String), String> {
    let parts =
        text.split_once('=').and_then(|(number, name)| Some((number.trim().parse().ok()?, name.trim())));
    parts
        .map(|(number, name)| (number, name.to_owned()))
        .ok_or_else(|| "give a seam's number and a name: 3=hood-fender-left".to_owned())
}

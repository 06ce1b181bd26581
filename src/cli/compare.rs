//! `shutline compare`: what changed between two scans of a car.

use std::path::{Path, PathBuf};

use clap::Args;
use shutline::files::{OutputFolder, open_scan, read_plan};
use shutline::judge::Measurand;
use shutline::pipeline::{MeasuredScan, measure_scan};
use shutline::plan::Plan;
use shutline::render::{Language, change_strip_picture, changes_csv, comparison_json, comparison_page, png};
use shutline::summarise::{CompareSettings, Comparison, compare, describe_move};

use super::align::open_reference;
use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::Progress;

/// Pixels for each 1/96 inch: 288 a printed inch.
const PIXELS_PER_UNIT: f64 = 3.0;

/// Compare two scans of a car: what changed, is it real, which panels moved
#[derive(Debug, Args)]
#[command(
    after_help = "Writes changes.csv, comparison.json, comparison.html and strips/SEAM.png into the folder.\nExit \
status: 0 nothing really changed; 1 something did; 2 the job could not be done.\n\nExample:\n  shutline compare \
sample-scans/gannet-before.ply sample-scans/gannet-after.ply --plan sample-scans/gannet.seams.toml --out out/change"
)]
pub struct Compare {
    /// The scan before the adjustment
    before: PathBuf,
    /// The scan after it
    after: PathBuf,
    /// The seam plan (TOML)
    #[arg(long)]
    plan: PathBuf,
    /// The folder for the results
    #[arg(long, short)]
    out: PathBuf,
    /// Print the comparison as JSON instead of a table
    #[arg(long)]
    json: bool,
}

impl Compare {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.plan)?;
        let output = OutputFolder::begin(&self.out)?;
        let reference = open_reference(&plan, &self.plan)?;
        let measure = |path: &Path| -> Result<MeasuredScan, Failure> {
            talk.line(format!("measuring {}", path.display()));
            let progress = Progress::start(talk.is_quiet);
            let source = open_scan(path, plan.scan.units)?;
            progress.expect_bytes(source.facts().byte_count);
            let measured = measure_scan(source.as_ref(), &plan, reference.as_deref(), &progress)?;
            progress.finish();
            Ok(measured)
        };
        let (before, after) = (measure(&self.before)?, measure(&self.after)?);
        let comparison = compare(&plan, &before.seams, &after.seams, &CompareSettings::default())?;
        let names = [self.before.display().to_string(), self.after.display().to_string()];
        let json = comparison_json(&plan, &comparison, [&names[0], &names[1]])?;
        output.write("changes.csv", changes_csv(&plan, &comparison)?.as_bytes())?;
        output.write("comparison.json", json.as_bytes())?;
        let scans =
            [(names[0].as_str(), before.seams.as_slice()), (names[1].as_str(), after.seams.as_slice())];
        let page = comparison_page(&plan, scans, &comparison, Language::English)?;
        output.write("comparison.html", page.as_bytes())?;
        write_strips(&output, &plan, [&before, &after], &comparison)?;
        output.finish()?;
        print_data(&if self.json { json } else { table(&plan, &comparison) })?;
        talk.line(format!("results in {}", self.out.display()));
        Ok(Outcome::of(comparison.is_unchanged()))
    }
}

fn write_strips(
    output: &OutputFolder,
    plan: &Plan,
    [before, after]: [&MeasuredScan; 2],
    comparison: &Comparison,
) -> Result<(), Failure> {
    for change in &comparison.seams {
        let find = |scan: &MeasuredScan| scan.seams.iter().position(|seam| seam.seam == change.seam);
        if let (Some(first), Some(second)) = (find(before), find(after)) {
            let scans = [&before.seams[first], &after.seams[second]];
            let picture = change_strip_picture(plan, scans, change, Language::English)?;
            output.write(&format!("strips/{}.png", change.seam), &png(&picture, PIXELS_PER_UNIT)?)?;
        }
    }
    Ok(())
}

fn table(plan: &Plan, comparison: &Comparison) -> String {
    let unit = plan.units;
    let mut text = format!(
        "{:<28} {:<6} {:<10} {:>9} {:>9} {:>7} {:>7}\n",
        "seam", "", "change", "mean", "U", "better", "worse"
    );
    for seam in &comparison.seams {
        for measurand in Measurand::BOTH {
            let change = seam.measurand(measurand);
            let [mean, expanded] = change.mean.as_ref().map_or_else(
                || [String::new(), String::new()],
                |mean| {
                    [mean.value_mm, 2.0 * mean.u_mm].map(|value_mm| format!("{:.3}", value_mm / unit.mm()))
                },
            );
            text.push_str(&format!(
                "{:<28} {:<6} {:<10} {mean:>9} {expanded:>9} {:>7} {:>7}\n",
                seam.seam.0,
                measurand.word(),
                change.verdict.word(),
                change.better_count,
                change.worse_count
            ));
        }
    }
    if comparison.moves.is_empty() {
        text.push_str("No panel moved, as far as the scans can tell.\n");
    }
    for one in &comparison.moves {
        let title = plan.panel(&one.panel).map_or(one.panel.0.as_str(), |panel| panel.title.as_str());
        text.push_str(&format!("{}\n", describe_move(one, title, plan.axes(), unit)));
    }
    text
}

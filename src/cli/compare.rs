//! `shutline compare`: what changed between two scans of a car, or how the two sides of one differ.

use std::path::{Path, PathBuf};

use clap::Args;
use shutline::files::{OutputFolder, open_scan, read_plan};
use shutline::judge::{JudgedSeam, Measurand, expanded_u_mm};
use shutline::pipeline::{MeasuredScan, measure_scan};
use shutline::plan::Plan;
use shutline::render::{
    Language, change_strip_picture, changes_csv, comparison_json, comparison_page, describe_move,
    describe_sides, png, taper_word,
};
use shutline::scan::ScanSource;
use shutline::summarise::{
    ChangeVerdict, CompareSettings, Comparison, ComparisonKind, LineupChange, MirrorPlane, TaperChange,
    compare, compare_mirrored, lineup_changes, mirrored_lineup_changes,
};

use super::align::open_reference;
use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::Progress;
use super::results::LanguageChoice;

/// Pixels for each 1/96 inch: 288 a printed inch.
const PIXELS_PER_UNIT: f64 = 3.0;

/// Compare two scans of a car: what changed, is it real, which panels moved; or the two sides of one
#[derive(Debug, Args)]
#[command(
    after_help = "Writes changes.csv, comparison.json, comparison.html and strips/SEAM.png into the folder.\nWith \
--mirror, seams named alike with left and right (or paired under [car] in the plan) are compared within one scan.\n\
Exit status: 0 nothing really differs; 1 something does; 2 the job could not be done.\n\nExamples:\n  shutline compare \
sample-scans/gannet-before.ply sample-scans/gannet-after.ply --plan sample-scans/gannet.seams.toml --out out/change\n  \
shutline compare sample-scans/gannet-before.ply --mirror --plan sample-scans/gannet.seams.toml --out out/sides"
)]
pub struct Compare {
    /// The scan before the adjustment; with --mirror the only one
    before: PathBuf,
    /// The scan after it
    #[arg(required_unless_present = "mirror")]
    after: Option<PathBuf>,
    /// Compare the left seams of one scan with the right ones
    #[arg(long, conflicts_with = "after")]
    mirror: bool,
    /// The seam plan (TOML)
    #[arg(long)]
    plan: PathBuf,
    /// The folder for the results
    #[arg(long, short)]
    out: PathBuf,
    /// Language of page and strips
    #[arg(long, value_enum, default_value = "en")]
    language: LanguageChoice,
    /// Print the comparison as JSON instead of a table
    #[arg(long)]
    json: bool,
}

/// A comparison with what its outputs need.
struct Compared {
    /// Holds every seam of the comparison.
    plan: Plan,
    sides: [Vec<JudgedSeam>; 2],
    /// File names, without the folders of this machine.
    names: [String; 2],
    comparison: Comparison,
    lineups: Vec<LineupChange>,
}

impl Compare {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.plan)?;
        let output = OutputFolder::begin(&self.out)?;
        let compared = match &self.after {
            Some(after) => self.two_scans(plan, after, talk)?,
            None => self.two_sides(plan, talk)?,
        };
        let json = compared.write(&output, self.language.language())?;
        output.finish()?;
        print_data(&if self.json { json } else { table(&compared) })?;
        talk.line(format!("results in {}", self.out.display()));
        let is_real = |change: &LineupChange| change.verdict() == ChangeVerdict::Real;
        let is_unchanged = compared.comparison.is_unchanged() && !compared.lineups.iter().any(is_real);
        Ok(Outcome::of(is_unchanged))
    }

    fn two_scans(&self, plan: Plan, after: &Path, talk: Talk) -> Result<Compared, Failure> {
        let reference = open_reference(&plan, &self.plan)?;
        let first = measure(&self.before, &plan, reference.as_deref(), talk)?;
        let second = measure(after, &plan, reference.as_deref(), talk)?;
        let comparison = compare(&plan, &first.seams, &second.seams, &CompareSettings::default())?;
        let names = [file_name(&self.before), file_name(after)];
        let lineups = lineup_changes(&first.lineups, &second.lineups);
        Ok(Compared { plan, sides: [first.seams, second.seams], names, comparison, lineups })
    }

    fn two_sides(&self, plan: Plan, talk: Talk) -> Result<Compared, Failure> {
        let reference = open_reference(&plan, &self.plan)?;
        let scan = measure(&self.before, &plan, reference.as_deref(), talk)?;
        let mirrored = compare_mirrored(&plan, &scan.seams, &CompareSettings::default())?;
        talk.line(plane_words(&mirrored.plane));
        for seam in &mirrored.alone {
            talk.line(format!("{seam} has no partner on the other side"));
        }
        let name = file_name(&self.before);
        Ok(Compared {
            plan: mirrored.plan,
            sides: mirrored.sides,
            names: [name.clone(), name],
            comparison: mirrored.comparison,
            lineups: mirrored_lineup_changes(&scan.lineups, &mirrored.lineups),
        })
    }
}

fn measure(
    path: &Path,
    plan: &Plan,
    reference: Option<&dyn ScanSource>,
    talk: Talk,
) -> Result<MeasuredScan, Failure> {
    talk.line(format!("measuring {}", path.display()));
    let progress = Progress::start(talk.is_quiet);
    let source = open_scan(path, plan.scan.units)?;
    progress.expect_bytes(source.facts().byte_count);
    let measured = measure_scan(source.as_ref(), plan, reference, &progress)?;
    progress.finish();
    Ok(measured)
}

fn file_name(path: &Path) -> String {
    path.file_name().map_or_else(|| "-".to_owned(), |name| name.to_string_lossy().into_owned())
}

fn plane_words(plane: &MirrorPlane) -> String {
    let whence = if plane.is_fitted { "fitted to the paired seams" } else { "from the plan" };
    format!(
        "middle plane {whence}; the plan's seams mirror one another to {:.1} mm (root mean square)",
        plane.unevenness_mm
    )
}

impl Compared {
    /// Writes everything; gives the JSON back.
    fn write(&self, output: &OutputFolder, language: Language) -> Result<String, Failure> {
        let Self { plan, sides, names, comparison, lineups } = self;
        let json = comparison_json(plan, comparison, lineups, [&names[0], &names[1]])?;
        output.write("changes.csv", changes_csv(plan, comparison)?.as_bytes())?;
        output.write("comparison.json", json.as_bytes())?;
        let scans = [(names[0].as_str(), sides[0].as_slice()), (names[1].as_str(), sides[1].as_slice())];
        let page = comparison_page(plan, scans, comparison, lineups, language)?;
        output.write("comparison.html", page.as_bytes())?;
        for change in &comparison.seams {
            let find = |side: &'_ [JudgedSeam]| side.iter().position(|seam| seam.seam == change.seam);
            if let (Some(first), Some(second)) = (find(&sides[0]), find(&sides[1])) {
                let scans = [&sides[0][first], &sides[1][second]];
                let picture = change_strip_picture(plan, scans, change, comparison.kind, language)?;
                output.write(&format!("strips/{}.png", change.seam), &png(&picture, PIXELS_PER_UNIT)?)?;
            }
        }
        Ok(json)
    }
}

fn table(compared: &Compared) -> String {
    let Compared { plan, comparison, .. } = compared;
    let unit = plan.units;
    let mut text = format!(
        "{:<28} {:<6} {:<10} {:>9} {:>9} {:>7} {:>7}\n",
        "seam",
        "",
        comparison.kind.change(),
        "mean",
        "U",
        "better",
        "worse"
    );
    for seam in &comparison.seams {
        for measurand in Measurand::BOTH {
            let change = seam.measurand(measurand);
            let [mean, expanded] = change.mean.as_ref().map_or_else(
                || [String::new(), String::new()],
                |mean| {
                    let expanded_mm = expanded_u_mm(mean, &plan.decision);
                    [mean.value_mm, expanded_mm].map(|value_mm| format!("{:.3}", value_mm / unit.mm()))
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
        for taper in comparison.tapers.iter().filter(|taper| taper.seam == seam.seam) {
            text.push_str(&taper_row(taper, plan, comparison.kind));
        }
    }
    text.push_str(&lineup_rows(compared));
    if comparison.kind == ComparisonKind::LeftRight {
        for sentence in describe_sides(plan, comparison, Language::English) {
            text.push_str(&format!("{sentence}\n"));
        }
        return text;
    }
    if comparison.moves.is_empty() {
        text.push_str("No panel moved, as far as the scans can tell.\n");
    }
    for one in &comparison.moves {
        let title = plan.panel(&one.panel).map_or(one.panel.0.as_str(), |panel| panel.title.as_str());
        text.push_str(&format!("{}\n", describe_move(one, title, plan.axes(), unit, Language::English)));
    }
    text
}

/// A seam's largest taper on both sides, each with its verdict, and what is allowed.
fn taper_row(taper: &TaperChange, plan: &Plan, kind: ComparisonKind) -> String {
    let side = |place: usize| {
        let word = taper_word(taper.verdicts()[place]);
        taper.sides[place].as_ref().map_or_else(
            || format!("{} {word}", kind.sides()[place]),
            |side| {
                format!("{} {:.3} {word}", kind.sides()[place], side.change.value_mm.abs() / plan.units.mm())
            },
        )
    };
    let limit = taper.limit_mm / plan.units.mm();
    format!("{:<28} {:<6} {}, {} ({limit:.3} allowed)\n", taper.seam.0, "taper", side(0), side(1))
}

/// What runs across seams: one row a value, under the same heads as the seams'.
fn lineup_rows(compared: &Compared) -> String {
    let unit = compared.plan.units;
    let mut text = String::new();
    for change in &compared.lineups {
        let Some((change_mm, u_mm)) = change.change_mm else { continue };
        let bar = change.bar.map_or_else(String::new, |bar| format!(" {}", bar + 1));
        let [value, expanded] =
            [change_mm, 2.0 * u_mm].map(|value_mm| format!("{:.3}", value_mm / unit.mm()));
        text.push_str(&format!(
            "{:<28} {:<6} {:<10} {value:>9} {expanded:>9}\n",
            format!("{}{bar}", change.lineup),
            change.quantity,
            change.verdict().word(),
        ));
    }
    text
}

//! `shutline advise`: what to move, what to shim, what to reshape.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use shutline::advise::{Advice, AdviseSettings, Aim, advise};
use shutline::files::{OutputFolder, ResultsText, open_scan, read_plan, read_results};
use shutline::judge::JudgedSeam;
use shutline::pipeline::measure_scan;
use shutline::plan::{PanelId, Plan};
use shutline::render::{
    Language, advice_csv, advice_json, advice_page, advice_pdf, advice_strip_picture, advice_text, edges_csv,
    edges_dxf, edges_obj, png, read_readings, read_record,
};

use super::align::open_reference;
use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};
use super::progress::Progress;
use super::results::Presentation;

/// Pixels for each 1/96 inch: 288 a printed inch.
const PIXELS_PER_UNIT: f64 = 3.0;

/// Say what to move, shim or reshape to bring a panel's seams into tolerance
#[derive(Debug, Args)]
#[command(
    after_help = "How a panel can be moved stands in the plan's [[adjuster]] tables; a panel without any may go 5 mm and 0.5°.\n\
Writes advice.html, advice.pdf, advice.json, advice.csv, edges.csv, edges.dxf, edges.obj and strips/SEAM.png into the folder.\n\
Exit status: 0 nothing to do, every reading of the panel is good; 1 something to do, or nothing worth doing though not \
all is good; 2 the job could not be done.\n\nExample:\n  shutline advise sample-scans/gannet-before.ply --plan \
sample-scans/gannet.seams.toml --panel hood --out out/advice"
)]
pub struct Advise {
    /// A scan, or the record.json or readings.csv of an earlier `measure`
    input: PathBuf,
    /// The seam plan (TOML)
    #[arg(long)]
    plan: PathBuf,
    /// The panel that may move; or several, separated by commas, to solve them together
    #[arg(long = "panels", visible_alias = "panel", required = true, value_delimiter = ',')]
    panels: Vec<String>,
    /// Folder for the results; made if missing
    #[arg(long, short)]
    out: PathBuf,
    /// What comes first: the worst place, or most places in tolerance
    #[arg(long, value_enum, default_value = "worst")]
    aim: AimWord,
    #[command(flatten)]
    presentation: Presentation,
    /// Print the advice as JSON instead of text
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum AimWord {
    Worst,
    Most,
}

impl Advise {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.plan)?;
        let output = OutputFolder::begin(&self.out)?;
        let seams = self.seams(&plan, talk)?;
        let settings = AdviseSettings {
            panels: self.panels.iter().map(|panel| PanelId(panel.trim().to_owned())).collect(),
            aim: match self.aim {
                AimWord::Worst => Aim::Worst,
                AimWord::Most => Aim::Most,
            },
        };
        let advice = advise(&plan, &seams, &settings)?;
        let language = self.presentation.language();
        let json = self.write(&output, &plan, &advice, language)?;
        output.finish()?;
        print_data(&if self.json { json } else { advice_text(&plan, &advice, language) })?;
        talk.line(format!("results in {}", self.out.display()));
        Ok(Outcome::of(advice.is_all_good()))
    }

    fn seams(&self, plan: &Plan, talk: Talk) -> Result<Vec<JudgedSeam>, Failure> {
        Ok(match read_results(&self.input)? {
            ResultsText::Record(text) => read_record(&text, plan)?,
            ResultsText::Readings(text) => read_readings(&text, plan)?,
            ResultsText::Other => {
                talk.line(format!("measuring {}", self.input.display()));
                let progress = Progress::start(talk.is_quiet);
                let source = open_scan(&self.input, plan.scan.units)?;
                progress.expect_bytes(source.facts().byte_count);
                let reference = open_reference(plan, &self.plan)?;
                let measured = measure_scan(source.as_ref(), plan, reference.as_deref(), &progress)?;
                progress.finish();
                measured.seams
            }
        })
    }

    /// Writes everything; gives the JSON back.
    fn write(
        &self,
        output: &OutputFolder,
        plan: &Plan,
        advice: &Advice,
        language: Language,
    ) -> Result<String, Failure> {
        let name = self.input.file_name().unwrap_or(self.input.as_os_str()).to_string_lossy();
        let json = advice_json(plan, advice, &name)?;
        output.write("advice.json", json.as_bytes())?;
        output.write("advice.csv", advice_csv(plan, advice)?.as_bytes())?;
        output.write("advice.html", advice_page(plan, advice, &name, language)?.as_bytes())?;
        let paper = self.presentation.paper(plan.units);
        output.write("advice.pdf", &advice_pdf(plan, advice, &name, language, paper)?)?;
        output.write("edges.csv", edges_csv(plan, advice)?.as_bytes())?;
        output.write("edges.dxf", edges_dxf(plan, advice).as_bytes())?;
        output.write("edges.obj", edges_obj(plan, advice).as_bytes())?;
        for judged in &advice.seams_before {
            let picture = advice_strip_picture(plan, advice, &judged.seam, language)?;
            output.write(&format!("strips/{}.png", judged.seam), &png(&picture, PIXELS_PER_UNIT)?)?;
        }
        Ok(json)
    }
}

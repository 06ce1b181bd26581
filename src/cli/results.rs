//! Everything that one measured scan leaves in its folder.

use std::path::{Path, PathBuf};

use clap::ValueEnum;
use rayon::prelude::*;
use shutline::files::{FileFacts, OutputFolder, PlanFile};
use shutline::judge::JudgedSeam;
use shutline::pipeline::MeasuredScan;
use shutline::plan::Plan;
use shutline::render::{
    InputFile, Language, Paper, ReportSettings, Results, RunFacts, SectionSettings, StripSettings,
    finished_csv, lineup_png, lineups_csv, readings_csv, record_json, report_html, report_pdf, results_qif,
    section_png, strip_png, strip_settings,
};
#[cfg(feature = "parquet")]
use shutline::render::{ScanReadings, readings_parquet};
use shutline::units::LengthUnit;

use super::align::residual_png;
use super::messages::Failure;

/// How results are presented to people.
#[derive(Debug, Clone, Copy, clap::Args)]
pub struct Presentation {
    /// Language of pictures, pages and paper
    #[arg(long, value_enum, default_value = "en")]
    language: LanguageChoice,
    /// Paper of the PDF [default: a4, or letter where the plan is in inches]
    #[arg(long, value_enum)]
    paper: Option<PaperChoice>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum LanguageChoice {
    En,
    De,
}

impl LanguageChoice {
    pub const fn language(self) -> Language {
        match self {
            Self::En => Language::English,
            Self::De => Language::German,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum PaperChoice {
    A4,
    Letter,
}

impl Presentation {
    /// The same as arguments of `measure`.
    pub fn arguments(self) -> Vec<String> {
        let word = |value: Option<clap::builder::PossibleValue>| {
            value.map_or_else(String::new, |value| value.get_name().to_owned())
        };
        let mut arguments = vec!["--language".to_owned(), word(self.language.to_possible_value())];
        if let Some(paper) = self.paper {
            arguments.extend(["--paper".to_owned(), word(paper.to_possible_value())]);
        }
        arguments
    }

    pub const fn language(self) -> Language {
        self.language.language()
    }

    pub const fn paper(self, unit: LengthUnit) -> Paper {
        match (self.paper, unit) {
            (Some(PaperChoice::Letter), _) | (None, LengthUnit::Inch) => Paper::Letter,
            _ => Paper::A4,
        }
    }
}

/// Writes tables, pictures, the page and the record; gives the record back.
pub fn write_results(
    folder: &OutputFolder,
    plan: &Plan,
    measured: &MeasuredScan,
    run: &RunFacts,
    sections: usize,
    presentation: Presentation,
) -> Result<String, Failure> {
    let readings = readings_csv(plan, &measured.seams)?;
    folder.write("readings.csv", readings.as_bytes())?;
    #[cfg(feature = "parquet")]
    folder.write("readings.parquet", &scan_parquet(run, &readings)?)?;
    if let Some(finished) = finished_csv(plan, &measured.seams)? {
        folder.write("finished.csv", finished.as_bytes())?;
    }
    if let Some(lineups) = lineups_csv(plan, &measured.lineups)? {
        folder.write("lineups.csv", lineups.as_bytes())?;
    }
    let language = presentation.language();
    for judged in &measured.lineups {
        let settings = StripSettings { language, ..StripSettings::default() };
        let picture = lineup_png(plan, judged, &settings)?;
        folder.write(&format!("lineups/{}.png", judged.reading.id), &picture)?;
    }
    if let Some(map) = residual_png(plan, &measured.alignment, language)? {
        folder.write("residuals.png", &map)?;
    }
    let results = Results {
        plan,
        judged: &measured.seams,
        summary: &measured.summary,
        lineups: &measured.lineups,
        alignment: Some(&measured.alignment),
        run,
    };
    let page = ReportSettings { language, surface: measured.surface.clone(), ..ReportSettings::default() };
    let paper = presentation.paper(plan.units);
    let (pictures, (html, pdf)) = rayon::join(
        || write_pictures(folder, plan, measured, sections, language),
        || {
            rayon::join(
                || Ok::<_, Failure>(folder.write("report.html", report_html(&results, &page)?.as_bytes())?),
                || Ok::<_, Failure>(folder.write("report.pdf", &report_pdf(&results, &page, paper)?)?),
            )
        },
    );
    pictures.and(html).and(pdf)?;
    folder.write("results.qif", results_qif(&results).as_bytes())?;
    let record = record_json(&results)?;
    folder.write("record.json", record.as_bytes())?;
    Ok(record)
}

/// The readings of this scan alone, named by its file.
#[cfg(feature = "parquet")]
fn scan_parquet(run: &RunFacts, readings: &str) -> Result<Vec<u8>, Failure> {
    let name = run.inputs.iter().find(|input| input.role == "scan").map_or("-", |input| &input.name);
    Ok(readings_parquet(&[ScanReadings { name, taken_s: None, csv: readings }])?)
}

/// Draws strips, worst sections and one of what was not seen, each picture on its own thread.
fn write_pictures(
    folder: &OutputFolder,
    plan: &Plan,
    measured: &MeasuredScan,
    sections: usize,
    language: Language,
) -> Result<(), Failure> {
    let strips = strip_settings(plan, &measured.seams, language);
    let seams = measured.seams.iter().zip(&measured.summary.seams).zip(&strips);
    let pictures: Vec<(&JudgedSeam, &StripSettings, Option<usize>)> = seams
        .flat_map(|((judged, summary), strip)| {
            let mut stations = summary.worst_stations(sections);
            stations
                .extend(unseen_station(judged).filter(|station| sections > 0 && !stations.contains(station)));
            std::iter::once((judged, strip, None))
                .chain(stations.into_iter().map(move |station| (judged, strip, Some(station))))
        })
        .collect();
    let section = SectionSettings { language, ..SectionSettings::default() };
    pictures.par_iter().try_for_each(|(judged, strip, station)| {
        match station {
            None => folder.write(&format!("strips/{}.png", judged.seam), &strip_png(plan, judged, strip)?)?,
            Some(station) => {
                let picture = section_png(plan, judged, *station, &section)?;
                folder.write(&format!("sections/{}-{station}.png", judged.seam), &picture)?;
            }
        }
        Ok(())
    })
}

/// One station that shows why others of the seam were not read: the middle one of those that have points.
fn unseen_station(judged: &JudgedSeam) -> Option<usize> {
    let unseen: Vec<usize> = judged
        .stations
        .iter()
        .map(|station| &station.reading)
        .filter(|reading| reading.gap.is_err() && !reading.profile.points.is_empty())
        .map(|reading| reading.station.index)
        .collect();
    unseen.get(unseen.len() / 2).copied()
}

/// Plan and curves as the record names them: curves as the plan does, unless it gives folders of this machine.
pub fn plan_inputs(path: &Path, read: &PlanFile) -> Vec<InputFile> {
    let input = |role: &str, name: &Path, facts: &FileFacts| InputFile {
        role: role.to_owned(),
        name: name.to_string_lossy().into_owned(),
        sha256: facts.sha256.clone(),
        byte_count: facts.byte_count,
    };
    let short = |path: &Path| PathBuf::from(path.file_name().unwrap_or(path.as_os_str()));
    let mut inputs = vec![input("plan", &short(path), &read.facts)];
    inputs.extend(read.curves.iter().map(|(name, facts)| {
        let name = Path::new(name);
        input("curve", &if name.is_absolute() { short(name) } else { name.to_owned() }, facts)
    }));
    inputs
}

/// An input as the record names it: by its file name, without the folders of this machine.
pub fn input_file(role: &str, path: &Path, sha256: String) -> InputFile {
    InputFile {
        role: role.to_owned(),
        name: path.file_name().map_or_else(|| "-".to_owned(), |name| name.to_string_lossy().into_owned()),
        sha256,
        byte_count: std::fs::metadata(path).map_or(0, |facts| facts.len()),
    }
}

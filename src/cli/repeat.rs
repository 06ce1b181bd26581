//! `shutline repeat`: how far readings scatter when nothing has changed.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::PathBuf;

use clap::Args;
use shutline::files::{FoundScan, read_labels, read_plan, write_file};
use shutline::render::{repeat_csv, repeat_json, repeat_page};
use shutline::summarise::{
    GaugeStudy, QuantityStudy, RepeatScan, RepeatStudy, ScanLabels, parse_reading_rows, study_repeats,
};

use super::batch::{BatchTerms, run_batch, scans_of, write_overview};
use super::exit_code::Outcome;
use super::messages::{Failure, Talk, print_data};

/// Find repeatability and reproducibility from repeated scans
#[derive(Debug, Args)]
#[command(
    after_help = "File names say what a scan is: CAR_OPERATOR_REPETITION.ply, or CAR_REPETITION.ply with one \
operator. Otherwise give --labels with a CSV of the columns scan,car,operator,repetition.\nWrites repeat.txt, repeat.csv, \
repeat.json, repeat.html (control charts and capability from three cars on) and the batch's own files.\n\nExample:\n  shutline \
repeat scans/ --plan gannet.seams.toml --out out/repeat"
)]
pub struct Repeat {
    /// Folder of scans; subfolders are searched
    folder: PathBuf,
    #[command(flatten)]
    terms: BatchTerms,
    /// CSV with the columns scan,car,operator,repetition
    #[arg(long)]
    labels: Option<PathBuf>,
    /// Print the study as JSON instead of a table
    #[arg(long)]
    json: bool,
}

impl Repeat {
    pub fn run(&self, talk: Talk) -> Result<Outcome, Failure> {
        let plan = read_plan(&self.terms.plan)?;
        let scans = scans_of(&self.folder, &self.terms)?;
        let labels = self.labels_of(&scans)?;
        let entries = run_batch(&scans, &self.terms, talk)?;
        write_overview(&entries, &self.terms.out, self.terms.presentation.language())?;
        let mut made = Vec::new();
        for entry in &entries {
            if let Some(reason) = &entry.failure {
                return Err(Failure::new(format!(
                    "{} could not be measured ({reason}); take it out of the study or mend it",
                    entry.scan
                )));
            }
            let rows = parse_reading_rows(&entry.readings_text(&self.terms.out)?)?;
            let labels = labels.get(&entry.scan).cloned().ok_or_else(|| unlabelled(&entry.scan))?;
            made.push(RepeatScan { labels, rows });
        }
        let study = study_repeats(&plan.seams, &made)?;
        let text = study_table(&study);
        let json = repeat_json(&plan.title, &study)?;
        for (name, bytes) in [
            ("repeat.txt", text.as_str()),
            ("repeat.csv", &repeat_csv(&study, plan.units)?),
            ("repeat.json", &json),
            ("repeat.html", &repeat_page(&plan, &study, self.terms.presentation.language())),
        ] {
            write_file(&self.terms.out.join(name), bytes.as_bytes())?;
        }
        print_data(if self.json { &json } else { &text })?;
        Ok(Outcome::AllGood)
    }

    fn labels_of(&self, scans: &[FoundScan]) -> Result<BTreeMap<String, ScanLabels>, Failure> {
        match &self.labels {
            Some(path) => {
                let known = read_labels(path)?.into_iter();
                Ok(known
                    .map(|(scan, [car, operator, repetition])| {
                        (scan, ScanLabels { car, operator, repetition })
                    })
                    .collect())
            }
            None => scans
                .iter()
                .map(|scan| {
                    Ok((scan.name.clone(), labels_in_name(&scan.name).ok_or_else(|| unlabelled(&scan.name))?))
                })
                .collect(),
        }
    }
}

fn unlabelled(scan: &str) -> Failure {
    Failure::new(format!(
        "cannot tell car, operator and repetition of {scan}; name it CAR_OPERATOR_REPETITION, or give --labels"
    ))
}

/// `CAR_OPERATOR_REPETITION` or `CAR_REPETITION`, without folder and ending.
fn labels_in_name(scan: &str) -> Option<ScanLabels> {
    let file = scan.rsplit('/').next()?;
    let stem = file.split('.').next()?;
    let parts: Vec<&str> = stem.split('_').filter(|part| !part.is_empty()).collect();
    let (car, operator, repetition) = match parts[..] {
        [car, repetition] => (car, "", repetition),
        [car, operator, repetition] => (car, operator, repetition),
        _ => return None,
    };
    Some(ScanLabels { car: car.to_owned(), operator: operator.to_owned(), repetition: repetition.to_owned() })
}

fn study_table(study: &RepeatStudy) -> String {
    let [cars, operators, repetitions] = study.layout;
    let mut text = format!(
        "{cars} cars, {operators} operators, {repetitions} scans of each; standard deviations in mm\n\n"
    );
    let _ = writeln!(
        text,
        "{:<28} {:<6} {:<10} {:>9} {:>9} {:>9} {:>8} {:>8} {:>5}",
        "seam", "", "method", "repeat", "reprod", "gauge", "% study", "% tol", "ndc"
    );
    for seam in &study.seams {
        for one in &seam.studies {
            write_study(&mut text, &seam.seam, one);
        }
    }
    for one in &study.overall {
        write_study(&mut text, "all seams", one);
    }
    if let Some(accuracy_mm) = study.accuracy_mm() {
        let _ = writeln!(
            text,
            "\nWhat all gaps of a scan share: {accuracy_mm:.4} mm. For the plan, if this study is like your daily work:\n  \
             [scan]\n  accuracy = {accuracy_mm:.4}    # mm; it holds no error that every scan makes alike"
        );
    }
    text
}

fn write_study(text: &mut String, seam: &str, study: &QuantityStudy) {
    for (method, gauge) in [("variance", &study.by_variance), ("range", &study.by_range)] {
        let optional = |value: Option<f64>, digits: usize| {
            value.map_or_else(|| "-".to_owned(), |value| format!("{value:.digits$}"))
        };
        let share = study
            .tolerance_width_mm
            .and_then(|width_mm| GaugeStudy::percent_of_tolerance(gauge.gauge, width_mm));
        let _ = writeln!(
            text,
            "{seam:<28} {:<6} {method:<10} {:>9.4} {:>9} {:>9.4} {:>8} {:>8} {:>5}",
            study.quantity.word(),
            gauge.repeatability,
            optional(gauge.reproducibility, 4),
            gauge.gauge,
            optional(gauge.percent_of_study(gauge.gauge), 1),
            optional(share, 1),
            optional(gauge.distinct_categories().map(f64::floor), 0),
        );
    }
}

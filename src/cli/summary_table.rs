//! The short table that `measure` leaves on the terminal.
//!
//! In: the summary of a scan. Out: text, at most 100 columns, in the plan's unit.

use std::fmt::Write;

use shutline::judge::{JudgedLineup, Verdict, expanded_u_mm, finish_change};
use shutline::lineup::LineupReason;
use shutline::measure::Estimate;
use shutline::plan::{JudgedState, Plan};
use shutline::render::Language;
use shutline::summarise::{MeasurandSummary, Place, ScanSummary, SeamSummary};
use shutline::units::LengthUnit;

/// Worst places that are written out below the table.
const WORST_LISTED: usize = 5;

/// The table with a line a seam, the totals, and the worst places in words.
pub fn summary_table(plan: &Plan, summary: &ScanSummary, lineups: &[JudgedLineup]) -> String {
    let mut text = format!(
        "{:<24} {:<26} {:<26} {}\n",
        "seam",
        format!("gap, {}", plan.units.symbol()),
        format!("flush, {}", plan.units.symbol()),
        "verdict"
    );
    for seam in &summary.seams {
        // Writing to a string cannot fail.
        let _ = writeln!(
            text,
            "{:<24} {:<26} {:<26} {}",
            seam.seam.0,
            spread(&seam.gap, plan.units),
            spread(&seam.flush, plan.units),
            verdict_words(seam),
        );
    }
    let counts = summary.counts();
    let _ = writeln!(
        text,
        "\n{} of {} readings good, {} out, {} undecided, {} unseen",
        counts.good,
        counts.total(),
        counts.out(),
        counts.undecided,
        counts.unseen
    );
    text.push_str(&lineup_lines(plan, lineups));
    text.push_str(&judged_state(plan));
    text.push_str(&worst_places(plan, summary));
    text
}

/// A line for each lineup: its verdict, and the step and shift of its first feature or the pitches of its row.
fn lineup_lines(plan: &Plan, lineups: &[JudgedLineup]) -> String {
    let words = |value: &Result<Estimate, LineupReason>| match value {
        Ok(found) => {
            format!("{} ± {}", number(found.value_mm, plan.units), number(2.0 * found.u_mm, plan.units))
        }
        Err(reason) => reason.token().to_owned(),
    };
    let mut text = String::new();
    for judged in lineups {
        let reading = &judged.reading;
        let values = match (&reading.row, reading.features.first()) {
            (Some(row), _) => format!("pitch {} and {}", words(&row.pitch[0]), words(&row.pitch[1])),
            (None, Some(one)) => format!("step {}, shift {}", words(&one.step), words(&one.shift)),
            (None, None) => String::new(),
        };
        let _ = writeln!(text, "lineup {:<17} {values}  {}", reading.id, judged.verdict().word());
    }
    text
}

/// Which state of the car the table judges, where film is still to come, and what the film changes.
fn judged_state(plan: &Plan) -> String {
    if !plan.finish.is_to_come() {
        return String::new();
    }
    let mut text = match plan.finish.judge {
        JudgedState::AsScanned => "judged as scanned; the film still to come will change\n".to_owned(),
        JudgedState::Finished => {
            "judged as finished; the film still to come is in it, and changes\n".to_owned()
        }
    };
    for seam in &plan.seams {
        let change = finish_change(&plan.finish, seam);
        let _ = writeln!(
            text,
            "  {:<24} gap by {}, flush by {} {}",
            seam.id.0,
            number(change.gap.change_mm, plan.units),
            number(change.flush.change_mm, plan.units),
            plan.units.symbol(),
        );
    }
    text
}

fn spread(measurand: &MeasurandSummary, unit: LengthUnit) -> String {
    match (&measurand.mean, &measurand.least, &measurand.greatest) {
        (Some(mean), Some(least), Some(greatest)) => format!(
            "{} ({} to {})",
            number(mean.value_mm, unit),
            number(least.value_mm, unit),
            number(greatest.value_mm, unit)
        ),
        _ => "unseen".to_owned(),
    }
}

fn verdict_words(seam: &SeamSummary) -> String {
    let out = seam.gap.counts.out() + seam.flush.counts.out();
    let open = seam.gap.counts.undecided + seam.flush.counts.undecided;
    let word = seam.verdict().word();
    let is_taper_out = seam.taper_verdict.is_some_and(Verdict::is_out);
    let mut words = match out {
        // The gap's word would say that the gap itself is wide.
        0 if is_taper_out => "taper out".to_owned(),
        0 if seam.verdict() == Verdict::Unseen => {
            let reason = seam.gap.usual_reason().or_else(|| seam.flush.usual_reason());
            let texts = Language::English.texts();
            reason.map_or_else(|| word.to_owned(), |reason| format!("{word}: {}", texts.reason_words(reason)))
        }
        0 => word.to_owned(),
        out if is_taper_out => format!("{word}, {out} out, taper out"),
        out => format!("{word}, {out} out"),
    };
    if open > 0 {
        let _ = write!(words, ", {open} undecided");
    }
    words
}

fn worst_places(plan: &Plan, summary: &ScanSummary) -> String {
    let mut places: Vec<(&SeamSummary, &'static str, &Place)> = summary
        .seams
        .iter()
        .flat_map(|seam| {
            let gap = seam.gap.runs.iter().map(move |run| (seam, "gap", &run.worst));
            gap.chain(seam.flush.runs.iter().map(move |run| (seam, "flush", &run.worst)))
        })
        .collect();
    places.sort_by(|left, right| right.2.beyond_mm.total_cmp(&left.2.beyond_mm));
    let mut text = String::new();
    for (seam, what, place) in places.into_iter().take(WORST_LISTED) {
        let _ = writeln!(
            text,
            "  {}: {what} {} at {} {} along: {} ± {} (limit passed by {})",
            seam.seam,
            place.verdict.word(),
            round_length(place.along_mm, plan.units),
            plan.units.symbol(),
            number(place.value_mm, plan.units),
            number(place.expanded_mm, plan.units),
            number(place.beyond_mm, plan.units),
        );
    }
    let tapered = summary.seams.iter().filter(|seam| seam.taper_verdict.is_some_and(Verdict::is_out));
    for seam in tapered {
        if let Some(taper) = &seam.taper {
            let _ = writeln!(
                text,
                "  {}: the gap changes by {} ± {} between {} and {} {} along ({} allowed)",
                seam.seam,
                number(taper.change.value_mm, plan.units),
                number(expanded_u_mm(&taper.change, &plan.decision), plan.units),
                round_length(taper.from_mm, plan.units),
                round_length(taper.to_mm, plan.units),
                plan.units.symbol(),
                number(taper.limit_mm, plan.units),
            );
        }
    }
    text
}

/// A length without a minus before what rounds to zero.
fn number(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = if unit == LengthUnit::Inch { 3 } else { 2 };
    let text = format!("{:.decimals$}", value_mm / unit.mm());
    match text.strip_prefix('-') {
        Some(size) if !size.contains(|letter: char| ('1'..='9').contains(&letter)) => size.to_owned(),
        _ => text,
    }
}

fn round_length(value_mm: f64, unit: LengthUnit) -> String {
    let decimals = usize::from(unit == LengthUnit::Inch);
    format!("{:.decimals$}", value_mm / unit.mm())
}

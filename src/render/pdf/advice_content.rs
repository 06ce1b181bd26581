//! What stands on the sheets of an advice, in the order of its page.

use super::flow::Flow;
use crate::advise::{Advice, SeamEdges};
use crate::judge::Measurand;
use crate::plan::Plan;
use crate::render::advice_findings::{fault_lines, leftover_lines, standing_lines};
use crate::render::advice_page::range_words;
use crate::render::advice_strip::advice_strip_picture;
use crate::render::advice_words::{advice_lines, counts_words, need_words, other_aim_words, unseen_words};
use crate::render::error::RenderError;
use crate::render::format::length_with_unit;
use crate::render::ink::Ink;
use crate::render::picture::Weight;
use crate::render::texts::Language;

/// Room that a heading keeps free below it.
const ROOM: f64 = 60.0;
/// Indents of points and of their parts, points.
const POINT: f64 = 10.0;
const PART: f64 = 22.0;

pub(super) fn fill(
    flow: &mut Flow<'_>,
    plan: &Plan,
    advice: &Advice,
    input: &str,
    language: Language,
) -> Result<(), RenderError> {
    let texts = language.advice_texts();
    flow.title(&format!("{}: {}", plan.title, texts.title));
    flow.words(input, Ink::Muted);
    flow.heading(texts.faults_head, ROOM);
    points(flow, fault_lines(plan, advice, language));
    points(flow, standing_lines(plan, advice, language));
    what_to_do(flow, plan, advice, language);
    cautions(flow, language);
    expected(flow, plan, advice, language);
    flow.heading(texts.leftover_head, ROOM);
    points(flow, leftover_lines(plan, advice, language));
    if advice.edges.iter().any(SeamEdges::is_needed) {
        flow.words(&format!("{} edges.csv, edges.dxf, edges.obj", texts.leftover_note), Ink::Muted);
    }
    flow.skip(8.0);
    for judged in &advice.seams_before {
        flow.picture(&advice_strip_picture(plan, advice, &judged.seam, language)?);
    }
    cautions(flow, language);
    Ok(())
}

fn points(flow: &mut Flow<'_>, lines: Vec<String>) {
    for line in lines {
        flow.runs(&[(Weight::Regular, format!("– {line}"))], Ink::Text, POINT);
    }
}

fn what_to_do(flow: &mut Flow<'_>, plan: &Plan, advice: &Advice, language: Language) {
    let texts = language.advice_texts();
    let panels = advice_lines(plan, advice, language);
    flow.heading(texts.what_to_do, ROOM);
    if let Some(sentence) = need_words(advice.need, texts) {
        flow.runs(&[(Weight::Bold, sentence.to_string())], Ink::Text, 0.0);
    }
    if panels.len() > 1 {
        flow.words(texts.orders, Ink::Text);
    }
    for (index, (title, lines)) in panels.iter().enumerate() {
        flow.runs(&[(Weight::Bold, format!("{}. {title}", index + 1))], Ink::Text, POINT);
        for line in lines {
            flow.runs(&[(Weight::Regular, format!("– {line}"))], Ink::Text, PART);
        }
    }
    if !advice.unseen.is_empty() {
        let unseen: Vec<String> = advice.unseen.iter().map(|one| unseen_words(plan, one, language)).collect();
        let words = format!("{}: {}. {}.", texts.unseen_head, unseen.join("; "), texts.unseen);
        flow.words(&words, Ink::Text);
    }
    if !panels.is_empty() {
        flow.words(texts.flex, Ink::Muted);
    }
}

fn cautions(flow: &mut Flow<'_>, language: Language) {
    let texts = language.advice_texts();
    flow.skip(6.0);
    flow.runs(&[(Weight::Bold, texts.cautions_head.to_owned())], Ink::Text, 0.0);
    for caution in texts.cautions {
        flow.caution(caution);
    }
}

fn expected(flow: &mut Flow<'_>, plan: &Plan, advice: &Advice, language: Language) {
    let (texts, words) = (language.advice_texts(), language.texts());
    flow.heading(texts.predicted, ROOM);
    // The paper's font has no arrows.
    let turn = |line: &str, before: &str, after: &str| {
        format!("{line} {} {before}, {} {after}", texts.before, texts.after)
    };
    let worst = [&advice.before, &advice.after].map(|score| format!("{:.2}", score.worst));
    flow.words(&turn(texts.worst_line, &worst[0], &worst[1]), Ink::Text);
    let counts = [&advice.before, &advice.after].map(counts_words);
    flow.words(&turn(texts.counts_line, &counts[0], &counts[1]), Ink::Text);
    let head = [
        texts.seam.to_owned(),
        String::new(),
        format!("{} ({})", texts.before, texts.out_of),
        format!("{} ({})", texts.after, texts.out_of),
    ];
    let mut rows = Vec::new();
    for (before, after) in advice.seams_before.iter().zip(&advice.seams_after) {
        let title = plan.seam(&before.seam).map_or(before.seam.0.as_str(), |seam| seam.title.as_str());
        for measurand in Measurand::BOTH {
            rows.push(vec![
                title.to_owned(),
                words.measurand(measurand).to_owned(),
                range_words(plan, before, measurand),
                range_words(plan, after, measurand),
            ]);
        }
    }
    flow.table(&head, &rows, None);
    if let Some(line) = other_aim_words(advice, texts) {
        flow.words(&line, Ink::Muted);
    }
    let linear = format!("{} {}.", texts.linear, length_with_unit(advice.linear_error_mm, plan.units));
    flow.words(&linear, Ink::Muted);
}

//! Which state of the car is judged, in a line: for strips, page and sections.
//!
//! In: the plan's finish and a seam. Out: text, in the plan's unit. Nothing where no film is to come.

use super::format::{signed, unit_name};
use super::texts::Texts;
use crate::judge::finish_change;
use crate::plan::{JudgedState, Plan, Seam};

/// "judged as finished, film to come included: gap −0.19, flush +0.06 mm", or `None` where no film is to come.
pub(super) fn finish_caption(plan: &Plan, seam: &Seam, texts: &Texts) -> Option<String> {
    if !plan.finish.is_to_come() {
        return None;
    }
    let change = finish_change(&plan.finish, seam);
    let [gap, flush] = [change.gap, change.flush].map(|change| signed(change.change_mm, plan.units));
    let unit = unit_name(plan.units);
    Some(format!("{}: {} {gap}, {} {flush} {unit}", state_words(plan, texts), texts.gap, texts.flush))
}

/// Which state is judged, as a half-sentence that a list of changes follows.
pub(super) const fn state_words(plan: &Plan, texts: &Texts) -> &'static str {
    match plan.finish.judge {
        JudgedState::AsScanned => texts.judged_scanned,
        JudgedState::Finished => texts.judged_finished,
    }
}

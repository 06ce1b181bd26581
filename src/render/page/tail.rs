//! The end of the page: where the uncertainty comes from, alignment, settings, files.

use maud::{Markup, html};

use super::extra::extras;
use crate::render::closing::closing;
use crate::render::run_facts::Results;
use crate::render::texts::Language;

pub(super) fn tail(results: &Results<'_>, language: Language) -> Markup {
    html! {
        footer {
            (extras(&closing(results, language)))
            p class="muted" { "shutline " (results.run.program_version) }
        }
    }
}

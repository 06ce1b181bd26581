//! The car from several sides, and the list of its seams.

use maud::{Markup, html};
use nalgebra::Point3;

use super::{NARROW, ReportSettings, WIDE, both_widths, list};
use crate::render::car_axes::flat_views;
use crate::render::ink::Ink;
use crate::render::overview::{Backdrop, overview_picture, overview_seams};
use crate::render::picture::Picture;
use crate::render::run_facts::Results;
use crate::render::svg::svg;

/// Backdrop points drawn in each view, on a wide and on a narrow sheet.
const BACKDROP_COUNTS: [usize; 2] = [5000, 2500];
/// Greatest heights of the wide and of the narrow sheet.
const MOST_HEIGHTS: [f64; 2] = [430.0, 620.0];

/// The sheet of all views, as wide as asked for: 0 for wide, 1 for narrow.
pub(in crate::render) fn views_picture(
    results: &Results<'_>,
    settings: &ReportSettings,
    which: usize,
) -> Picture {
    let texts = settings.language.texts();
    let seams = overview_seams(results.plan, results.judged);
    let step = settings.surface.len().div_ceil(BACKDROP_COUNTS[which]).max(1);
    let points: Vec<Point3<f64>> = settings.surface.iter().step_by(step).copied().collect();
    let backdrop = [Backdrop { points, ink: Ink::Hair }];
    let views = flat_views(results.plan.axes(), texts);
    let sheet = [[WIDE, NARROW][which], MOST_HEIGHTS[which]];
    overview_picture(&seams, &backdrop, &views, sheet, &results.plan.title)
}

pub(super) fn overview(results: &Results<'_>, settings: &ReportSettings) -> Markup {
    let texts = settings.language.texts();
    let [wide, narrow] = [0, 1].map(|which| svg(&views_picture(results, settings, which)));
    html! {
        figure {
            (both_widths(&wide, &narrow))
            figcaption class="muted" { (texts.legend) }
        }
        (list::seam_list(results, texts))
    }
}

//! One seam's gap and flush over the scans of a batch, in order of time: means, their spread along the seam, the drift.
//!
//! In: a line of a [`BatchOverview`]. Out: a [`Picture`]. Units: the batch's on paper, mm inside; time in UTC.
//! A bar spans the least to the greatest reading of a scan, a dot is its mean, hollow where some stations are out. The
//! drift is drawn where it is more than its uncertainty.
//! Does not decide anything.

use super::batch_overview::quantity_word;
use super::format::unit_name;
use super::ink::{Ink, Severity};
use super::picture::{Anchor, Area, Picture, Stroke};
use super::scale::Scale;
use super::texts::{BatchTexts, Texts};
use crate::summarise::{BatchCell, BatchLine, BatchOverview, BatchScan};
use crate::units::LengthUnit;

const WIDTH: f64 = 680.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 16.0;
const HEAD: f64 = 26.0;
const PLOT: f64 = 110.0;
const FOOT: f64 = 24.0;
const SECONDS_PER_DAY: f64 = 86_400.0;
/// Least span of the scale, mm, so that noise does not look like news.
const LEAST_SPAN_MM: f64 = 0.4;

/// The trend of one line; `None` where fewer than two scans show it.
pub(super) fn trend_picture(
    overview: &BatchOverview,
    line: &BatchLine,
    texts: &Texts,
    words: &BatchTexts,
) -> Option<Picture> {
    let unit = overview.units;
    let seen: Vec<(&BatchScan, &BatchCell, [f64; 3])> = overview
        .scans
        .iter()
        .zip(&line.cells)
        .filter_map(|(scan, cell)| {
            let cell = cell.as_ref()?;
            Some((scan, cell, [cell.least_mm?, cell.mean_mm?, cell.most_mm?]))
        })
        .collect();
    if seen.len() < 2 {
        return None;
    }
    let title = format!("{} · {}", line.seam, quantity_word(line.quantity, texts));
    let label = words.trend_label.replace("{title}", &title).replace("{n}", &seen.len().to_string());
    let mut picture = Picture::new(WIDTH, HEAD + PLOT + FOOT, label);
    picture.bold([LEFT, 16.0], 13.0, Anchor::Start, Ink::Text, title);
    picture.text([WIDTH - RIGHT, 16.0], 11.0, Anchor::End, Ink::Muted, drift_words(line, unit, words));
    let area = Area::new(LEFT, HEAD, WIDTH - LEFT - RIGHT, PLOT);
    let (x, y) = scales(&seen, area);
    for tick_mm in y.ticks(22.0) {
        let place = y.place(tick_mm);
        picture.line([area.x, place], [area.right(), place], Stroke::new(Ink::Hair, 0.5));
        let label = format!("{:.2}", tick_mm / unit.mm()).replace('-', "−");
        picture.text([area.x - 4.0, place + 3.5], 10.0, Anchor::End, Ink::Muted, label);
    }
    let points: Vec<[f64; 2]> =
        seen.iter().map(|(scan, _, [_, mean, _])| [x.place(scan.taken_s as f64), y.place(*mean)]).collect();
    let bars = seen.iter().map(|(scan, _, [least, _, most])| {
        let at = x.place(scan.taken_s as f64);
        [[at, y.place(*least)], [at, y.place(*most)]]
    });
    picture.segments(bars.collect(), Stroke::new(Ink::Band, 5.0));
    draw_drift(&mut picture, line, &seen, &x, &y);
    picture.polyline(points.clone(), Stroke::new(Ink::GoodLine, 1.0));
    for (point, (_, cell, _)) in points.iter().zip(&seen) {
        if cell.counts.out() > 0 {
            picture.ring(*point, 4.0, Stroke::new(Ink::Above(Severity::Clear), 1.8));
        } else {
            picture.disc(*point, 3.0, Ink::Text);
        }
    }
    for (index, anchor) in [(0, Anchor::Start), (seen.len() - 1, Anchor::End)] {
        let scan = seen[index].0;
        let at = [if index == 0 { area.x } else { area.right() }, area.bottom() + 16.0];
        picture.text(at, 10.0, anchor, Ink::Muted, day(scan.taken_s));
    }
    Some(picture)
}

/// Time across, lengths up; scans that were all taken at once stand in the middle.
fn scales(seen: &[(&BatchScan, &BatchCell, [f64; 3])], area: Area) -> (Scale, Scale) {
    let times = || seen.iter().map(|(scan, ..)| scan.taken_s as f64);
    let (first, last) = (times().fold(f64::INFINITY, f64::min), times().fold(f64::NEG_INFINITY, f64::max));
    let low_mm = seen.iter().map(|(_, _, [least, ..])| *least).fold(f64::INFINITY, f64::min);
    let high_mm = seen.iter().map(|(.., [_, _, most])| *most).fold(f64::NEG_INFINITY, f64::max);
    let middle_mm = f64::midpoint(low_mm, high_mm);
    let half_mm = ((high_mm - low_mm) / 2.0).max(LEAST_SPAN_MM / 2.0);
    (
        Scale::new([first, last], [area.x + 10.0, area.right() - 10.0]),
        Scale::new([middle_mm - half_mm, middle_mm + half_mm], [area.bottom() - 8.0, area.y + 8.0]),
    )
}

/// The drift's line through the middle of the seen means, where it is real.
fn draw_drift(
    picture: &mut Picture,
    line: &BatchLine,
    seen: &[(&BatchScan, &BatchCell, [f64; 3])],
    x: &Scale,
    y: &Scale,
) {
    let Some(drift) = line.drift.filter(|drift| drift.is_real()) else { return };
    let count = seen.len() as f64;
    let middle_s = seen.iter().map(|(scan, ..)| scan.taken_s as f64).sum::<f64>() / count;
    let middle_mm = seen.iter().map(|(_, _, [_, mean, _])| *mean).sum::<f64>() / count;
    let at = |time_s: f64| {
        let mm = middle_mm + drift.mm_per_day * (time_s - middle_s) / SECONDS_PER_DAY;
        [x.place(time_s), y.place_held(mm)]
    };
    picture.line(at(x.from), at(x.to), Stroke::new(Ink::Text, 1.0).dashed(5.0, 3.0));
}

fn drift_words(line: &BatchLine, unit: LengthUnit, words: &BatchTexts) -> String {
    let Some(drift) = &line.drift else { return words.needs_four.to_owned() };
    let finer = |mm: f64| format!("{:.3}", mm / unit.mm());
    let word = if drift.is_real() { words.drifts } else { words.no_drift };
    let sign = if drift.mm_per_day < 0.0 { "−" } else { "+" };
    format!(
        "{word} {sign}{} ± {} {} {}",
        finer(drift.mm_per_day.abs()),
        finer(drift.expanded_mm_per_day),
        unit_name(unit),
        words.a_day
    )
}

/// The day in UTC, as a name's date is read.
fn day(taken_s: i64) -> String {
    jiff::Timestamp::from_second(taken_s)
        .map_or_else(|_| String::new(), |time| time.strftime("%Y-%m-%d").to_string())
}

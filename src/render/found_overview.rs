//! What was found in a scan, for a person to name: views with panels tinted and seams numbered, and the key beneath.
//!
//! In: [`FoundSeams`]. Out: a [`Picture`]. Units: mm in the scan's frame.
//! Views: one from the side to which most of the surface looks, then three slanted ones that show most of what is hidden
//! from it. Titles name the scan's axes, since nothing says where the front is.
//! Stretches that were bridged are broken lines. Numbers stand beside their seams with a leader (`callouts`).
//! Does not name anything itself.

use nalgebra::{Point3, Vector3};

use super::callouts::{Callout, Wanted, place_callouts};
use super::car_axes::FlatView;
use super::found_key::{draw_key, short_name};
use super::found_surface::{BUCKET, COVER_MM, DepthBuffer, Sheet, thinned};
use super::found_views::{Chosen, choose_views};
use super::ink::Ink;
use super::packing::pack;
use super::picture::{Anchor, Area, Picture, Place, Stroke, Weight};
use super::raster::text_width;
use super::texts::Language;
use crate::trace::{FoundSeam, FoundSeams, SurfaceSample};

/// Width of the picture, and most height of its views.
const WIDTH: f64 = 1060.0;
const MOST_HEIGHT: f64 = 980.0;
const HEAD: f64 = 52.0;
/// Room round each view for numbers, and for its title.
const VIEW_MARGIN: f64 = 30.0;
const VIEW_HEAD: f64 = 14.0;
/// Edge of the cubes of which one sample each is drawn, buckets of the picture.
const THIN_BUCKETS: f64 = 0.6;
/// Views are chosen on samples in so many cubes across.
const ROUGH_CUBES: f64 = 200.0;
/// Where views show less than this share of the seams' length, what no seam touches may be in the way.
const LEAST_SEEN: f64 = 0.3;
/// Where along what is seen of a seam its number may be led to, best first.
const NUMBER_PLACES: [f64; 9] = [0.5, 0.4, 0.6, 0.28, 0.72, 0.18, 0.82, 0.08, 0.92];
/// Shorter pieces of a seam in a view carry no number, picture units, unless no view shows more.
const LEAST_NUMBERED: f64 = 14.0;
/// How far points of a seam are apart when it is drawn, mm.
const DRAWN_STEP_MM: f64 = 5.0;

/// A stretch of a seam that one view shows.
struct Stretch {
    places: Vec<Place>,
    is_bridged: bool,
}

/// Draws the overview.
#[must_use]
pub fn found_overview(found: &FoundSeams, scan: &str, language: Language) -> Picture {
    let texts = language.found_texts();
    let title = texts.title.replace("{scan}", scan);
    let mut samples: Vec<SurfaceSample> = found.surface().collect();
    let tints = panel_tints(found);
    let lines = seam_lines(found);
    let mut chosen = rough_views(found, &samples);
    let length_mm: f64 = found.seams.iter().map(|seam| seam.length_mm).sum();
    let has_seam: Vec<bool> = (0..found.panels.len())
        .map(|panel| found.seams.iter().any(|seam| seam.panels.contains(&panel)))
        .collect();
    let is_in_the_way = |sample: &SurfaceSample| !has_seam[sample.panel];
    let is_hidden = chosen.seen_mm < LEAST_SEEN * length_mm && samples.iter().any(is_in_the_way);
    if is_hidden {
        // A booth, a floor, a cover: what no seam touches is left out.
        samples.retain(|sample| !is_in_the_way(sample));
        chosen = rough_views(found, &samples);
    }
    let views = chosen.views;
    let spans: Vec<[f64; 4]> = views.iter().map(|view| span_mm(&samples, found, view)).collect();
    let sizes: Vec<[f64; 2]> = spans.iter().map(|span| [span[2] - span[0], span[3] - span[1]]).collect();
    let room = [2.0 * VIEW_MARGIN, 2.0 * VIEW_MARGIN + VIEW_HEAD];
    let packing = pack(&sizes, room, [WIDTH, MOST_HEIGHT]);
    // More samples than buckets would only hide one another.
    let cube_mm = THIN_BUCKETS * BUCKET / packing.per_mm;
    let drawn = if cube_mm > COVER_MM { thinned(&samples, cube_mm) } else { samples };
    let cover_mm = cube_mm.max(COVER_MM);
    let mut picture = Picture::new(WIDTH, 0.0, title.clone());
    picture.bold([VIEW_MARGIN, 26.0], 17.0, Anchor::Start, Ink::Text, title);
    picture.text([VIEW_MARGIN, 43.0], 11.5, Anchor::Start, Ink::Muted, summary(found, is_hidden, language));
    for ((view, span), corner) in views.iter().zip(&spans).zip(&packing.corners) {
        let size = [span[2] - span[0], span[3] - span[1]].map(|length| length * packing.per_mm);
        let frame = Area::new(corner[0], HEAD + corner[1], size[0] + room[0], size[1] + room[1]);
        let at = |offset: f64, low: f64| ((offset - low * packing.per_mm) * 2.0).round() / 2.0;
        let origin = [at(frame.x + VIEW_MARGIN, span[0]), at(frame.y + VIEW_MARGIN + VIEW_HEAD, span[1])];
        let sheet = Sheet { origin, per_mm: packing.per_mm };
        let buffer = DepthBuffer::of(&drawn, cover_mm, view, &sheet, &frame);
        buffer.draw(&mut picture, &tints);
        let letters = lettering(found, &buffer);
        let covered = letters.iter().flat_map(|(_, centre, half_width)| covering(*centre, *half_width));
        let shown = Shown { view, sheet, buffer, frame, letters: covered.collect() };
        draw_seams(&mut picture, found, &lines, &shown);
        // After the seams: on narrow panels their paper edges would cut the names.
        for (number, centre, _) in &letters {
            let place = [centre[0], centre[1] + 4.0];
            picture.text(place, 11.0, Anchor::Middle, Ink::Text, short_name(&found.panels[*number].name));
        }
        picture.text(
            [frame.x + VIEW_MARGIN, frame.y + 14.0],
            11.0,
            Anchor::Start,
            Ink::Muted,
            texts.seen_from.replace("{axes}", &view.title),
        );
    }
    let top = HEAD + packing.height + 8.0;
    let height = draw_key(&mut picture, found, &lines, &tints, top, language);
    picture.height = height + 14.0;
    picture
}

fn summary(found: &FoundSeams, is_hidden: bool, language: Language) -> String {
    let length_mm: f64 = found.seams.iter().map(|seam| seam.length_mm).sum();
    let panels = found.panels.iter().filter(|panel| !panel.neighbours.is_empty()).count();
    let length = format!("{:.2}", length_mm / 1000.0);
    let words = language.found_texts().summary.replace("{n}", &found.seams.len().to_string());
    let words = words.replace("{length}", &length).replace("{panels}", &panels.to_string());
    let words = words.replace("{junctions}", &found.junctions.len().to_string());
    if is_hidden { format!("{words} {}", language.found_texts().left_out) } else { words }
}

fn rough_views(found: &FoundSeams, samples: &[SurfaceSample]) -> Chosen {
    let rough_mm = largest_span_mm(samples) / ROUGH_CUBES;
    let rough = thinned(samples, rough_mm);
    let mean: Vector3<f64> = rough.iter().map(|sample| sample.outward).sum();
    choose_views(&mean, found.seams.len(), |view| seen_mm(found, &rough, rough_mm, view))
}

/// One view with its place in the picture.
struct Shown<'a> {
    view: &'a FlatView,
    sheet: Sheet,
    buffer: DepthBuffer,
    frame: Area,
    /// Discs over lettering that must stay free.
    letters: Vec<(Place, f64)>,
}

fn draw_seams(picture: &mut Picture, found: &FoundSeams, lines: &[u8], shown: &Shown<'_>) {
    let drawn: Vec<Vec<Stretch>> = found.seams.iter().map(|seam| stretches(seam, shown)).collect();
    // All casings first, so that no seam's casing cuts another seam.
    for stretch in drawn.iter().flatten() {
        picture.polyline(stretch.places.clone(), Stroke::new(Ink::Paper, 6.4));
    }
    for (stretches, line) in drawn.iter().zip(lines) {
        for stretch in stretches {
            let stroke = Stroke::new(Ink::Line(*line), 3.2);
            let stroke = if stretch.is_bridged { stroke.dashed(1.3, 1.3) } else { stroke };
            picture.polyline(stretch.places.clone(), stroke);
        }
    }
    let all: Vec<Place> = drawn.iter().flatten().flat_map(|stretch| dense(&stretch.places)).collect();
    let wanted: Vec<(usize, Wanted)> = drawn
        .iter()
        .enumerate()
        .filter_map(|(number, stretches)| Some((number, wanted(number, stretches)?)))
        .collect();
    let (numbers, wanted): (Vec<usize>, Vec<Wanted>) = wanted.into_iter().unzip();
    let placed = place_callouts(&wanted, &all, &shown.letters, &shown.frame);
    for ((number, wanted), callout) in numbers.into_iter().zip(&wanted).zip(placed) {
        if let Some(callout) = callout {
            draw_number(picture, &callout, wanted.radius, number, Ink::Line(lines[number]));
        }
    }
}

fn draw_number(picture: &mut Picture, callout: &Callout, radius: f64, number: usize, ink: Ink) {
    let Callout { centre, tip } = callout;
    picture.line(*tip, *centre, Stroke::new(Ink::Paper, 3.0));
    picture.line(*tip, *centre, Stroke::new(ink, 1.2));
    picture.disc(*tip, 2.4, ink);
    picture.ring(*centre, radius, Stroke::new(ink, 1.6));
    picture.bold([centre[0], centre[1] + 4.0], 11.5, Anchor::Middle, Ink::Text, (number + 1).to_string());
}

/// What a seam's number may be led to in a view; `None` where too little of it is seen.
fn wanted(number: usize, stretches: &[Stretch]) -> Option<Wanted> {
    let places: Vec<Place> = stretches.iter().flat_map(|stretch| dense(&stretch.places)).collect();
    let length = places.windows(2).map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1])).sum();
    if length < LEAST_NUMBERED {
        return None;
    }
    let at = |share: f64| places[((share * places.len() as f64) as usize).min(places.len() - 1)];
    let radius = (text_width(&(number + 1).to_string(), 11.5, Weight::Bold) / 2.0 + 3.2).max(8.0);
    Some(Wanted { places: NUMBER_PLACES.map(at).to_vec(), radius, length })
}

/// A line with places two units apart at the most.
fn dense(places: &[Place]) -> Vec<Place> {
    let mut line = Vec::new();
    for pair in places.windows(2) {
        let [from, to] = [pair[0], pair[1]];
        let count = ((to[0] - from[0]).hypot(to[1] - from[1]) / 2.0).ceil().max(1.0) as usize;
        line.extend((0..count).map(|step| {
            let share = step as f64 / count as f64;
            [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])]
        }));
    }
    line.extend(places.last());
    line
}

/// What a view shows of a seam.
fn stretches(seam: &FoundSeam, shown: &Shown<'_>) -> Vec<Stretch> {
    let mut stretches: Vec<Stretch> = Vec::new();
    let mut open: Option<Stretch> = None;
    let (mut along_mm, mut drawn_at_mm) = (0.0, f64::NEG_INFINITY);
    for (index, point) in seam.points.iter().enumerate() {
        if index > 0 {
            along_mm += (point.point - seam.points[index - 1].point).norm();
        }
        let is_seen = point.outward.dot(&shown.view.towards_eye) > 0.0
            && !shown.buffer.hides(&point.point, shown.view, &shown.sheet);
        if !is_seen {
            stretches.extend(open.take());
            continue;
        }
        let is_bridged =
            seam.bridges.iter().any(|bridge| along_mm > bridge.from_mm && along_mm < bridge.to_mm);
        let place = shown.sheet.place(shown.view, &point.point);
        if let Some(before) = open.take_if(|open| open.is_bridged != is_bridged) {
            let mut places = Vec::from_iter(before.places.last().copied());
            places.push(place);
            stretches.push(before);
            open = Some(Stretch { places, is_bridged });
        } else {
            let is_last = index + 1 == seam.points.len();
            let stretch = open.get_or_insert_with(|| Stretch { places: Vec::new(), is_bridged });
            if is_last || stretch.places.is_empty() || along_mm - drawn_at_mm >= DRAWN_STEP_MM {
                stretch.places.push(place);
                drawn_at_mm = along_mm;
            }
        }
    }
    stretches.extend(open);
    stretches.retain(|stretch| stretch.places.len() > 1);
    stretches
}

/// Where panels carry their names: in the widest place that is seen of each. Number, middle and half width.
fn lettering(found: &FoundSeams, buffer: &DepthBuffer) -> Vec<(usize, Place, f64)> {
    let middles = buffer.middles(found.panels.len());
    let wide = |(number, middle): (usize, Option<(Place, f64)>)| {
        let (centre, inset) = middle?;
        let half_width = text_width(&short_name(&found.panels[number].name), 11.0, Weight::Regular) / 2.0;
        // Room for the word, and for half of a seam's line.
        (inset > 1.1 * half_width + 4.0).then_some((number, centre, half_width))
    };
    middles.into_iter().enumerate().filter_map(wide).collect()
}

/// Discs over a word.
fn covering(centre: Place, half_width: f64) -> [(Place, f64); 3] {
    [-0.6, 0.0, 0.6].map(|share| ([centre[0] + share * half_width, centre[1]], 0.4 * half_width.max(16.0)))
}

/// Tints so that neighbours differ.
fn panel_tints(found: &FoundSeams) -> Vec<u8> {
    let mut tints: Vec<u8> = Vec::new();
    for (number, panel) in found.panels.iter().enumerate() {
        let is_free = |tint: &u8| panel.neighbours.iter().all(|other| tints.get(*other) != Some(tint));
        // Begin at another tint each time, so that all are used.
        let first = number as u8;
        let tint = (0..Ink::HUES).map(|step| (first + step) % Ink::HUES).find(is_free);
        tints.push(tint.unwrap_or(0));
    }
    tints
}

/// Inks of seams so that seams which meet differ.
fn seam_lines(found: &FoundSeams) -> Vec<u8> {
    let mut lines: Vec<u8> = Vec::new();
    for (number, seam) in found.seams.iter().enumerate() {
        let meets = |other: &FoundSeam| {
            let nodes = seam.nodes.iter().flatten().any(|node| other.nodes.contains(&Some(*node)));
            nodes || seam.panels.iter().any(|panel| other.panels.contains(panel))
        };
        let uses = |line: u8| {
            let taken =
                found.seams.iter().zip(&lines).filter(|(other, ink)| **ink == line && meets(other)).count();
            (
                taken,
                lines.iter().filter(|ink| **ink == line).count(),
                (line + Ink::HUES - number as u8 % Ink::HUES) % Ink::HUES,
            )
        };
        lines.push((0..Ink::HUES).min_by_key(|line| uses(*line)).unwrap_or(0));
    }
    lines
}

/// Length of every seam as a view shows it, mm; `samples` lie up to some `rough_mm` apart.
fn seen_mm(found: &FoundSeams, samples: &[SurfaceSample], rough_mm: f64, view: &FlatView) -> Vec<f64> {
    let span = span_mm(samples, found, view);
    // Coarse: some 200 buckets across.
    let per_mm = 300.0 / (span[2] - span[0]).max(span[3] - span[1]).max(1.0);
    let sheet = Sheet { origin: [-span[0] * per_mm, -span[1] * per_mm], per_mm };
    let frame = Area::new(0.0, 0.0, (span[2] - span[0]) * per_mm, (span[3] - span[1]) * per_mm);
    let shown = Shown {
        view,
        sheet,
        buffer: DepthBuffer::of(samples, rough_mm, view, &sheet, &frame),
        frame,
        letters: Vec::new(),
    };
    let length = |places: &[Place]| -> f64 {
        places.windows(2).map(|pair| (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1])).sum()
    };
    let seen = |seam: &FoundSeam| {
        stretches(seam, &shown).iter().map(|stretch| length(&stretch.places)).sum::<f64>() / per_mm
    };
    found.seams.iter().map(seen).collect()
}

/// Longest edge of the box round the samples, 1 mm at the least.
fn largest_span_mm(samples: &[SurfaceSample]) -> f64 {
    let start = [Vector3::repeat(f64::INFINITY), Vector3::repeat(f64::NEG_INFINITY)];
    let [low, high] = samples
        .iter()
        .fold(start, |[low, high], sample| [low.inf(&sample.point.coords), high.sup(&sample.point.coords)]);
    (high - low).max().max(1.0)
}

/// Left, top, right and bottom of what a view shows, mm.
fn span_mm(samples: &[SurfaceSample], found: &FoundSeams, view: &FlatView) -> [f64; 4] {
    let faces = |outward: &Vector3<f64>| outward.dot(&view.towards_eye) > 0.0;
    let skin = samples.iter().filter(|sample| faces(&sample.outward)).map(|sample| sample.point);
    let seams = found.seams.iter().flat_map(|seam| seam.points.iter().map(|point| point.point));
    let start = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    let span = skin.chain(seams).fold(start, |span, point: Point3<f64>| {
        let [x, y] = view.flat(&point);
        [span[0].min(x), span[1].min(y), span[2].max(x), span[3].max(y)]
    });
    if span[0].is_finite() { span } else { [0.0, 0.0, 1.0, 1.0] }
}

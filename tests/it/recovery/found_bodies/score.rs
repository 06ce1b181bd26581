//! How much of a body's seams was found, and how well.

use std::collections::BTreeMap;

use nalgebra::Point3;
use shutline::geometry::Curve;
use shutline::trace::FoundSeams;

use super::spoilt::Spoilt;

/// A found place counts as on a seam up to this far from its nominal line: panels are moved by a part of it.
const NEAR_MM: f64 = 2.5;
/// Distance between the places that are compared.
const STEP_MM: f64 = 2.0;
/// A true junction counts where the scan shows so much round it.
const JUNCTION_MARGIN_MM: f64 = 20.0;

/// Shares and errors of one trial.
#[derive(Debug, Clone)]
pub struct Score {
    pub recall: f64,
    pub precision: f64,
    /// Sideways distance from mid-gap.
    pub rms_mm: f64,
    pub junction_mm: f64,
    pub labels: f64,
    pub seams: usize,
    pub panels: usize,
}

impl Score {
    pub const HEADING: &'static str =
        "seed body      fault       recall precision rms mm junction mm labels seams panels";

    pub fn row(&self) -> String {
        format!(
            "{:6.3} {:9.3} {:6.3} {:11.2} {:6.3} {:5} {:6}",
            self.recall, self.precision, self.rms_mm, self.junction_mm, self.labels, self.seams, self.panels
        )
    }
}

pub fn score(spoilt: &Spoilt, found: &FoundSeams) -> Score {
    let places: Vec<Point3<f64>> = found
        .seams
        .iter()
        .flat_map(|seam| {
            let points: Vec<Point3<f64>> =
                seam.points.iter().map(|point| spoilt.body_from_scan * point.point).collect();
            samples(&Curve::through(&points, None).unwrap())
        })
        .collect();
    let sides = Sides::of(spoilt);
    let is_shown = |place: &Point3<f64>| spoilt.shows(place, 0.0) && sides.are_two_near(place);
    let truth: Vec<Point3<f64>> = spoilt.seams.iter().flat_map(samples).filter(is_shown).collect();
    let is_hit =
        |place: &Point3<f64>| places.iter().any(|other| (other - place).norm_squared() < NEAR_MM * NEAR_MM);
    let is_right =
        |place: &Point3<f64>| spoilt.seams.iter().any(|seam| seam.nearest(place).distance_mm < NEAR_MM);
    let share = |count: usize, of: usize| count as f64 / of.max(1) as f64;
    let right: Vec<&Point3<f64>> = places.iter().filter(|place| is_right(place)).collect();
    Score {
        recall: share(truth.iter().filter(|place| is_hit(place)).count(), truth.len()),
        precision: if places.is_empty() { 1.0 } else { share(right.len(), places.len()) },
        rms_mm: rms_mm(spoilt, &right),
        junction_mm: junction_mm(spoilt, found),
        labels: label_share(spoilt, found),
        seams: found.seams.len(),
        panels: found.panels.len(),
    }
}

/// Which panels have points in each cell of 10 mm.
struct Sides(BTreeMap<[i32; 3], u16>);

impl Sides {
    fn of(spoilt: &Spoilt) -> Self {
        let mut cells = BTreeMap::new();
        for (point, panel) in spoilt.points.iter().zip(&spoilt.panel_of_point).step_by(3) {
            if let Some(panel) = panel {
                *cells.entry(Self::cell(&(spoilt.body_from_scan * point))).or_insert(0) |= 1 << panel;
            }
        }
        Self(cells)
    }

    fn cell(point: &Point3<f64>) -> [i32; 3] {
        [point.x, point.y, point.z].map(|value| (value / 10.0).floor() as i32)
    }

    /// True where the scan has points of two panels within 10 to 20 mm: a seam can be seen there, or bridged.
    fn are_two_near(&self, place: &Point3<f64>) -> bool {
        let [x, y, z] = Self::cell(place);
        let around = (-1..=1)
            .flat_map(|dx| (-1..=1).flat_map(move |dy| (-1..=1).map(move |dz| [x + dx, y + dy, z + dz])));
        let panels = around.filter_map(|cell| self.0.get(&cell)).fold(0_u16, |all, panels| all | panels);
        panels.count_ones() > 1
    }
}

fn samples(curve: &Curve) -> Vec<Point3<f64>> {
    let count = (curve.length_mm() / STEP_MM).floor().max(1.0) as usize;
    (0..=count).map(|step| curve.frame_at(curve.length_mm() * step as f64 / count as f64).origin).collect()
}

pub fn rms_mm(spoilt: &Spoilt, places: &[&Point3<f64>]) -> f64 {
    let aside_mm = places.iter().filter_map(|place| {
        let feet = spoilt.middles.iter().map(|middle| (middle, middle.nearest(place)));
        let (middle, foot) = feet.min_by(|one, two| one.1.distance_mm.total_cmp(&two.1.distance_mm))?;
        let frame = middle.frame_at(foot.along_mm);
        let offset = *place - frame.origin;
        // Beyond the ends of the true middle there is a rounded corner, whose middle is not defined.
        (foot.distance_mm < NEAR_MM && offset.dot(&frame.along).abs() < 0.5)
            .then(|| offset.dot(&frame.across()))
    });
    let squares: Vec<f64> = aside_mm.map(|aside_mm| aside_mm * aside_mm).collect();
    (squares.iter().sum::<f64>() / squares.len().max(1) as f64).sqrt()
}

fn junction_mm(spoilt: &Spoilt, found: &FoundSeams) -> f64 {
    let shown = spoilt.junctions.iter().filter(|place| spoilt.shows(place, JUNCTION_MARGIN_MM));
    shown
        .map(|place| {
            let there =
                found.junctions.iter().map(|other| (spoilt.body_from_scan * other.point - place).norm());
            there.fold(99.0, f64::min)
        })
        .fold(0.0, f64::max)
}

/// Share of points whose panel is the one that most points of their true panel got, one panel each.
fn label_share(spoilt: &Spoilt, found: &FoundSeams) -> f64 {
    let mut table = BTreeMap::<(u16, Option<usize>), usize>::new();
    let mut total = 0;
    for (point, panel) in spoilt.points.iter().zip(&spoilt.panel_of_point).step_by(7) {
        let Some(panel) = panel else { continue };
        total += 1;
        *table.entry((*panel, found.panel_of(point))).or_default() += 1;
    }
    let mut pairs: Vec<((u16, Option<usize>), usize)> = table.into_iter().collect();
    pairs.sort_by_key(|pair| std::cmp::Reverse(pair.1));
    let (mut truths, mut labels, mut right) = (Vec::new(), Vec::new(), 0);
    for ((truth, label), count) in pairs {
        if label.is_some() && !truths.contains(&truth) && !labels.contains(&label) {
            truths.push(truth);
            labels.push(label);
            right += count;
        }
    }
    right as f64 / f64::from(total.max(1))
}

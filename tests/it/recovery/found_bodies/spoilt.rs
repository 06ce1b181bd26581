//! A rehearsed body and what may spoil its scan.
//!
//! In: body, fault, seed. Out: points in a frame of their own, the true panel of each, and the truth in that frame. mm.
//! Gaps, panel moves, pose and every fault's places come from the seed.

use nalgebra::{Isometry3, Point3, Rotation3, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use shutline::geometry::Curve;
use shutline::rehearse::body::{BodyKind, BodySettings, PANEL_IDS, PanelMove, RehearsedBody, body};
use shutline::rehearse::{Along, Scanner};

/// What spoils the scan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// An ordinary scanner's noise and nothing else; every other row has that noise, too.
    Nothing,
    /// White noise of 0.05 mm and correlated noise of 0.04 mm.
    Noise,
    /// Marker stickers of 10 mm beside and over the seams, eight for each metre.
    Stickers,
    /// Strips of tape, 25 mm wide: one across every seam, others on the panels.
    Tape,
    /// Drop-outs over the edges, two for each metre, 12 to 30 mm; and holes of 50 mm in the panels.
    Holes,
    /// Half of a per cent of all points anywhere, and flyers at the hems.
    Strays,
    /// Two fifths of the scan are missing behind a slanted, ragged border.
    Partial,
    /// Crease, badge, patch, vents, round holes, a ragged border.
    Distractors,
    /// Structure shows through the gaps, 18 to 25 mm below.
    Structure,
    /// As few points as are accepted.
    Sparse,
    /// Stickers, holes, strays, structure and distractors together.
    Everything,
    /// Every junction lies under a sticker of 10 mm or in a drop-out of 16 to 30 mm, somewhere in it.
    Covered,
}

impl Fault {
    pub const ALL: [Self; 12] = [
        Self::Nothing,
        Self::Noise,
        Self::Stickers,
        Self::Tape,
        Self::Holes,
        Self::Strays,
        Self::Partial,
        Self::Distractors,
        Self::Structure,
        Self::Sparse,
        Self::Everything,
        Self::Covered,
    ];

    pub fn name(self) -> String {
        format!("{self:?}").to_lowercase()
    }

    fn has(self, part: Self) -> bool {
        let parts = [Self::Stickers, Self::Holes, Self::Strays, Self::Structure, Self::Distractors];
        self == part || (self == Self::Everything && parts.contains(&part))
    }
}

/// A spoilt scan and its truth.
pub struct Spoilt {
    pub points: Vec<Point3<f64>>,
    /// Index of the true panel; `None` for what lies on no panel.
    pub panel_of_point: Vec<Option<u16>>,
    /// Nominal seam lines from end to end: what can be found.
    pub seams: Vec<Curve>,
    /// The true middle of the gap, without the rounded corners at the ends.
    pub middles: Vec<Curve>,
    pub junctions: Vec<Point3<f64>>,
    /// The smallest hem that there is.
    pub hem_radius_mm: f64,
    /// From the scan's frame to the body's.
    pub body_from_scan: Isometry3<f64>,
    border: Option<Border>,
}

impl Spoilt {
    /// True where the scan shows a place of the body, with so much of a margin.
    pub fn shows(&self, point: &Point3<f64>, margin_mm: f64) -> bool {
        self.border.as_ref().is_none_or(|border| border.inside_mm(point) > margin_mm)
    }
}

/// The slanted, ragged border of a partial scan.
struct Border {
    direction: Vector3<f64>,
    at_mm: f64,
}

impl Border {
    fn inside_mm(&self, point: &Point3<f64>) -> f64 {
        let ragged_mm = 14.0 * (point.y / 37.0).sin() + 6.0 * (point.x / 11.0).sin();
        self.at_mm + ragged_mm - self.direction.dot(&point.coords)
    }
}

struct Spoiler {
    body: RehearsedBody,
    panel_of_point: Vec<Option<u16>>,
    random: ChaCha8Rng,
}

/// Makes the scan of a body with a fault.
pub fn spoilt_body(kind: BodyKind, fault: Fault, seed: u64) -> Spoilt {
    let mut random = ChaCha8Rng::seed_from_u64(seed * 1000 + kind as u64);
    let hem_radius_mm = match kind {
        BodyKind::Flush => 1.0,
        _ => 1.5,
    };
    let body = body(kind, &settings(kind, fault, hem_radius_mm, &mut random)).unwrap();
    let panel_of_point = body.panel_of_point.iter().map(|panel| Some(*panel)).collect();
    let mut spoiler = Spoiler { body, panel_of_point, random };
    if fault.has(Fault::Tape) {
        spoiler.add_tape();
    }
    if fault.has(Fault::Structure) {
        spoiler.add_structure();
    }
    if fault.has(Fault::Stickers) {
        spoiler.add_stickers();
    }
    if fault.has(Fault::Holes) {
        spoiler.add_holes();
    }
    if fault.has(Fault::Covered) {
        spoiler.cover_junctions();
    }
    if fault.has(Fault::Strays) {
        spoiler.add_strays();
    }
    let border = fault.has(Fault::Partial).then(|| spoiler.cut_off());
    spoiler.finish(hem_radius_mm, border)
}

fn settings(kind: BodyKind, fault: Fault, hem_radius_mm: f64, random: &mut ChaCha8Rng) -> BodySettings {
    let scanner = if fault == Fault::Noise { Scanner::poor() } else { Scanner::ordinary() };
    // The share of the hem radius that is asked for is 0.45.
    let finest_mm = if fault == Fault::Sparse { 0.42 } else { 0.38 } * hem_radius_mm;
    let skin_mm = if fault == Fault::Sparse { [1.6, 4.0] } else { [1.3, 2.5] };
    let mut settings = BodySettings {
        seed: random.random(),
        scanner,
        spacings_mm: [finest_mm, skin_mm[0], skin_mm[1]],
        jitter: 0.4,
        has_distractors: fault.has(Fault::Distractors),
        ..BodySettings::default()
    };
    for panel in PANEL_IDS {
        let mut within = |limit: f64| [(); 3].map(|()| random.random_range(-limit..limit));
        settings.moves.insert(panel.to_owned(), PanelMove { shift_mm: within(0.35), turn_deg: within(0.02) });
    }
    let nominal_mm = [4.0, 6.0, 6.0, 3.0, 5.0, 3.5][kind as usize];
    for seam in [
        "hood-fender-left",
        "hood-fender-right",
        "hood-cowl",
        "hood-nose",
        "fender-door-left",
        "fender-door-right",
    ] {
        let [from, to] = [(); 2].map(|()| nominal_mm * random.random_range(0.8..1.25));
        // Seams across run over b, those along the car over a.
        let knots = if seam.starts_with("hood-fender") { [220.0, 1100.0] } else { [-500.0, 500.0] };
        settings.gaps_mm.insert(seam.to_owned(), Along::lines(&[(knots[0], from), (knots[1], to)]));
    }
    settings
}

impl Spoiler {
    /// A place along a seam's nominal curve, and across it.
    fn place_by_seam(&mut self, seam: usize, side_mm: f64) -> Point3<f64> {
        let curve = &self.body.plan.seams[seam].curve;
        let frame = curve.frame_at(self.random.random_range(0.03..0.97) * curve.length_mm());
        frame.origin + frame.across() * self.random.random_range(-side_mm..side_mm)
    }

    /// Places, so many for each metre of seam.
    fn places_by_seams(&mut self, per_m: f64, side_mm: f64) -> Vec<Point3<f64>> {
        let lengths_mm: Vec<f64> = self.body.plan.seams.iter().map(|seam| seam.curve.length_mm()).collect();
        let mut places = Vec::new();
        for (seam, length_mm) in lengths_mm.iter().enumerate() {
            for _ in 0..(per_m * length_mm / 1000.0).round() as usize {
                places.push(self.place_by_seam(seam, side_mm));
            }
        }
        places
    }

    fn keep(&mut self, is_kept: impl Fn(&Point3<f64>) -> bool) {
        let kept: Vec<bool> = self.body.points.iter().map(is_kept).collect();
        let mut next = kept.iter();
        self.body.points.retain(|_| *next.next().unwrap());
        let mut next = kept.iter();
        self.body.normals.retain(|_| *next.next().unwrap());
        let mut next = kept.iter();
        self.panel_of_point.retain(|_| *next.next().unwrap());
    }

    /// A point that belongs to no panel.
    fn push(&mut self, point: Point3<f64>) {
        self.body.points.push(point);
        self.body.normals.push([0.0, 0.0, 1.0]);
        self.panel_of_point.push(None);
    }

    fn punch(&mut self, balls: &[(Point3<f64>, f64)]) {
        self.keep(|point| {
            balls.iter().all(|(centre, radius_mm)| (point - centre).norm_squared() > radius_mm * radius_mm)
        });
    }

    fn add_stickers(&mut self) {
        let places = self.places_by_seams(8.0, 15.0);
        self.punch(&places.iter().map(|place| (*place, 5.0)).collect::<Vec<_>>());
    }

    fn add_holes(&mut self) {
        let mut balls = Vec::new();
        for place in self.places_by_seams(2.0, 8.0) {
            balls.push((place, self.random.random_range(6.0..15.0)));
        }
        for _ in 0..4 {
            let any = self.random.random_range(0..self.body.points.len());
            balls.push((self.body.points[any], 25.0));
        }
        self.punch(&balls);
    }

    fn cover_junctions(&mut self) {
        let mut balls = Vec::new();
        for junction in self.body.junctions.clone() {
            let radius_mm = if self.random.random() { 5.0 } else { self.random.random_range(8.0..15.0) };
            let off_mm = Vector3::from_fn(|_, _| self.random.random_range(-1.0..1.0)) * (0.4 * radius_mm);
            balls.push((junction + off_mm, radius_mm));
        }
        self.punch(&balls);
    }

    fn add_strays(&mut self) {
        let (low, high) = bounds(&self.body.points);
        let count = self.body.points.len();
        for _ in 0..count / 200 {
            let point = Point3::from(low.zip_map(&high, |low, high| self.random.random_range(low..high)));
            self.push(point);
        }
        for index in 0..count {
            let is_hem = {
                let normal = Vector3::from(self.body.normals[index]).cast::<f64>();
                normal.z.abs() < 0.5
            };
            if is_hem && self.random.random_range(0.0..1.0) < 0.01 {
                let away = Vector3::from_fn(|_, _| self.random.random_range(-3.0..3.0));
                self.body.points[index] += away;
                self.panel_of_point[index] = None;
            }
        }
    }

    /// Structure below every seam, as a strip as wide as the view through the gap.
    fn add_structure(&mut self) {
        let curves: Vec<Curve> = self.body.plan.seams.iter().map(|seam| seam.curve.clone()).collect();
        for curve in curves {
            let depth_mm = self.random.random_range(18.0..25.0);
            for _ in 0..(curve.length_mm() * 12.0 / 0.8) as usize {
                let frame = curve.frame_at(self.random.random_range(0.0..curve.length_mm()));
                let across_mm = self.random.random_range(-6.0..6.0);
                self.push(frame.origin + frame.across() * across_mm - frame.outward * depth_mm);
            }
        }
    }

    fn add_tape(&mut self) {
        let curves: Vec<Curve> = self.body.plan.seams.iter().map(|seam| seam.curve.clone()).collect();
        for curve in &curves {
            let frame = curve.frame_at(self.random.random_range(0.25..0.75) * curve.length_mm());
            let (along, across, out) = (frame.along, frame.across(), frame.outward);
            let under = |point: &Point3<f64>| {
                let offset = point - frame.origin;
                offset.dot(&along).abs() < 12.5
                    && offset.dot(&across).abs() < 35.0
                    && (-22.0..3.0).contains(&offset.dot(&out))
            };
            // The strip follows the surface: the height of the points that it hides, by a parabola across.
            let hidden: Vec<[f64; 2]> = self
                .body
                .points
                .iter()
                .filter(|point| under(point))
                .map(|point| [(point - frame.origin).dot(&across), (point - frame.origin).dot(&out)])
                .collect();
            let bow = parabola(&hidden);
            self.keep(|point| !under(point));
            for _ in 0..(25.0 * 70.0 / 1.0) as usize {
                let (u, v) = (self.random.random_range(-12.5..12.5), self.random.random_range(-35.0..35.0));
                let height_mm =
                    bow[0] + bow[1] * v + bow[2] * v * v + 0.15 + 0.02 * self.random.random_range(-1.0..1.0);
                self.push(frame.origin + along * u + across * v + out * height_mm);
            }
        }
        self.add_tape_on_panels(&curves);
    }

    /// Raised strips of 200 mm in the open.
    fn add_tape_on_panels(&mut self, curves: &[Curve]) {
        for _ in 0..12 {
            let any = self.random.random_range(0..self.body.points.len());
            let (centre, out) = (self.body.points[any], Vector3::from(self.body.normals[any]).cast::<f64>());
            if curves.iter().any(|curve| curve.nearest(&centre).distance_mm < 125.0) {
                continue;
            }
            let turn = Vector3::from_fn(|_, _| self.random.random_range(-1.0..1.0));
            let along = (turn - out * turn.dot(&out)).normalize();
            let across = along.cross(&out);
            for point in &mut self.body.points {
                let offset = *point - centre;
                if offset.dot(&along).abs() < 100.0
                    && offset.dot(&across).abs() < 12.5
                    && offset.dot(&out).abs() < 30.0
                {
                    *point += out * 0.15;
                }
            }
        }
    }

    fn cut_off(&mut self) -> Border {
        let turn: f64 = self.random.random_range(0.0..std::f64::consts::TAU);
        let direction = Vector3::new(turn.cos(), turn.sin(), 0.0);
        let mut along: Vec<f64> =
            self.body.points.iter().step_by(101).map(|point| direction.dot(&point.coords)).collect();
        along.sort_by(f64::total_cmp);
        let border = Border { direction, at_mm: along[along.len() * 3 / 5] };
        self.keep(|point| border.inside_mm(point) > 0.0);
        border
    }

    fn finish(mut self, hem_radius_mm: f64, border: Option<Border>) -> Spoilt {
        let mut angle = || self.random.random_range(-3.0..3.0);
        let turn = Rotation3::from_euler_angles(angle(), angle(), angle());
        let shift = Vector3::from_fn(|_, _| self.random.random_range(-900.0..900.0));
        let scan_from_body = Isometry3::from_parts(shift.into(), turn.into());
        Spoilt {
            points: self.body.points.iter().map(|point| scan_from_body * point).collect(),
            panel_of_point: self.panel_of_point,
            seams: self.body.plan.seams.iter().map(|seam| seam.curve.clone()).collect(),
            middles: self.body.true_seams.iter().map(|seam| seam.curve.clone()).collect(),
            junctions: self.body.junctions,
            hem_radius_mm,
            body_from_scan: scan_from_body.inverse(),
            border,
        }
    }
}

fn bounds(points: &[Point3<f64>]) -> (Vector3<f64>, Vector3<f64>) {
    let start = (Vector3::repeat(f64::INFINITY), Vector3::repeat(f64::NEG_INFINITY));
    points.iter().fold(start, |(low, high), point| (low.inf(&point.coords), high.sup(&point.coords)))
}

/// `c0 + c1 v + c2 v²` by least squares through the upper part of places (v, height): what lies within 1 mm of the top.
fn parabola(places: &[[f64; 2]]) -> [f64; 3] {
    let mut matrix = nalgebra::Matrix3::zeros();
    let mut right = Vector3::zeros();
    for [v, height] in places.iter().filter(|[v, _]| v.abs() > 9.0) {
        let row = Vector3::new(1.0, *v, v * v);
        matrix += row * row.transpose();
        right += row * *height;
    }
    let solved = matrix.try_inverse().map_or_else(Vector3::zeros, |inverse| inverse * right);
    [solved.x, solved.y, solved.z]
}

//! A made-up front end as a closed formula: hood, two fenders and a nose on a rounded shell, with wheel arches and lamp
//! openings. Exact truth for alignment: any point of it can be computed.

use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use shutline::geometry::Curve;
use shutline::plan::{Plan, PlanText};

/// Where hood meets fender, as an angle from the top, and where hood meets nose, as a share of the length.
const HOOD_ANGLE_RAD: f64 = 0.72;
const HOOD_FROM: f64 = 0.22;
const WIDEST_ANGLE_RAD: f64 = 1.45;

/// The shell at a share of the length (front 0, windscreen 1) and an angle from the top; right is positive.
pub fn shell(share: f64, angle_rad: f64) -> Point3<f64> {
    let half_width_mm = 640.0 + 150.0 * (1.0 - (1.0 - share).powi(3));
    let height_mm = 430.0 + 420.0 * (1.0 - (1.0 - share).powi(4)).sqrt();
    let (sine, cosine) = angle_rad.sin_cos();
    let radius_mm =
        ((sine.abs() / half_width_mm).powi(3) + (cosine.abs() / height_mm).powi(3)).powf(-1.0 / 3.0);
    let (y, z) = (radius_mm * sine, radius_mm * cosine);
    // Swept back at the sides, and a shoulder line on the fenders.
    let x = 1250.0 * share + 160.0 * (y / half_width_mm).powi(2);
    let shoulder_mm = 9.0 * (-((z - 520.0) / 70.0).powi(2)).exp();
    Point3::new(x, y + shoulder_mm * sine.signum() * (sine.abs() * 3.0).min(1.0), z)
}

fn is_open(point: &Point3<f64>) -> bool {
    let arch = (point.x - 820.0).hypot(point.z - 220.0) < 350.0 && point.y.abs() > 350.0;
    let lamp = (point.x - 130.0).hypot(point.z - 420.0) < 90.0 && point.y.abs() > 300.0;
    arch || lamp
}

pub fn is_hood(share: f64, angle_rad: f64) -> bool {
    share > HOOD_FROM && angle_rad.abs() < HOOD_ANGLE_RAD
}

/// Roughly: a point of the hood, moved by millimetres or not, well inside its seams.
pub fn is_hood_point(point: &Point3<f64>) -> bool {
    point.x > 420.0 && point.y.abs() < 450.0 && point.z > 600.0
}

/// A random place on the shell.
fn draw(random: &mut ChaCha8Rng) -> (f64, f64, Point3<f64>) {
    loop {
        let share: f64 = random.random::<f64>().powf(1.3);
        let angle_rad = random.random_range(-WIDEST_ANGLE_RAD..WIDEST_ANGLE_RAD);
        let point = shell(share, angle_rad);
        if !is_open(&point) {
            return (share, angle_rad, point);
        }
    }
}

/// Points of the undisturbed car.
pub fn reference_points(count: usize) -> Vec<Point3<f64>> {
    let mut random = ChaCha8Rng::seed_from_u64(100);
    (0..count).map(|_| draw(&mut random).2).collect()
}

/// Points of the undisturbed car without its hood and without what lies within 30 mm of it, about.
pub fn fixed_reference_points(count: usize) -> Vec<Point3<f64>> {
    let mut random = ChaCha8Rng::seed_from_u64(101);
    let is_far =
        |share: f64, angle_rad: f64| !(share > HOOD_FROM - 0.02 && angle_rad.abs() < HOOD_ANGLE_RAD + 0.04);
    (0..count)
        .map(|_| draw(&mut random))
        .filter(|(share, angle_rad, _)| is_far(*share, *angle_rad))
        .map(|drawn| drawn.2)
        .collect()
}

/// The seams, in the order of [`seam_points`]: id, datum panel, datum side.
const SEAMS: [(&str, &str, &str); 3] =
    [("left", "fender-left", "left"), ("right", "fender-right", "right"), ("nose", "nose", "left")];

/// The plan's text: hood to fenders and hood to nose; the hood may have been moved. Curves are `ID.csv`.
pub fn plan_text(align: &str) -> String {
    let seams: String = SEAMS
        .iter()
        .map(|(id, datum, side)| {
            format!(
                "[[seam]]\nid = '{id}'\ndatum_panel = '{datum}'\nother_panel = 'hood'\ndatum_side = '{side}'\n\
                 curve = '{id}.csv'\ngap = {{ nominal = 4, minus = 1, plus = 1 }}\n\
                 flush = {{ nominal = 0, minus = 1, plus = 1 }}\nstation_spacing = 10\n"
            )
        })
        .collect();
    format!(
        "title = 'Front end'\nunits = 'mm'\n[scan]\nunits = 'mm'\n{align}\n[panels.hood]\n[panels.fender-left]\n\
         fixed = true\n[panels.fender-right]\nfixed = true\n[panels.nose]\nfixed = true\n{seams}"
    )
}

/// The plan with its curves.
pub fn plan(align: &str) -> Plan {
    let curves = seam_points();
    let mut next = 0;
    PlanText::parse(&plan_text(align), "front.seams.toml")
        .and_then(|text| {
            text.into_plan(|_| {
                next += 1;
                let (points, normals) = &curves[next - 1];
                Curve::through(points, Some(normals)).map_err(|error| error.to_string())
            })
        })
        .unwrap_or_else(|error| panic!("{error}"))
}

/// Writes the plan and its curves into a folder.
pub fn write_plan(folder: &std::path::Path, align: &str) {
    std::fs::write(folder.join("front.seams.toml"), plan_text(align)).unwrap();
    for ((id, _, _), (points, normals)) in SEAMS.iter().zip(seam_points()) {
        let rows: String = points
            .iter()
            .zip(normals)
            .map(|(p, n)| format!("{},{},{},{},{},{}\n", p.x, p.y, p.z, n.x, n.y, n.z))
            .collect();
        std::fs::write(folder.join(format!("{id}.csv")), rows).unwrap();
    }
}

/// The undisturbed car as a mesh in OBJ text, with the openings left open; edges of about 8 mm.
pub fn mesh_obj() -> String {
    let (lengthwise, around) = (240, 280);
    let mut text = String::new();
    let mut is_gone = Vec::new();
    for row in 0..=lengthwise {
        for column in 0..=around {
            // Closer together at the front, where the nose is steep.
            let share = 0.0005 + 0.999 * (f64::from(row) / f64::from(lengthwise)).powi(2);
            let angle_rad = WIDEST_ANGLE_RAD * (2.0 * f64::from(column) / f64::from(around) - 1.0);
            let point = shell(share, angle_rad);
            is_gone.push(is_open(&point));
            text.push_str(&format!("v {:.4} {:.4} {:.4}\n", point.x, point.y, point.z));
        }
    }
    for row in 0..lengthwise {
        for column in 0..around {
            let first = (row * (around + 1) + column) as usize;
            let below = first + around as usize + 1;
            if [first, first + 1, below, below + 1].iter().all(|corner| !is_gone[*corner]) {
                // Counted from 1; outward side in front.
                text.push_str(&format!("f {} {} {}\n", first + 1, below + 1, first + 2));
                text.push_str(&format!("f {} {} {}\n", first + 2, below + 1, below + 2));
            }
        }
    }
    text
}

fn outward(share: f64, angle_rad: f64) -> Vector3<f64> {
    let step = 1e-4;
    let along = shell(share + step, angle_rad) - shell(share - step, angle_rad);
    let around = shell(share, angle_rad + step) - shell(share, angle_rad - step);
    let normal = along.cross(&around).normalize();
    if normal.dot(&(shell(share, angle_rad) - Point3::new(900.0, 0.0, 0.0))) < 0.0 { -normal } else { normal }
}

/// Points in order with outward normals.
type Line = (Vec<Point3<f64>>, Vec<Vector3<f64>>);

/// Left, right, nose. x runs back, z up, so y > 0 is one side only: which is called left does not matter here.
fn seam_points() -> Vec<Line> {
    let places = |count: usize, place: &dyn Fn(f64) -> (f64, f64)| {
        (0..=count)
            .map(|index| {
                let (share, angle_rad) = place(index as f64 / count as f64);
                (shell(share, angle_rad), outward(share, angle_rad))
            })
            .unzip()
    };
    let lengthwise = |step: f64| HOOD_FROM + (0.98 - HOOD_FROM) * step;
    vec![
        // Walking back with the outside up, left is n × t = z × x = +y.
        places(60, &|step| (lengthwise(step), HOOD_ANGLE_RAD)),
        places(60, &|step| (lengthwise(step), -HOOD_ANGLE_RAD)),
        // Walking towards −y with the outside up, left is z × (−y) = +x … so walk towards +y: left is −x, the nose.
        places(60, &|step| (HOOD_FROM, HOOD_ANGLE_RAD * (2.0 * step - 1.0))),
    ]
}

/// The scan's long waves, along the normal.
#[derive(Debug, Clone, Copy)]
pub enum Waves {
    /// Six plane waves of 120 mm length in random directions, as the ripples of a fringe projector are.
    Six,
    /// Normal noise with correlation `exp(−d²/2L²)` over this length, mm, as the rehearsal scanner makes it.
    Normal(f64),
}

/// How a scan is disturbed.
#[derive(Debug, Clone, Copy)]
pub struct Disturbance {
    pub points: usize,
    pub noise_mm: f64,
    pub wave_mm: f64,
    pub waves: Waves,
    pub missing: f64,
    pub strays: f64,
    pub hood_moved_mm: f64,
}

pub const ORDINARY: Disturbance = Disturbance {
    points: 60_000,
    noise_mm: 0.02,
    wave_mm: 0.01,
    waves: Waves::Six,
    missing: 0.3,
    strays: 0.05,
    hood_moved_mm: 3.0,
};

/// The rehearsal's good scanner: white 0.015 and, over 3 mm, 0.005 mm, which is white between points that are 5 mm apart;
/// 0.005 mm over 120 mm.
pub const GOOD_SCANNER: Disturbance =
    Disturbance { noise_mm: 0.0158, wave_mm: 0.005, waves: Waves::Normal(120.0), ..ORDINARY };

/// The rehearsal's ordinary scanner: white 0.02 and, over 3 mm, 0.015 mm; 0.01 mm over 120 mm.
pub const ORDINARY_SCANNER: Disturbance =
    Disturbance { noise_mm: 0.025, wave_mm: 0.01, waves: Waves::Normal(120.0), ..ORDINARY };

/// The rehearsal's poor scanner: white 0.05 and, over 3 mm, 0.04 mm; no long waves.
pub const POOR_SCANNER: Disturbance =
    Disturbance { noise_mm: 0.064, wave_mm: 0.0, waves: Waves::Normal(120.0), ..ORDINARY };

/// Waves of unit variance: wave vectors and phases, and the amplitude of each.
struct WaveField(Vec<(Vector3<f64>, f64)>, f64);

impl WaveField {
    fn new(waves: Waves, random: &mut ChaCha8Rng) -> Self {
        let mut wave = |number: &mut dyn FnMut(&mut ChaCha8Rng) -> Vector3<f64>| {
            let number = number(random);
            (number, random.random_range(0.0..6.3))
        };
        match waves {
            Waves::Six => {
                let mut number =
                    |random: &mut ChaCha8Rng| direction(random) * (std::f64::consts::TAU / 120.0);
                Self((0..6).map(|_| wave(&mut number)).collect(), 1.0 / 3.0_f64.sqrt())
            }
            // Many random waves make a normal field of the wanted correlation (A. Rahimi, B. Recht, NIPS 2007).
            Waves::Normal(length_mm) => {
                let normal = Normal::new(0.0, 1.0 / length_mm).unwrap_or_else(|error| panic!("{error}"));
                let mut number = |random: &mut ChaCha8Rng| Vector3::from_fn(|_, _| normal.sample(random));
                Self((0..128).map(|_| wave(&mut number)).collect(), (2.0 / 128.0_f64).sqrt())
            }
        }
    }

    fn at(&self, point: &Point3<f64>) -> f64 {
        self.1 * self.0.iter().map(|(number, phase)| (number.dot(&point.coords) + phase).sin()).sum::<f64>()
    }
}

/// A place that the scan shows: on the undisturbed car, with its outward normal and whether it is the hood's.
pub struct Shown {
    pub point: Point3<f64>,
    pub normal: Vector3<f64>,
    pub is_hood: bool,
}

/// A disturbed scan in the Car frame.
pub fn scanned(how: &Disturbance, seed: u64) -> Vec<Point3<f64>> {
    scanned_and_shown(how, seed).0
}

/// A disturbed scan in the Car frame, and the places that its points but strays were made of.
pub fn scanned_and_shown(how: &Disturbance, seed: u64) -> (Vec<Point3<f64>>, Vec<Shown>) {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let noise = Normal::new(0.0, how.noise_mm).unwrap_or_else(|error| panic!("{error}"));
    let gone = missing_balls(how.missing, &mut random);
    let waves = WaveField::new(how.waves, &mut random);
    let hood_shift = direction(&mut random) * how.hood_moved_mm;
    let mut points = Vec::with_capacity(how.points);
    let mut shown = Vec::with_capacity(how.points);
    while points.len() < how.points {
        if random.random::<f64>() < how.strays {
            let mut far = |low: f64, high: f64| random.random_range(low..high);
            points.push(Point3::new(far(-200.0, 1500.0), far(-900.0, 900.0), far(-100.0, 1000.0)));
            continue;
        }
        let (share, angle_rad, point) = draw(&mut random);
        if gone.iter().any(|(centre, radius_mm)| (point - centre).norm() < *radius_mm) {
            continue;
        }
        let normal = outward(share, angle_rad);
        let is_hood = is_hood(share, angle_rad);
        let off_mm = noise.sample(&mut random) + how.wave_mm * waves.at(&point);
        let moved = if is_hood { hood_shift } else { Vector3::zeros() };
        points.push(point + normal * off_mm + moved);
        shown.push(Shown { point, normal, is_hood });
    }
    (points, shown)
}

/// Eight stickers of 40 mm, and large balls until the wanted share is gone.
fn missing_balls(share: f64, random: &mut ChaCha8Rng) -> Vec<(Point3<f64>, f64)> {
    let mut balls: Vec<(Point3<f64>, f64)> = (0..8).map(|_| (draw(random).2, 20.0)).collect();
    let probes: Vec<Point3<f64>> = (0..2000).map(|_| draw(random).2).collect();
    loop {
        let inside =
            |point: &&Point3<f64>| balls.iter().any(|(centre, radius)| (*point - centre).norm() < *radius);
        if probes.iter().filter(inside).count() as f64 >= share * probes.len() as f64 {
            return balls;
        }
        balls.push((draw(random).2, random.random_range(60.0..250.0)));
    }
}

pub fn direction(random: &mut ChaCha8Rng) -> Vector3<f64> {
    let normal = Normal::new(0.0, 1.0).unwrap_or_else(|error| panic!("{error}"));
    Vector3::new(normal.sample(random), normal.sample(random), normal.sample(random)).normalize()
}

/// A turn by an angle about a random axis through the car's middle, and a shift in a random direction.
pub fn pose(turn_rad: f64, shift_mm: f64, random: &mut ChaCha8Rng) -> Isometry3<f64> {
    let middle = Vector3::new(600.0, 0.0, 500.0);
    let turn = UnitQuaternion::from_scaled_axis(direction(random) * turn_rad);
    let shift = middle - turn * middle + direction(random) * shift_mm;
    Isometry3::from_parts(Translation3::from(shift), turn)
}

/// Largest displacement over the seams (mm) and turn (degrees) between a found and the true `car_from_scanner`.
pub fn pose_error(plan: &Plan, found: &Isometry3<f64>, truth: &Isometry3<f64>) -> (f64, f64) {
    let apart = found * truth.inverse();
    let points = plan.seams.iter().flat_map(|seam| seam.curve.positions().iter().step_by(20));
    let worst_mm = points.map(|point| (apart * point - point).norm()).fold(0.0, f64::max);
    (worst_mm, apart.rotation.angle().to_degrees())
}

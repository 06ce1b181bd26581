//! Advice on rehearsed scans of whole front ends: scan, advise, do as advised in the virtual world, scan again.
//!
//! The hood of the Gannet coupe is moved at random and given shape errors: a smooth change of one gap, and bumps at its rim.
//! Curable is a reading that the same aim brings into tolerance where every reading is known exactly. Done in one round.

use nalgebra::{Isometry3, Point3};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use shutline::advise::{Advice, AdviseSettings, Aim, Need, advise, changes_exactly};
use shutline::geometry::CurveFrame;
use shutline::judge::{JudgedSeam, Measurand, Verdict, judge_seam};
use shutline::measure::{
    Component, EdgeReading, Estimate, Profile, SeamReadings, StationReading, UncertaintySource,
};
use shutline::pipeline::{Unwatched, measure_scan};
use shutline::plan::{PanelId, Plan};
use shutline::rehearse::body::{
    BodyDesign, BodyKind, BodySettings, PanelMove, RehearsedBody, Relief, body, design, read_body,
};
use shutline::rehearse::{Along, Scanner};
use shutline::scan::VecSource;
use shutline::summarise::Motion;

use super::kept_readings::kept;

const HOOD_SEAMS: usize = 4;
/// The hood's middle in surface coordinates: half of the coupe's hood behind its nose.
const HOOD_MIDDLE: [f64; 2] = [600.0, 0.0];

fn draw(random: &mut ChaCha8Rng, u: f64) -> f64 {
    Normal::new(0.0, u).unwrap().sample(random)
}

/// A front end by chance; points only as dense as the readings need.
fn settings(seed: u64) -> BodySettings {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut settings = BodySettings {
        seed,
        scanner: Scanner { white_noise_mm: 0.02, correlated_noise_mm: 0.015, ..Scanner::default() },
        spacings_mm: [0.5, 1.2, 10.0],
        fine_mm: 0.5,
        middle_mm: 22.0,
        fine_cell_mm: 2.0,
        jitter: 0.5,
        dense_seams: ["hood-fender-left", "hood-fender-right", "hood-cowl", "hood-nose"]
            .map(str::to_owned)
            .to_vec(),
        station_spacing_mm: 20.0,
        ..BodySettings::default()
    };
    let amount_mm = draw(&mut random, 0.5);
    let at_mm = 400.0 + 400.0 * (0.5 + draw(&mut random, 0.2)).clamp(0.0, 1.0);
    let knots = [(at_mm - 120.0, 4.0), (at_mm, 4.0 + amount_mm), (at_mm + 120.0, 4.0)];
    settings.gaps_mm.insert("hood-fender-left".to_owned(), Along::smooth(&knots));
    let bump = |a_mm: f64, b_mm: f64, height_mm: f64| Relief::Bump { a_mm, b_mm, width_mm: 40.0, height_mm };
    let reliefs =
        vec![bump(450.0, 500.0, draw(&mut random, 0.6)), bump(240.0, -100.0, draw(&mut random, 0.6))];
    settings.reliefs.insert("hood".to_owned(), reliefs);
    let hood = PanelMove {
        shift_mm: std::array::from_fn(|_| draw(&mut random, 0.8)),
        turn_deg: std::array::from_fn(|_| draw(&mut random, 0.06)),
    };
    settings.moves.insert("hood".to_owned(), hood);
    settings
}

/// The same body with its plan, and with hardly any points.
fn coarse(settings: &BodySettings) -> RehearsedBody {
    body(BodyKind::Coupe, &BodySettings { spacings_mm: [10.0; 3], ..settings.clone() }).unwrap()
}

/// The plan of the hood's seams; nominal gaps are what the undisturbed body has in the mean.
fn plan_of(scan: &RehearsedBody, nominal_mm: &[f64]) -> Plan {
    let mut plan = scan.plan.clone();
    plan.seams.truncate(HOOD_SEAMS);
    for (seam, nominal_mm) in plan.seams.iter_mut().zip(nominal_mm) {
        seam.gap.tolerance.nominal_mm = *nominal_mm;
    }
    // What this scanner's views share is nothing; its own accuracy is small.
    plan.scan.accuracy_mm = 0.005;
    plan
}

fn nominal_gaps() -> Vec<f64> {
    let coarse = BodySettings { spacings_mm: [10.0; 3], ..BodySettings::default() };
    let scan = body(BodyKind::Coupe, &coarse).unwrap();
    scan.plan.seams[..HOOD_SEAMS]
        .iter()
        .map(|seam| {
            let gaps: Vec<f64> =
                scan.truth.iter().filter(|row| row.seam == seam.id).filter_map(|row| row.gap_mm).collect();
            gaps.iter().sum::<f64>() / gaps.len() as f64
        })
        .collect()
}

/// How the hood of the undisturbed body stands, read without error.
fn still_standing(nominal_mm: &[f64]) -> Motion {
    let coarse = BodySettings { spacings_mm: [10.0; 3], station_spacing_mm: 20.0, ..BodySettings::default() };
    let scan = body(BodyKind::Coupe, &coarse).unwrap();
    let plan = plan_of(&scan, nominal_mm);
    ask(&plan, &exact(&scan.design, &plan)).panels[0].standing.as_ref().unwrap().motion.clone()
}

fn measured(settings: &BodySettings, plan: &Plan) -> Vec<JudgedSeam> {
    kept(plan, &format!("{settings:?}"), || {
        let scan = body(BodyKind::Coupe, settings).unwrap();
        let source = VecSource::from_points(&scan.points, None);
        measure_scan(&source, plan, None, &Unwatched).unwrap().seams
    })
}

/// Readings without error: gap, flush, edges and surfaces as the body has them.
fn exact(design: &BodyDesign, plan: &Plan) -> Vec<JudgedSeam> {
    let none = |value_mm| {
        let component =
            Component { source: UncertaintySource::ScanNoise, u_mm: 1e-4, degrees_of_freedom: f64::INFINITY };
        Estimate::from_components(value_mm, vec![component])
    };
    plan.seams
        .iter()
        .zip(&design.seams)
        .map(|(seam, own)| {
            let panels = [&design.panels[own.datum], &design.panels[own.other]];
            let stations = seam.stations().into_iter().map(|station| {
                let frame = seam.station_frame(&station);
                let run_mm = run_near(design, own, &frame.origin);
                let truth =
                    read_body(&design.surface, panels, &own.line, run_mm, &frame.origin, &frame.along);
                let edge = |side: usize, height_mm: f64| {
                    Some(EdgeReading {
                        point: truth.edges[side],
                        hem_radius_mm: panels[side].hem_radius_mm,
                        hem_radius_u_mm: 0.0,
                        arc_seen_rad: 2.0,
                        flange_depth_mm: 5.0,
                        surface_height_mm: height_mm,
                        surface_slope_rad: 0.0,
                    })
                };
                StationReading {
                    station,
                    point: frame.origin,
                    frame: CurveFrame {
                        origin: truth.origin,
                        along: truth.along,
                        outward: (truth.outward - truth.along * truth.outward.dot(&truth.along)).normalize(),
                    },
                    gap: Ok(none(truth.gap_mm)),
                    flush: Ok(none(truth.flush_mm)),
                    edges: [edge(0, 0.0), edge(1, truth.flush_mm)],
                    warnings: Vec::new(),
                    profile: Profile::default(),
                }
            });
            let stations = stations.collect();
            let readings = SeamReadings { seam: seam.id.clone(), stations, points_used: 0, spacing_mm: None };
            judge_seam(seam, readings, &plan.decision)
        })
        .collect()
}

/// The running coordinate nearest to a point: a coarse walk, then Gauss-Newton.
fn run_near(design: &BodyDesign, seam: &shutline::rehearse::body::BodySeam, point: &Point3<f64>) -> f64 {
    let at = |run_mm: f64| {
        let place = seam.line.at(run_mm);
        design.surface.patch(place.x, place.y, &[]).point
    };
    let [from_mm, to_mm] = seam.run_mm;
    let distance = |run_mm: &f64| (at(*run_mm) - point).norm();
    let mut run_mm = (0..=100)
        .map(|step| from_mm + (to_mm - from_mm) * f64::from(step) / 100.0)
        .min_by(|one, other| distance(one).total_cmp(&distance(other)))
        .unwrap();
    for _ in 0..8 {
        let slope = at(run_mm + 0.5) - at(run_mm - 0.5);
        run_mm -= (at(run_mm) - point).dot(&slope) / slope.norm_squared();
    }
    run_mm
}

/// The settings with the hood moved as advised, on top of how it stands.
fn adjusted(settings: &BodySettings, known: &Isometry3<f64>, advice: &Advice) -> BodySettings {
    let whole = advice.panels[0].pose.isometry() * known;
    let plain = design(BodyKind::Coupe, &BodySettings::default());
    let pivot = plain.surface.patch(HOOD_MIDDLE[0], HOOD_MIDDLE[1], &[]).point;
    let (x, y, z) = whole.rotation.euler_angles();
    let moved =
        PanelMove { shift_mm: (whole * pivot - pivot).into(), turn_deg: [x, y, z].map(f64::to_degrees) };
    let mut settings = BodySettings { seed: settings.seed + 1_000_000, ..settings.clone() };
    settings.moves.insert("hood".to_owned(), moved);
    settings
}

fn hood_of(design: &BodyDesign) -> Isometry3<f64> {
    design.panels.iter().find(|panel| panel.id == "hood").unwrap().moved
}

fn ask(plan: &Plan, readings: &[JudgedSeam]) -> Advice {
    let settings = AdviseSettings { panels: vec![PanelId("hood".to_owned())], aim: Aim::Worst };
    advise(plan, readings, &settings).unwrap()
}

/// What the trials gave.
#[derive(Default, Debug)]
struct Tally {
    trials: usize,
    moved: usize,
    parameters: usize,
    covered: usize,
    /// Readings that the exact advice brings into tolerance, and of them: true ones in tolerance, and those that the new
    /// scan does not prove to be out.
    curable: usize,
    cured: usize,
    not_out: usize,
    /// Predicted minus measured again, over its uncertainty.
    predictions: usize,
    predicted_within: usize,
}

impl Tally {
    fn add(&mut self, seed: u64, nominal_mm: &[f64], still: &Motion) {
        let settings = settings(seed);
        let scan = coarse(&settings);
        let plan = plan_of(&scan, nominal_mm);
        let known = hood_of(&scan.design);
        let advice = ask(&plan, &measured(&settings, &plan));
        self.trials += 1;
        self.moved += usize::from(advice.need == Need::Move);
        self.add_coverage(&known, &advice, still);
        let best = ask(&plan, &exact(&scan.design, &plan));
        let again = adjusted(&settings, &known, &advice);
        let truth = exact(&coarse(&again).design, &plan);
        let second = measured(&again, &plan);
        for (seam, could) in best.seams_after.iter().enumerate() {
            for place in 0..could.stations.len() {
                for measurand in Measurand::BOTH {
                    let is_inside = |judged: &JudgedSeam| {
                        let value = judged.stations[place].value(measurand);
                        let value_mm = value.measured.unwrap().value_mm;
                        // A thousandth, so that what was put exactly on the limit counts as in.
                        value_mm >= value.tolerance.lower_mm() - 1e-3
                            && value_mm <= value.tolerance.upper_mm() + 1e-3
                    };
                    self.add_prediction(&advice.seams_after[seam], &second[seam], place, measurand);
                    if is_inside(could) {
                        self.curable += 1;
                        self.cured += usize::from(is_inside(&truth[seam]));
                        let verdict: Verdict = second[seam].stations[place].value(measurand).verdict;
                        self.not_out += usize::from(!verdict.is_out());
                    }
                }
            }
        }
    }

    fn add_prediction(
        &mut self,
        expected: &JudgedSeam,
        found: &JudgedSeam,
        place: usize,
        measurand: Measurand,
    ) {
        let pair =
            [expected, found].map(|judged| judged.stations[place].value(measurand).measured.ok().cloned());
        if let [Some(expected), Some(found)] = pair {
            self.predictions += 1;
            let u_mm = expected.u_mm.hypot(found.u_mm);
            self.predicted_within += usize::from((expected.value_mm - found.value_mm).abs() <= 2.0 * u_mm);
        }
    }

    /// `still`: how the hood of the undisturbed body stands against the plan, whose nominal gaps are only its means.
    fn add_coverage(&mut self, hood: &Isometry3<f64>, advice: &Advice, still: &Motion) {
        let motion = &advice.panels[0].standing.as_ref().unwrap().motion;
        let (shift, turn) = (hood * motion.pivot - motion.pivot, hood.rotation.scaled_axis());
        for axis in 0..6 {
            let (found, truth) = if axis < 3 {
                (motion.shift_mm[axis] - still.shift_mm[axis], shift[axis])
            } else {
                (motion.rotation_rad[axis - 3] - still.rotation_rad[axis - 3], turn[axis - 3])
            };
            let u = motion.covariance[(axis, axis)].sqrt();
            if std::env::var_os("SHOW").is_some() {
                println!("axis {axis}: {found:.6} for {truth:.6}, u {u:.6}, {:.1}", (found - truth) / u);
            }
            self.parameters += 1;
            self.covered += usize::from((found - truth).abs() <= 2.0 * u);
        }
    }

    fn share(part: usize, whole: usize) -> f64 {
        part as f64 / whole.max(1) as f64
    }

    fn hold(&self) {
        println!(
            "{self:?}\ncoverage {:.3}, cured {:.4}, not out {:.4}, predicted {:.3}",
            Self::share(self.covered, self.parameters),
            Self::share(self.cured, self.curable),
            Self::share(self.not_out, self.curable),
            Self::share(self.predicted_within, self.predictions)
        );
        assert!(Self::share(self.not_out, self.curable) >= 0.99, "{self:?}");
        assert!(Self::share(self.cured, self.curable) >= 0.99, "{self:?}");
    }
}

#[test]
fn a_front_end_is_mended_in_one_round() {
    let nominal_mm = nominal_gaps();
    let still = still_standing(&nominal_mm);
    let mut tally = Tally::default();
    for seed in 0..2 {
        tally.add(seed, &nominal_mm, &still);
    }
    tally.hold();
    // Twelve parameters at 95 %: fewer than eight inside has a chance below 1 in 10,000.
    assert!(tally.covered >= 8, "{tally:?}");
}

#[test]
#[ignore = "300 rehearsed front ends, each scanned twice: most of an hour; FRONT_ENDS=50 for a first look; prints the tally"]
fn three_hundred_front_ends_are_mended_in_one_round() {
    let count = std::env::var("FRONT_ENDS").ok().and_then(|text| text.parse().ok()).unwrap_or(300);
    let nominal_mm = nominal_gaps();
    let still = still_standing(&nominal_mm);
    let mut tally = Tally::default();
    for seed in 0..count {
        // Seeds that nothing was tuned on.
        tally.add(2000 + seed, &nominal_mm, &still);
        if seed % 10 == 9 {
            println!(
                "{} coverage {:.3}, cured {:.4}, not out {:.4}",
                seed + 1,
                Tally::share(tally.covered, tally.parameters),
                Tally::share(tally.cured, tally.curable),
                Tally::share(tally.not_out, tally.curable)
            );
        }
    }
    tally.hold();
    let coverage = Tally::share(tally.covered, tally.parameters);
    assert!((0.90..=0.99).contains(&coverage), "{coverage}");
}

/// What was read and what is true, a line for each seam and measurand.
fn print_errors(seed: u64, readings: &[JudgedSeam], truth: &[JudgedSeam]) {
    for (read, exact) in readings.iter().zip(truth) {
        for measurand in Measurand::BOTH {
            let pairs: Vec<String> = read
                .stations
                .iter()
                .zip(&exact.stations)
                .filter_map(|(read, exact)| {
                    let of =
                        |one: &shutline::judge::JudgedReading| one.value(measurand).measured.ok().cloned();
                    let (read, exact) = (of(read)?, of(exact)?);
                    Some(format!("{:.4}:{:.4}:{:.4}", read.value_mm, exact.value_mm, read.u_mm))
                })
                .collect();
            println!("E {seed} {} {} {}", read.seam, measurand.word(), pairs.join(" "));
        }
    }
}

#[test]
#[ignore = "prints how far the place of a moved and misshapen hood is off, in u; FRONT_ENDS=40 of the seeds that methods \
            were chosen on"]
fn places_of_front_ends_diagnosed() {
    let count = std::env::var("FRONT_ENDS").ok().and_then(|text| text.parse().ok()).unwrap_or(20);
    let nominal_mm = nominal_gaps();
    let still = still_standing(&nominal_mm);
    let [mut scanned, mut exactly] = [Tally::default(), Tally::default()];
    for seed in 1000..1000 + count {
        let settings = settings(seed);
        let scan = coarse(&settings);
        let plan = plan_of(&scan, &nominal_mm);
        let known = hood_of(&scan.design);
        println!("seed {seed}: scanned, then without errors of reading");
        let (readings, truth) = (measured(&settings, &plan), exact(&scan.design, &plan));
        print_errors(seed, &readings, &truth);
        scanned.add_coverage(&known, &ask(&plan, &readings), &still);
        exactly.add_coverage(&known, &ask(&plan, &truth), &still);
    }
    println!("{} and {} of {} covered", scanned.covered, exactly.covered, scanned.parameters);
}

#[test]
fn moved_edges_are_read_as_the_body_has_them() {
    let (nominal_mm, settings) = (nominal_gaps(), settings(5));
    let still = BodySettings { spacings_mm: [10.0; 3], moves: Default::default(), ..settings.clone() };
    let mut moved = still.clone();
    moved
        .moves
        .insert("hood".to_owned(), PanelMove { shift_mm: [1.2, -0.8, 0.9], turn_deg: [0.1, -0.1, 0.08] });
    let [before, after] = [&still, &moved].map(|one| body(BodyKind::Coupe, one).unwrap());
    let plan = plan_of(&before, &nominal_mm);
    let hood = hood_of(&after.design);
    let [first, second] = [&before, &after].map(|scan| exact(&scan.design, &plan));
    let mut worst_mm = [0.0_f64; 2];
    for (place, seam) in plan.seams.iter().enumerate() {
        // The hood is the other panel of all four seams.
        let changes = changes_exactly(seam, &first[place], &[Isometry3::identity(), hood]);
        for (index, change) in changes.iter().enumerate() {
            for (kind, measurand) in Measurand::BOTH.into_iter().enumerate() {
                let value =
                    |judged: &JudgedSeam| judged.stations[index].value(measurand).measured.unwrap().value_mm;
                let truth_mm = value(&second[place]) - value(&first[place]);
                worst_mm[kind] = worst_mm[kind].max((change[kind].unwrap() - truth_mm).abs());
            }
        }
    }
    println!("exact prediction is off by {worst_mm:?}");
    // The linear form is off by some 0.05 mm for such a move (method study); a tenth of that is well below any reading's u.
    assert!(worst_mm[0] < 0.01 && worst_mm[1] < 0.01, "{worst_mm:?}");
}

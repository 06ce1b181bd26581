//! Alignment to a surface on a made-up front end with exact truth: pose error held to budgets, wrong poses to none.

use nalgebra::{Isometry3, Point3, Vector6};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use shutline::align::{AlignError, AlignSettings, Alignment, Reference, align_to_surface};
use shutline::plan::Plan;
use shutline::scan::VecSource;

use super::front_end::{
    Disturbance, GOOD_SCANNER, ORDINARY, ORDINARY_SCANNER, POOR_SCANNER, plan, pose, pose_error,
    reference_points, scanned,
};

/// Pose error at the seams that must hold, mm and degrees: below a good scan's own accuracy.
///
/// Without noise the error is 0.0005 mm; what is left comes from the scan's waves, of which only the covariance can be learnt:
/// `align_bound` computes what the best linear estimate could do that knows it, over 40 front ends from seed 9600: 98.6 % of trials
/// within the budget for the six waves of `ORDINARY`, 99.5 % for the rehearsal's good scanner, 68 % for its ordinary one, whose
/// waves are larger. These are shares of normal draws. In the trials themselves (seeds 9000 to 9199) that estimate had 199 of 200
/// good scans in the budget, and the program 197; with the six waves, whose errors have longer tails, 188 and 187. The six waves
/// could be found one by one as lines of the residuals' spectrum, and then 200 of 200 trials are in budget; but a scanner's noise
/// has no such lines, so that this would only fit the trials.
pub const BUDGET: (f64, f64) = (0.02, 0.005);

struct Trial {
    error: (f64, f64),
    /// Squared error in units of the stated covariance: chi-squared with six degrees of freedom if that is right.
    distance_sq: f64,
    outcome: Result<Alignment, AlignError>,
}

fn prepared(align: &str) -> (Plan, Reference) {
    let plan = plan(align);
    let source = VecSource::from_points(&reference_points(400_000), None);
    let reference = Reference::prepare(&source, &plan).unwrap_or_else(|error| panic!("{error}"));
    (plan, reference)
}

fn run(
    (plan, reference): (&Plan, &Reference),
    how: &Disturbance,
    seed: u64,
    (turn_rad, shift_mm): (f64, f64),
    has_start: bool,
) -> Trial {
    let mut random = ChaCha8Rng::seed_from_u64(7_000 + seed);
    let truth = pose(turn_rad, shift_mm, &mut random);
    let points: Vec<Point3<f64>> = scanned(how, seed).iter().map(|point| truth.inverse() * point).collect();
    let source = VecSource::from_points(&points, None);
    let start = has_start.then_some(Isometry3::identity());
    let started = std::time::Instant::now();
    let outcome = align_to_surface(&source, plan, reference, start.as_ref(), &AlignSettings::default());
    let seconds = started.elapsed().as_secs_f64();
    let error = outcome.as_ref().map_or((f64::NAN, f64::NAN), |alignment| {
        pose_error(plan, alignment.car_from_scanner.isometry(), &truth)
    });
    let distance_sq = outcome.as_ref().map_or(f64::NAN, |alignment| distance_sq(alignment, &truth));
    println!("seed {seed}: {:.4} mm {:.4}° in {seconds:.1} s", error.0, error.1);
    Trial { error, distance_sq, outcome }
}

fn distance_sq(found: &Alignment, truth: &Isometry3<f64>) -> f64 {
    let apart = found.car_from_scanner.isometry() * truth.inverse();
    let (turn, shift) = (apart.rotation.scaled_axis(), apart * found.pivot - found.pivot);
    let error = Vector6::new(turn.x, turn.y, turn.z, shift.x, shift.y, shift.z);
    (error.transpose() * found.covariance.try_inverse().unwrap() * error)[(0, 0)]
}

/// 95 % of chi-squared with six degrees of freedom (`quantiles_normal_t_chi2_f.csv` has the table's neighbours).
const CHI_SQUARED_6_AT_95: f64 = 12.592;

/// A number of the environment: studies are run on other seeds by `FIRST_SEED=5000 SEEDS=50 cargo test …`.
pub fn asked(name: &str, otherwise: u64) -> u64 {
    std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(otherwise)
}

fn best_fit_trials(how: &Disturbance, first: u64, count: u64) -> Vec<Trial> {
    let (plan, reference) = prepared("[align]\nway = 'best-fit'\nreference = 'front.ply'");
    let far = (10.0_f64.to_radians(), 50.0);
    (first..first + count).map(|seed| run((&plan, &reference), how, seed, far, true)).collect()
}

fn coarse_trials(how: &Disturbance, first: u64, count: u64) -> Vec<Trial> {
    let (plan, reference) = prepared("[align]\nway = 'coarse'\nreference = 'front.ply'");
    (0..count)
        .map(|index| {
            let turn_rad = std::f64::consts::PI * ((index as f64 + 0.5) / count as f64);
            run((&plan, &reference), how, first + index, (turn_rad, 2000.0), false)
        })
        .collect()
}

/// Holds the budget in at least `share` of the trials, and lets no wrong pose pass.
fn check(trials: &[Trial], share: f64) {
    let mut errors: Vec<f64> = Vec::new();
    let mut good = 0;
    for (seed, trial) in trials.iter().enumerate() {
        match &trial.outcome {
            Ok(alignment) => {
                assert!(
                    trial.error.0 < 5.0,
                    "trial {seed}: wrong pose accepted: {:?} {alignment:?}",
                    trial.error
                );
                errors.push(trial.error.0);
                if trial.error.0 <= BUDGET.0 && trial.error.1 <= BUDGET.1 {
                    good += 1;
                } else {
                    println!("trial {seed}: {:?} rms {}", trial.error, alignment.rms_residual_mm);
                }
            }
            Err(error) => println!("trial {seed}: {error}"),
        }
    }
    let covered = trials.iter().filter(|trial| trial.distance_sq < CHI_SQUARED_6_AT_95).count();
    println!("{covered} of {} inside the stated covariance (95 %)", trials.len());
    errors.sort_by(f64::total_cmp);
    let at = |share: f64| errors.get((errors.len() as f64 * share) as usize).copied().unwrap_or(f64::NAN);
    println!("{good} of {} in budget; median {:.4}, 95 % {:.4} mm", trials.len(), at(0.5), at(0.95));
    assert!(good as f64 >= share * trials.len() as f64, "{good} of {}", trials.len());
    if trials.len() >= 100 {
        let share = covered as f64 / trials.len() as f64;
        assert!((0.90..=0.99).contains(&share), "{share} inside the stated covariance");
    }
}

/// The first four seeds only: of many, some 95 % are within the budget (the ignored test below), so this guards against
/// getting worse and does not show the 99 % that is wanted.
#[test]
fn best_fit_from_ten_degrees_and_fifty_mm_off_holds_the_budget_on_the_first_seeds() {
    check(&best_fit_trials(&ORDINARY, 0, 4), 0.99);
}

#[test]
fn coarse_from_any_pose_holds_the_budget_on_the_first_seeds() {
    check(&coarse_trials(&ORDINARY, 1000, 3), 0.98);
}

#[test]
#[ignore = "200 trials, some minutes; wanted 198: 97 of the 100 from FIRST_SEED=9900 were in budget"]
fn best_fit_200_trials() {
    check(&best_fit_trials(&ORDINARY, asked("FIRST_SEED", 0), asked("SEEDS", 200)), 0.99);
}

#[test]
#[ignore = "200 trials, some minutes: the rehearsal's good scanner; wanted 198: 199 from FIRST_SEED=9900 were in budget"]
fn best_fit_200_trials_of_the_good_scanner() {
    check(&best_fit_trials(&GOOD_SCANNER, asked("FIRST_SEED", 0), asked("SEEDS", 200)), 0.99);
}

#[test]
#[ignore = "200 trials, some minutes: the rehearsal's poor scanner, whose noise is large and short"]
fn best_fit_200_trials_of_the_poor_scanner() {
    check(&best_fit_trials(&POOR_SCANNER, asked("FIRST_SEED", 0), asked("SEEDS", 200)), 0.95);
}

#[test]
#[ignore = "200 trials, some minutes: the rehearsal's ordinary scanner"]
fn best_fit_200_trials_of_the_ordinary_scanner() {
    check(&best_fit_trials(&ORDINARY_SCANNER, asked("FIRST_SEED", 0), asked("SEEDS", 200)), 0.6);
}

#[test]
#[ignore = "200 trials, half an hour and more; wanted 98 %: with FIRST_SEED=9900 SEEDS=40 38 were in budget"]
fn coarse_200_trials() {
    check(&coarse_trials(&ORDINARY, asked("FIRST_SEED", 1000), asked("SEEDS", 200)), 0.98);
}

#[test]
#[ignore = "200 trials, half an hour and more: the rehearsal's good scanner; wanted 196: 199 from FIRST_SEED=9900 were in budget"]
fn coarse_200_trials_of_the_good_scanner() {
    check(&coarse_trials(&GOOD_SCANNER, asked("FIRST_SEED", 1000), asked("SEEDS", 200)), 0.98);
}

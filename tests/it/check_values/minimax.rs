//! The minimax solver of `advise` against published minimax fits and linear programmes.
//!
//! `minimax_lp_checks.csv`: Anscombe, Am. Statistician 27 (1973) 17–21; analytic Chebyshev fits (Atkinson); the opening
//! example of Chvátal, Linear Programming (1983); Beale's cycling example (1955); Klee and Minty (1972); optima recomputed
//! with another solver. Sources stand in each row. `netlib_afiro.mps` is a problem of the NETLIB collection.

use std::collections::BTreeMap;

use shutline::advise::{Band, Caps, KnobRange, Line, MinimaxError, MoveProblem, MoveSolution, Stage};

use super::check_table::read;

/// The optimum is printed with about 12 digits; the programme gives lines and caps a room of 1e-7.
const ALLOWED: f64 = 1e-6;

/// The numbers of a row's value, in order.
fn published(id: &str) -> Vec<f64> {
    let table = read("minimax_lp_checks.csv");
    let place = table.texts("id").iter().position(|name| *name == id).unwrap();
    let text = table.texts("value")[place].to_owned();
    text.split(';').map(|part| part.trim_start_matches("z=").parse().unwrap()).collect()
}

fn any() -> KnobRange {
    KnobRange { lower_mm: -1e4, upper_mm: 1e4, step_mm: None }
}

/// Fits y = a + b x (or y = b x) so that the largest |residual| is least: the knobs are the coefficients.
fn fit(points: &[(f64, f64)], has_constant: bool) -> (Vec<f64>, f64) {
    let lines = points
        .iter()
        .map(|(x, y)| Line {
            value: *y,
            slope: if has_constant { vec![-1.0, -x] } else { vec![-x] },
            weight: 1.0,
        })
        .collect();
    let knobs = vec![any(); if has_constant { 2 } else { 1 }];
    let problem = MoveProblem { lines, knobs, ..MoveProblem::default() };
    let found = problem.minimise(Stage::Worst, Caps::default()).unwrap();
    (found.settings_mm.clone(), found.worst)
}

fn assert_fit(id: &str, points: &[(f64, f64)], has_constant: bool, allowed: f64) {
    let expected = published(id);
    let (coefficients, worst) = fit(points, has_constant);
    for (found, expected) in coefficients.iter().chain([&worst]).zip(&expected) {
        assert!((found - expected).abs() <= allowed, "{id}: {coefficients:?} {worst} for {expected:?}");
    }
}

#[test]
fn chebyshev_lines_are_the_published_ones() {
    assert_fit("cheb_prop", &[(1.0, 2.0), (2.0, 5.0), (3.0, 8.0)], false, ALLOWED);
    let seven = [(1.0, 3.0), (2.0, 5.0), (3.0, 7.0), (5.0, 11.0), (7.0, 14.0), (8.0, 15.0), (10.0, 19.0)];
    assert_fit("cheb_line7", &seven, true, ALLOWED);
    // Anscombe's first set, as printed.
    let x = [10.0, 8.0, 13.0, 9.0, 11.0, 14.0, 6.0, 4.0, 12.0, 7.0, 5.0];
    let y = [8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68];
    let points: Vec<(f64, f64)> = x.into_iter().zip(y).collect();
    assert_fit("anscombe1_linf", &points, true, ALLOWED);
}

#[test]
fn best_lines_to_functions_are_the_analytic_ones() {
    // On a grid of 2001 points the optimum differs from that on the interval by at most the square of the step.
    let grid = |from: f64, to: f64, value: fn(f64) -> f64| -> Vec<(f64, f64)> {
        (0..=2000).map(|step| from + (to - from) * f64::from(step) / 2000.0).map(|x| (x, value(x))).collect()
    };
    assert_fit("cheb_sqrt", &grid(0.0, 1.0, f64::sqrt), true, 1e-5);
    assert_fit("cheb_exp", &grid(-1.0, 1.0, f64::exp), true, 1e-5);
    assert_fit("cheb_x2", &grid(0.0, 1.0, |x| x * x), true, 1e-5);
}

/// Minimises c · x over x ≥ 0 and A x ≤ b, as one line `offset + c · x` that stays positive.
fn programme(
    cost: &[f64],
    limits: &[(&[f64], f64)],
    offset: f64,
    most: f64,
) -> Result<(Vec<f64>, f64), MinimaxError> {
    let problem = MoveProblem {
        lines: vec![Line { value: offset, slope: cost.to_vec(), weight: 1.0 }],
        knobs: vec![KnobRange { lower_mm: 0.0, upper_mm: most, step_mm: None }; cost.len()],
        bands: limits
            .iter()
            .map(|(slope, upper)| Band { slope: slope.to_vec(), lower: f64::NEG_INFINITY, upper: *upper })
            .collect(),
        ..MoveProblem::default()
    };
    let found = problem.minimise(Stage::Worst, Caps::default())?;
    Ok((found.settings_mm.clone(), found.worst - offset))
}

#[test]
fn linear_programmes_have_their_published_optima() {
    let expected = published("lp_chvatal");
    let limits: [(&[f64], f64); 3] =
        [(&[2.0, 3.0, 1.0], 5.0), (&[4.0, 1.0, 2.0], 11.0), (&[3.0, 4.0, 2.0], 8.0)];
    let (x, z) = programme(&[-5.0, -4.0, -3.0], &limits, 100.0, 100.0).unwrap();
    for (found, expected) in x.iter().zip(&expected) {
        assert!((found - expected).abs() < ALLOWED, "{x:?}");
    }
    assert!((-z - expected[3]).abs() < ALLOWED, "{z}");

    let expected = published("lp_beale_cycling");
    let limits: [(&[f64], f64); 3] =
        [(&[0.25, -60.0, -0.04, 9.0], 0.0), (&[0.5, -90.0, -0.02, 3.0], 0.0), (&[0.0, 0.0, 1.0, 0.0], 1.0)];
    let (_, z) = programme(&[-0.75, 150.0, -0.02, 6.0], &limits, 1.0, 1000.0).unwrap();
    assert!((z - expected[4]).abs() < ALLOWED, "{z}");
}

/// The cubes of Klee and Minty, on which a simplex can walk through all corners.
#[test]
fn klee_and_minty_cubes_are_solved() {
    for (id, size) in [("lp_klee_minty_3", 3_i32), ("lp_klee_minty_5", 5)] {
        let expected = published(id)[0];
        let cost: Vec<f64> = (1..=size).map(|j| -10_f64.powi(size - j)).collect();
        let rows: Vec<(Vec<f64>, f64)> = (1..=size)
            .map(|i| {
                let row = (1..=size)
                    .map(|j| match j.cmp(&i) {
                        std::cmp::Ordering::Less => 2.0 * 10_f64.powi(i - j),
                        std::cmp::Ordering::Equal => 1.0,
                        std::cmp::Ordering::Greater => 0.0,
                    })
                    .collect();
                (row, 100_f64.powi(i - 1))
            })
            .collect();
        let limits: Vec<(&[f64], f64)> = rows.iter().map(|(row, right)| (row.as_slice(), *right)).collect();
        let (_, z) = programme(&cost, &limits, 2.0 * expected, 1e9).unwrap();
        assert!((-z / expected - 1.0).abs() < 1e-9, "{id}: {z}");
    }
}

/// Smallest problem of NETLIB's collection (Gay, Math. Prog. Soc. COAL Newsletter 13, 1985): 8 equations, 19 inequalities.
#[test]
fn the_netlib_problem_has_its_published_optimum() {
    let text = include_str!("data/netlib_afiro.mps");
    let mut section = "";
    let (mut rows, mut columns) = (Vec::new(), Vec::new());
    // Coefficients by row and column, and right-hand sides by row; the objective is the row of the kind N.
    let (mut entries, mut right) = (BTreeMap::new(), BTreeMap::new());
    for line in text.lines().filter(|line| !line.starts_with('*')) {
        let words: Vec<&str> = line.split_whitespace().collect();
        if !line.starts_with(' ') {
            section = words[0];
        } else if section == "ROWS" {
            rows.push((words[1], words[0]));
        } else {
            for pair in words[1..].chunks(2) {
                let number: f64 = pair[1].parse().unwrap();
                if section == "RHS" {
                    right.insert(pair[0], number);
                } else {
                    if columns.last() != Some(&words[0]) {
                        columns.push(words[0]);
                    }
                    entries.insert((pair[0], columns.len() - 1), number);
                }
            }
        }
    }
    assert_eq!(
        (rows.len(), columns.len(), entries.len()),
        (28, 32, 88),
        "sizes as the collection gives them"
    );

    let slope = |row: &str| -> Vec<f64> {
        (0..columns.len()).map(|column| entries.get(&(row, column)).copied().unwrap_or(0.0)).collect()
    };
    let cost = rows.iter().find(|(_, kind)| *kind == "N").unwrap().0;
    // |1000 + cost · x| is least where cost · x is, as long as that stays above −1000.
    let problem = MoveProblem {
        lines: vec![Line { value: 1000.0, slope: slope(cost), weight: 1.0 }],
        knobs: vec![KnobRange { lower_mm: 0.0, upper_mm: 1e4, step_mm: None }; columns.len()],
        bands: rows
            .iter()
            .filter(|(_, kind)| *kind != "N")
            .map(|(row, kind)| {
                let upper = right.get(row).copied().unwrap_or(0.0);
                let lower = if *kind == "E" { upper } else { f64::NEG_INFINITY };
                Band { slope: slope(row), lower, upper }
            })
            .collect(),
        ..MoveProblem::default()
    };
    let found = problem.minimise(Stage::Worst, Caps::default()).unwrap();
    let expected = published("lp_netlib_afiro")[0];
    // Printed with eleven digits.
    assert!((found.worst - 1000.0 - expected).abs() < ALLOWED, "{}", found.worst - 1000.0);
}

#[test]
fn what_cannot_be_is_called_infeasible() {
    let both: [(&[f64], f64); 2] = [(&[1.0, 1.0], 1.0), (&[-1.0, -1.0], -2.0)];
    assert_eq!(programme(&[1.0, 1.0], &both, 10.0, 100.0), Err(MinimaxError::Infeasible));
    let table = read("minimax_lp_checks.csv");
    let place = table.texts("id").iter().position(|name| *name == "lp_infeasible").unwrap();
    assert_eq!(table.texts("value")[place], "infeasible");
}

/// Small cases with steps: every combination of whole steps is tried by hand.
mod whole_steps {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    fn random_problem(random: &mut ChaCha8Rng) -> MoveProblem {
        let knob_count = random.random_range(1..4);
        let mut draw = |low: f64, high: f64| random.random_range(low..high);
        let knobs: Vec<KnobRange> = (0..knob_count)
            .map(|_| {
                let step_mm = draw(0.2, 0.8);
                let count = |value: f64| value.floor() * step_mm;
                KnobRange {
                    lower_mm: -count(draw(0.0, 4.0)),
                    upper_mm: count(draw(0.0, 4.0)),
                    step_mm: Some(step_mm),
                }
            })
            .collect();
        let mut line = |spread: f64, weight: f64| Line {
            value: draw(-spread, spread),
            slope: (0..knob_count).map(|_| draw(-1.5, 1.5)).collect(),
            weight,
        };
        MoveProblem {
            lines: (0..14).map(|index| line(2.5, if index % 5 == 0 { 2.0 } else { 1.0 })).collect(),
            blocks: (0..2).map(|_| line(1.0, 0.3)).collect(),
            bands: vec![Band { slope: vec![1.0; knob_count], lower: -1.5, upper: 1.5 }],
            knobs,
        }
    }

    fn combinations(problem: &MoveProblem) -> Vec<Vec<f64>> {
        let mut all = vec![Vec::new()];
        for knob in &problem.knobs {
            let step_mm = knob.step_mm.unwrap();
            let count = |limit_mm: f64| (limit_mm / step_mm).round() as i32;
            all = all
                .iter()
                .flat_map(|begun: &Vec<f64>| {
                    (count(knob.lower_mm)..=count(knob.upper_mm)).map(|steps| {
                        let mut longer = begun.clone();
                        longer.push(f64::from(steps) * step_mm);
                        longer
                    })
                })
                .collect();
        }
        all.retain(|settings| {
            problem.bands.iter().all(|band| {
                let sum: f64 = band.slope.iter().zip(settings).map(|(slope, setting)| slope * setting).sum();
                (band.lower - 1e-9..=band.upper + 1e-9).contains(&sum)
            })
        });
        all
    }

    #[test]
    fn every_stage_equals_the_best_of_all_combinations() {
        let mut random = ChaCha8Rng::seed_from_u64(5);
        for case in 0..150 {
            let problem = random_problem(&mut random);
            let scores: Vec<_> =
                combinations(&problem).into_iter().map(|settings| problem.score(settings)).collect();
            let least =
                |value: &dyn Fn(&MoveSolution) -> f64| scores.iter().map(value).fold(f64::INFINITY, f64::min);
            let worst = problem.minimise(Stage::Worst, Caps::default()).unwrap();
            assert!((worst.worst - least(&|one| one.worst)).abs() < 1e-6, "{case} {problem:?}");
            // Then the excess among the combinations that are as good in the worst, then the centre, then the travel with
            // some room in all three. A cap is given a millionth of room.
            let among = |caps: Caps, value: &dyn Fn(&MoveSolution) -> f64| {
                let is_kept = |one: &&MoveSolution| {
                    let kept = |cap: Option<f64>, found: f64| cap.is_none_or(|cap| found <= cap + 1e-6);
                    kept(caps.worst, one.worst)
                        && kept(caps.excess, one.excess)
                        && kept(caps.centre, one.centre)
                };
                scores.iter().filter(is_kept).map(value).fold(f64::INFINITY, f64::min)
            };
            let caps = Caps { worst: Some(worst.worst), ..Caps::default() };
            let excess = problem.minimise(Stage::Excess, caps).unwrap();
            assert!((excess.excess - among(caps, &|one| one.excess)).abs() < 2e-6, "{case} {excess:?}");
            let caps = Caps { excess: Some(excess.excess), ..caps };
            let centre = problem.minimise(Stage::Centre, caps).unwrap();
            assert!((centre.centre - among(caps, &|one| one.centre)).abs() < 2e-6, "{case} {centre:?}");
            let caps = Caps {
                worst: Some(worst.worst + 0.1),
                excess: Some(excess.excess + 0.1),
                centre: Some(centre.centre + 0.1),
            };
            let travel = problem.minimise(Stage::Travel, caps).unwrap();
            assert!((travel.travel_mm - among(caps, &|one| one.travel_mm)).abs() < 1e-6, "{case} {travel:?}");
        }
    }
}

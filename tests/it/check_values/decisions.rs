//! Decisions and expanded uncertainties against published figures.
//!
//! `data/conformity_checks.csv`: examples of JCGM 106:2012, clause 7 (inputs from memory, probabilities recomputed);
//! ILAC-G8:09/2019, table 1; the 95 % factor of ISO 14253-1:2017; guard factors of narrow tolerances (recomputed).
//! `data/gum_h1.csv`: JCGM 100:2008, H.1, end-gauge calibration. Its published result: u = 32 nm, 16 effective degrees
//! of freedom, k(99 %) = 2.92, U = 93 nm.
//! Not checked: the rows on global risk and on the bearing example, which need a distribution of the production.

use shutline::judge::{Measurand, Verdict, conformance, coverage_factor, judge_value, one_sided_factor};
use shutline::measure::{Component, Estimate, UncertaintySource};
use shutline::plan::{DecisionRule, Tolerance};

const CHECKS: &str = include_str!("data/conformity_checks.csv");
const GUM_H1: &str = include_str!("data/gum_h1.csv");

/// The row's value: the last cell of the row that starts with these cells.
fn published(start: &str) -> f64 {
    let row = CHECKS.lines().find(|line| line.starts_with(start)).expect(start);
    row.rsplit(',').next().unwrap().parse().unwrap()
}

fn input(quantity: &str) -> f64 {
    let row = GUM_H1.lines().find(|line| line.starts_with(&format!("H1,{quantity},"))).expect(quantity);
    row.rsplit(',').next().unwrap().parse().unwrap()
}

fn stated(value_mm: f64, u_mm: f64) -> Estimate {
    Estimate { value_mm, u_mm, degrees_of_freedom: f64::INFINITY, components: Vec::new() }
}

fn limits(lower_mm: f64, upper_mm: f64) -> Tolerance {
    let nominal_mm =
        if lower_mm.is_finite() && upper_mm.is_finite() { f64::midpoint(lower_mm, upper_mm) } else { 0.0 };
    Tolerance { nominal_mm, minus_mm: nominal_mm - lower_mm, plus_mm: upper_mm - nominal_mm }
}

/// Agreement asked of distribution functions: the library's error function is good to about 1e-11.
const SAME_PROBABILITY: f64 = 1e-9;

#[test]
fn conformance_probabilities_are_those_of_jcgm_106() {
    let infinity = f64::INFINITY;
    let cases = [
        ("jcgm106_zener", limits(-infinity, -5.40), stated(-5.47, 0.05)),
        ("jcgm106_container", limits(490.0, infinity), stated(509.7, 8.6)),
        ("jcgm106_oil", limits(12.5, 16.3), stated(13.6, 1.8)),
    ];
    for (id, tolerance, estimate) in cases {
        let found = conformance(&estimate, &tolerance);
        assert!((found.inside - published(id)).abs() < SAME_PROBABILITY, "{id}: {found:?}");
        assert!((found.below + found.inside + found.above - 1.0).abs() < 1e-12, "{id}");
    }
}

#[test]
fn a_guard_band_leaves_the_risk_that_ilac_g8_states() {
    for (share, key) in
        [(0.0, "w=0.00*U"), (0.83, "w=0.83*U"), (1.0, "w=1.00*U"), (1.5, "w=1.50*U"), (3.0, "w=3.00*U")]
    {
        // Result at the acceptance limit, upper limit 1, U = 2 u.
        let estimate = stated(1.0 - share * 0.2, 0.1);
        let risk = conformance(&estimate, &limits(-f64::INFINITY, 1.0)).above;
        let expected = published(&format!("ilac_g8_guard,{key}"));
        assert!((risk - expected).abs() < SAME_PROBABILITY, "{key}: {risk} {expected}");
    }
}

/// Distance from the upper limit, in u, at which a reading stops being good.
fn guard_factor(width_over_u: f64, conformance: f64) -> f64 {
    let rule = DecisionRule::GuardBand { conformance };
    let tolerance = limits(-width_over_u / 2.0, width_over_u / 2.0);
    let (mut good, mut not_good) = (0.0, width_over_u / 2.0);
    for _ in 0..60 {
        let middle = f64::midpoint(good, not_good);
        let verdict = judge_value(Measurand::Gap, &stated(middle, 1.0), &tolerance, &rule);
        *(if verdict == Verdict::Good { &mut good } else { &mut not_good }) = middle;
    }
    width_over_u / 2.0 - good
}

#[test]
fn the_guard_band_for_95_percent_is_the_published_one() {
    let factor = published("iso14253_1_2017_factor");
    assert!((one_sided_factor(0.95, f64::INFINITY) - factor).abs() < 1e-9);
    for width in [4.0, 5.0, 6.0, 8.0, 10.0, 20.0] {
        let expected = published(&format!("two_sided_95,(TU-TL)/u={width}"));
        let found = guard_factor(width, 0.95);
        assert!((found - expected).abs() < 1e-6, "width {width} u: {found} {expected}");
    }
}

#[test]
fn out_of_tolerance_is_proved_with_the_same_probability() {
    let rule = DecisionRule::GuardBand { conformance: 0.95 };
    let tolerance = limits(0.0, 10.0);
    let judged = |value: f64| judge_value(Measurand::Gap, &stated(value, 1.0), &tolerance, &rule);
    // ISO 14253-1:2017: outside by more than 1.645 u proves non-conformity.
    assert_eq!(judged(10.0 + 1.64), Verdict::Undecided);
    assert_eq!(judged(10.0 + 1.65), Verdict::Wide);
    assert_eq!(judged(-1.64), Verdict::Undecided);
    assert_eq!(judged(-1.65), Verdict::Tight);
}

#[test]
fn welch_satterthwaite_and_k_are_those_of_the_gum_end_gauge() {
    let component = |u_mm: f64, degrees_of_freedom: f64| Component {
        source: UncertaintySource::Model,
        u_mm,
        degrees_of_freedom,
    };
    let comparator = Estimate::from_components(
        0.0,
        vec![
            component(input("u_d0_nm"), input("nu_d0")),
            component(input("u_d1_nm"), input("nu_d1")),
            component(input("u_d2_nm"), input("nu_d2")),
        ],
    );
    let rectangular = 3.0_f64.sqrt();
    let length_nm = input("ls_nm");
    let expansion = length_nm * input("theta_bar").abs() * input("a_delta_alpha_rect") / rectangular;
    let temperature = length_nm * input("alpha_s_per_degC") * input("a_delta_theta_rect") / rectangular;
    let whole = Estimate::from_components(
        length_nm + input("d_nm"),
        vec![
            component(input("u_ls_nm"), input("nu_ls")),
            component(comparator.u_mm, comparator.degrees_of_freedom),
            component(expansion, input("nu_delta_alpha")),
            component(temperature, input("nu_delta_theta")),
        ],
    );
    // Recomputed in the file's head: 31.6639 nm and 16.752; the GUM rounds to 32 nm and 16.
    assert!((whole.u_mm - 31.6639).abs() < 5e-5, "{}", whole.u_mm);
    assert!((whole.degrees_of_freedom - 16.752).abs() < 5e-4, "{}", whole.degrees_of_freedom);
    // k for 99 % and the truncated 16 degrees of freedom: 2.92; half a unit of the last printed digit.
    let normal_99 = one_sided_factor(0.995, f64::INFINITY);
    let k = coverage_factor(normal_99, whole.degrees_of_freedom.floor());
    assert!((k - 2.92).abs() < 0.005, "{k}");
    assert!((k * 32.0 - 93.0).abs() < 0.5);
}

#[test]
fn coverage_factors_follow_table_g2_of_the_gum() {
    // JCGM 100:2008, table G.2, column 95.45 % (from memory, two decimals); the t quantiles themselves are checked
    // by the end-gauge example above.
    for (degrees_of_freedom, expected) in [(1.0, 13.97), (2.0, 4.53), (5.0, 2.65), (10.0, 2.28), (50.0, 2.05)]
    {
        let found = coverage_factor(2.0, degrees_of_freedom);
        assert!((found - expected).abs() < 0.005 + 1e-9, "{degrees_of_freedom}: {found}");
    }
    assert!((coverage_factor(2.0, f64::INFINITY) - 2.0).abs() < 1e-12);
}

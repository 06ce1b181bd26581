//! Statistics against published values.
//!
//! `strd_*.csv`: NIST Statistical Reference Datasets (www.itl.nist.gov/div898/strd), certified to 15 digits.
//! `quantiles_normal_t_chi2_f.csv`: recomputed with mpmath and scipy; agrees with JCGM 100:2008, table G.2.
//! `robust_constants.csv`: recomputed from the definitions in Rousseeuw and Croux, JASA 88 (1993).
//! `stackloss.csv`: Brownlee (1965), fits recomputed with iterated weights.
//! `control_chart_constants.csv`: recomputed from the definitions in ISO 7870-2; agrees with the printed tables.

use nalgebra::{DMatrix, DVector};
use shutline::statistics::precision::{
    CERTIFIED, CLOSED_FORM, FILIP, ILL_CONDITIONED, QUANTILE, SIX_DECIMALS,
};
use shutline::statistics::{
    BIWEIGHT_CUTOFF, MAD_TO_SIGMA, Regression, biweight_regression, chart_constants, chi_squared_quantile,
    d2_star, f_quantile, f_upper_tail, lag_one_autocorrelation, least_squares, mean, normal_quantile,
    one_way, standard_deviation, student_t_quantile,
};

use super::check_table::{CheckTable, assert_close, read};

/// What `f64` itself can carry: a value of size `largest` is only known to 1.1e-16 of it, which is this share of the
/// spread. Ten roundings are allowed on top of the printed 15 digits.
fn carried(largest: f64, spread: f64) -> f64 {
    CERTIFIED + 10.0 * f64::EPSILON * largest / spread
}

#[test]
fn moments_of_the_strd_univariate_sets_are_certified() {
    for name in
        ["Lew", "Lottery", "Mavro", "Michelso", "NumAcc1", "NumAcc2", "NumAcc3", "NumAcc4", "PiDigits"]
    {
        let table = read(&format!("strd_uni_{name}.csv"));
        let values = table.numbers("y");
        assert_eq!(values.len() as f64, table.stated("certified", "n="), "{name}");
        let sd = table.stated("certified", "sd(n-1)=");
        let largest = values.iter().fold(0.0, |most: f64, value| most.max(value.abs()));
        assert_close(name, mean(&values).unwrap(), table.stated("certified", "mean="), CERTIFIED);
        assert_close(name, standard_deviation(&values).unwrap(), sd, carried(largest, sd));
        let certified = table.stated("certified", "lag1_autocorr=");
        // A correlation near 0 is a small difference of sums near 1: its error counts against 1.
        let allowed = carried(largest, sd) / certified.abs();
        assert_close(name, lag_one_autocorrelation(&values).unwrap(), certified, allowed);
    }
}

/// Columns of the design as the set's model says: powers of x, or x1, x2, ….
fn design_of(table: &CheckTable) -> DMatrix<f64> {
    let model = table.head.iter().find(|line| line.starts_with("# model")).unwrap();
    let count = table.rows.len();
    let has_constant = model.contains("B0");
    if table.columns.len() > 2 {
        let columns: Vec<Vec<f64>> = table.columns[1..].iter().map(|name| table.numbers(name)).collect();
        return DMatrix::from_fn(count, columns.len() + 1, |row, column| {
            if column == 0 { 1.0 } else { columns[column - 1][row] }
        });
    }
    let x = table.numbers("x");
    let highest = model.matches('B').count() - usize::from(has_constant);
    let lowest = usize::from(!has_constant);
    DMatrix::from_fn(count, highest + 1 - lowest, |row, column| x[row].powi((column + lowest) as i32))
}

fn strd_regression(name: &str) -> (CheckTable, Regression) {
    let table = read(&format!("strd_lls_{name}.csv"));
    let fit = least_squares(&design_of(&table), &DVector::from_vec(table.numbers("y"))).unwrap();
    (table, fit)
}

/// Compares coefficients, their standard errors and the residual scatter with the certified ones.
fn check_regression(name: &str, relative: f64) {
    let (table, fit) = strd_regression(name);
    let first = usize::from(!table.head.iter().any(|line| line.starts_with("# certified B0")));
    let residual_sd = table.stated("certified residual_sd", "residual_sd");
    for (index, (found, error)) in fit.coefficients.iter().zip(&fit.standard_errors).enumerate() {
        let line = format!("certified B{}", index + first);
        let label = format!("B{}", index + first);
        let certified = table.stated(&line, &label);
        // Where the scatter is a million times the coefficient (Wampler4 and 5), rounding of the observations alone moves
        // it by a share of its standard error.
        let allowed = relative * certified.abs() + CLOSED_FORM * table.stated(&line, "sd");
        assert!((found - certified).abs() <= allowed, "{name} {line}: {found:e}, expected {certified:e}");
        if residual_sd > 0.0 {
            assert_close(&format!("{name} {line} sd"), *error, table.stated(&line, "sd"), relative);
        }
    }
    if residual_sd > 0.0 {
        assert_close(name, fit.residual_sd, residual_sd, relative);
    } else {
        let size = table.numbers("y").iter().fold(0.0, |most: f64, value| most.max(value.abs()));
        assert!(fit.residual_sd <= relative * size, "{name}: residual scatter {:e}", fit.residual_sd);
    }
}

#[test]
fn well_conditioned_strd_regressions_are_certified() {
    for name in ["Norris", "NoInt1", "NoInt2"] {
        check_regression(name, CERTIFIED);
    }
}

#[test]
fn ill_conditioned_strd_regressions_are_certified() {
    for name in ["Pontius", "Longley", "Wampler1", "Wampler2", "Wampler3", "Wampler4", "Wampler5"] {
        check_regression(name, ILL_CONDITIONED);
    }
}

#[test]
fn the_tenth_order_polynomial_of_filip_is_reached_by_qr() {
    check_regression("Filip", FILIP);
}

#[test]
fn strd_analyses_of_variance_are_certified() {
    for name in ["AtmWtAg", "SiRstv", "SmLs01", "SmLs04", "SmLs07"] {
        let table = read(&format!("strd_anova_{name}.csv"));
        let (treatments, values) = (table.texts("treatment"), table.numbers("response"));
        let mut levels = treatments.clone();
        levels.dedup();
        let groups: Vec<Vec<f64>> = levels
            .iter()
            .map(|level| {
                treatments
                    .iter()
                    .zip(&values)
                    .filter(|(name, _)| *name == level)
                    .map(|(_, value)| *value)
                    .collect()
            })
            .collect();
        let found = one_way(&groups).unwrap();
        let between = table.stated_list("certified between", "between(df,SS,MS,F)");
        let within = table.stated_list("certified between", "within(df,SS,MS)");
        let largest = values.iter().fold(0.0, |most: f64, value| most.max(value.abs()));
        // SmLs07 and AtmWtAg keep 4 and 8 digits of the spread in f64 before anything is computed.
        let relative = carried(largest, within[2].sqrt());
        assert_eq!(found.between.degrees_of_freedom, between[0], "{name}");
        assert_eq!(found.within.degrees_of_freedom, within[0], "{name}");
        assert_close(name, found.between.sum_of_squares, between[1], relative);
        assert_close(name, found.within.mean_square(), within[2], relative);
        assert_close(name, found.between.f_ratio(&found.within), between[3], relative);
    }
}

#[test]
fn quantiles_agree_with_the_tables() {
    let table = read("quantiles_normal_t_chi2_f.csv");
    for row in &table.rows {
        let number = |index: usize| row[index].parse::<f64>().unwrap_or(f64::NAN);
        let (first, second, p, expected) = (number(1), number(2), number(3), number(4));
        let found = match row[0].as_str() {
            "normal" => normal_quantile(p),
            "t" => student_t_quantile(p, first),
            "chi2" => chi_squared_quantile(p, first),
            "f" => f_quantile(p, first, second),
            other => panic!("unknown distribution {other}"),
        };
        let found = found.unwrap_or_else(|| panic!("{row:?}"));
        assert!((found - expected).abs() <= QUANTILE * expected.abs().max(1.0), "{row:?}: {found}");
        if row[0] == "f" {
            assert!((f_upper_tail(expected, first, second).unwrap() - (1.0 - p)).abs() < QUANTILE, "{row:?}");
        }
    }
    assert_eq!(student_t_quantile(0.975, f64::INFINITY), normal_quantile(0.975));
    assert_eq!(normal_quantile(1.0), None);
}

#[test]
fn robust_constants_are_those_of_their_definitions() {
    let table = read("robust_constants.csv");
    let value = |name: &str| {
        table
            .rows
            .iter()
            .find(|row| row[0].starts_with(name))
            .map(|row| row[1].parse::<f64>().unwrap())
            .unwrap()
    };
    assert_close("MAD", MAD_TO_SIGMA, value("mad_consistency"), CERTIFIED);
    assert_close("MAD again", 1.0 / normal_quantile(0.75).unwrap(), MAD_TO_SIGMA, QUANTILE);
    assert_close("biweight", BIWEIGHT_CUTOFF, value("bisquare_c_for_95pct"), CERTIFIED);
}

#[test]
fn the_stack_loss_plant_is_fitted_as_published() {
    let table = read("stackloss.csv");
    let names = ["AIRFLOW", "WATERTEMP", "ACIDCONC"];
    let columns: Vec<Vec<f64>> = names.iter().map(|name| table.numbers(name)).collect();
    let design = DMatrix::from_fn(21, 4, |row, column| if column < 3 { columns[column][row] } else { 1.0 });
    let observed = DVector::from_vec(table.numbers("stackloss"));
    let plain = least_squares(&design, &observed).unwrap();
    // "recomputed here OLS", nine decimals.
    for (found, expected) in
        plain.coefficients.iter().zip([0.715640200, 1.295286124, -0.152122519, -39.919674420])
    {
        assert!((found - expected).abs() < 1e-9, "{found} {expected}");
    }
    let robust = biweight_regression(&design, &observed).unwrap();
    // "recomputed here bisquare c=4.685 (start OLS)": the cut-off here has more digits (4.685065), which moves the
    // coefficients in the fifth digit.
    for (found, expected) in
        robust.coefficients.iter().zip([0.927557323, 0.650717687, -0.112333154, -42.285350779])
    {
        assert_close("biweight", *found, expected, 1e-4);
    }
    assert_close("biweight scale", robust.residual_sd, 2.281881335, 1e-4);
}

#[test]
fn control_chart_constants_follow_from_their_definitions() {
    let table = read("control_chart_constants.csv");
    for row in &table.rows {
        let value = |name: &str| -> f64 {
            row[table.columns.iter().position(|column| column == name).unwrap()].parse().unwrap()
        };
        let subgroup = value("n") as usize;
        let found = chart_constants(subgroup).unwrap();
        let close = |what: &str, number: f64| {
            assert!(
                (number - value(what)).abs() < SIX_DECIMALS,
                "{what} for {subgroup}: {number} {}",
                value(what)
            );
        };
        close("d2", found.d2);
        close("d3", found.d3);
        close("c4", found.c4);
        close("A2", found.mean_from_range(subgroup));
        close("A3", found.mean_from_sd(subgroup));
        close("B3", found.sd_limits()[0]);
        close("B4", found.sd_limits()[1]);
        close("D3", found.range_limits()[0]);
        close("D4", found.range_limits()[1]);
        close("d2star1", d2_star(subgroup).unwrap());
    }
    assert_eq!(chart_constants(1), None);
}

//! Repeatability, control charts and capability against published studies.
//!
//! `grr_aiag_10x3x3.csv`: AIAG, Measurement Systems Analysis, 4th ed. (2010), figure III-B; both methods.
//! `gauge_nist_mpc61_resistivity.csv`: NIST/SEMATECH e-Handbook 2.6.1 (public domain).
//! `gauge_statsmodels.csv`: the same data through statsmodels.
//! `spc_*.csv`: Montgomery, Introduction to Statistical Quality Control, example 6.1 and the piston rings.

use std::f64::consts::FRAC_2_SQRT_PI;

use shutline::statistics::{VarianceLine, standard_deviation};
use shutline::summarise::{
    Cells, ChartKind, GaugeStudy, POOL_ABOVE, StudyLines, add_lines, capability, chart_individuals,
    chart_subgroups, study_by_analysis_of_variance, study_by_average_and_range, study_lines,
};

use super::check_table::{CheckTable, assert_close, read};

/// Values by level of two columns, in order of first appearance.
fn cells_by(table: &CheckTable, first: &str, second: &str, value: &str) -> Cells {
    let (rows, columns, values) = (table.texts(first), table.texts(second), table.numbers(value));
    let levels = |names: &[&str]| {
        let mut seen: Vec<String> = Vec::new();
        for name in names {
            if !seen.iter().any(|known| known == name) {
                seen.push((*name).to_owned());
            }
        }
        seen
    };
    let pick = |row: &str, column: &str| {
        (0..values.len())
            .filter(|at| rows[*at] == row && columns[*at] == column)
            .map(|at| values[at])
            .collect()
    };
    levels(&rows)
        .iter()
        .map(|row| levels(&columns).iter().map(|column| pick(row, column)).collect())
        .collect()
}

fn aiag() -> (CheckTable, Cells) {
    let table = read("grr_aiag_10x3x3.csv");
    let cells = cells_by(&table, "part", "appraiser", "value");
    (table, cells)
}

/// The recomputed figures are printed with six decimals.
const PRINTED: f64 = 1e-6;

#[test]
fn the_aiag_study_by_analysis_of_variance() {
    let (table, cells) = aiag();
    let lines = study_lines(&cells).unwrap();
    let study = study_by_analysis_of_variance(&lines, POOL_ABOVE);
    let stated = |label: &str| table.stated("recomputed here", label);
    assert!(study.is_pooled);
    assert!((study.interaction_significance.unwrap() - stated(" p=")).abs() < 1e-4);
    let close = |what: &str, found: f64| assert!((found - stated(what)).abs() < PRINTED, "{what} {found}");
    close("EV=", study.repeatability);
    close("AV=", study.reproducibility.unwrap());
    close(" GRR=", study.gauge);
    close("PV=", study.part.unwrap());
    close("TV=", study.total().unwrap());
    assert!((study.percent_of_study(study.gauge).unwrap() - stated("%GRR=")).abs() < 1e-4);
    assert!((study.distinct_categories().unwrap() - stated("ndc=")).abs() < 1e-4);
}

#[test]
fn the_aiag_study_by_average_and_range() {
    let (table, cells) = aiag();
    let study = study_by_average_and_range(&cells).unwrap();
    let stated = |label: &str| table.stated("published", label);
    // The manual multiplies rounded means by constants of four digits.
    let close = |what: &str, found: f64| assert_close(what, found, stated(what), 5e-4);
    close("EV=", study.repeatability);
    close("AV=", study.reproducibility.unwrap());
    close("GRR=", study.gauge);
    close("PV=", study.part.unwrap());
    close("TV=", study.total().unwrap());
    close("%GRR", study.percent_of_study(study.gauge).unwrap());
    assert_eq!(study.distinct_categories().unwrap().floor(), stated(" ndc"));
}

fn assert_lines(set: &str, found: &StudyLines) {
    let table = read("gauge_statsmodels.csv");
    let line = |name: &str| {
        let row = table.rows.iter().find(|row| row[0] == set && row[1] == name).unwrap();
        VarianceLine { degrees_of_freedom: row[2].parse().unwrap(), sum_of_squares: row[3].parse().unwrap() }
    };
    let check = |name: &str, found: &VarianceLine| {
        assert_eq!(found.degrees_of_freedom, line(name).degrees_of_freedom, "{set} {name}");
        // Printed with twelve digits.
        assert_close(&format!("{set} {name}"), found.sum_of_squares, line(name).sum_of_squares, 1e-10);
    };
    check("first", &found.parts.unwrap());
    check("second", &found.operators.unwrap());
    check("interaction", &found.interaction.unwrap());
    check("error", &found.repeatability);
}

#[test]
fn sums_of_squares_agree_with_statsmodels() {
    assert_lines("aiag", &study_lines(&aiag().1).unwrap());
    let table = read("gauge_nist_mpc61_resistivity.csv");
    assert_lines("mpc61", &study_lines(&cells_by(&table, "wafer", "probe", "average")).unwrap());
}

#[test]
fn the_nist_gauge_study_has_its_published_day_to_day_scatter() {
    let table = read("gauge_nist_mpc61_resistivity.csv");
    let (runs, wafers, probes) = (table.texts("run"), table.texts("wafer"), table.texts("probe"));
    let values = table.numbers("average");
    for probe in ["1", "281", "283", "2062", "2362"] {
        // Level 2 of the handbook: six days within each wafer and run; 10 × 5 = 50 degrees of freedom.
        let mut groups: Vec<(String, Vec<f64>)> = Vec::new();
        for at in (0..values.len()).filter(|at| probes[*at] == probe) {
            let key = format!("{} {}", runs[at], wafers[at]);
            match groups.iter_mut().find(|(name, _)| *name == key) {
                Some((_, group)) => group.push(values[at]),
                None => groups.push((key, vec![values[at]])),
            }
        }
        let cells: Cells = groups.into_iter().map(|(_, group)| vec![group]).collect();
        let lines = study_lines(&cells).unwrap();
        assert_eq!(lines.repeatability.degrees_of_freedom, 50.0);
        let study = study_by_analysis_of_variance(&lines, POOL_ABOVE);
        let stated = table.stated(&format!("recomputed here probe {probe}:"), "s2(level-2, df50)=");
        assert!((study.repeatability - stated).abs() < PRINTED, "{probe}: {} {stated}", study.repeatability);
        assert_eq!(study.reproducibility, None, "one probe cannot tell");
    }
}

#[test]
fn stations_alike_give_the_study_of_one() {
    let lines = study_lines(&aiag().1).unwrap();
    let many = add_lines(&[lines; 7]).unwrap();
    let (one, seven) =
        (study_by_analysis_of_variance(&lines, POOL_ABOVE), study_by_analysis_of_variance(&many, POOL_ABOVE));
    assert_close("gauge", seven.gauge, one.gauge, 1e-12);
    assert_close("p", seven.interaction_significance.unwrap(), one.interaction_significance.unwrap(), 1e-12);
    assert_close("averaged", GaugeStudy::averaged(&[one; 3]).unwrap().gauge, one.gauge, 1e-12);
}

#[test]
fn the_flow_width_chart_of_means_and_ranges() {
    let table = read("spc_hardbake_flowwidth.csv");
    let columns: Vec<Vec<f64>> = ["v1", "v2", "v3", "v4", "v5"].map(|name| table.numbers(name)).to_vec();
    let subgroups: Vec<Vec<f64>> =
        (0..25).map(|row| columns.iter().map(|column| column[row]).collect()).collect();
    let chart = chart_subgroups(&subgroups, ChartKind::MeanAndRange).unwrap();
    let stated = |label: &str| table.stated("recomputed here", label);
    let close = |what: &str, found: f64, allowed: f64| {
        assert!((found - stated(what)).abs() < allowed, "{what} {found}");
    };
    close("grand mean=", chart.level.centre, PRINTED);
    close("Rbar=", chart.spread.centre, PRINTED);
    close("sigma=", chart.sigma_within, PRINTED);
    // The recomputed limits use A2 and D4 of three decimals: 0.0005 × 0.325.
    close("UCLx=", chart.level.upper, 1.7e-4);
    close("LCLx=", chart.level.lower, 1.7e-4);
    close("UCLR=", chart.spread.upper, 1.7e-4);
    assert_eq!((chart.levels_out(), chart.spreads_out()), (vec![], vec![]), "in control, as the book says");
    let overall = standard_deviation(&subgroups.concat()).unwrap();
    let found = capability(chart.level.centre, chart.sigma_within, overall, [1.0, 2.0]).unwrap();
    // The check file's Cp comes from a σ of six decimals.
    close("Cp=", found.cp, 1e-5);
    close("Cpk=", found.cpk, 1e-5);
    assert!(chart_subgroups(&subgroups, ChartKind::IndividualAndMovingRange).is_none());
}

#[test]
fn the_piston_rings_by_range_and_by_standard_deviation() {
    let table = read("spc_pistonrings.csv");
    let values = table.numbers("diameter");
    let subgroups: Vec<Vec<f64>> = values[..125].chunks(5).map(<[f64]>::to_vec).collect();
    let stated = |label: &str| table.stated("recomputed here", label);
    let ranges = chart_subgroups(&subgroups, ChartKind::MeanAndRange).unwrap();
    let sds = chart_subgroups(&subgroups, ChartKind::MeanAndSd).unwrap();
    assert!((ranges.sigma_within - stated("sigma(R/d2)=")).abs() < 1e-8, "{}", ranges.sigma_within);
    assert!((sds.sigma_within - stated("sigma(s/c4)=")).abs() < 1e-8, "{}", sds.sigma_within);
    assert!((sds.spread.centre - stated("sbar=")).abs() < PRINTED);
    let overall = standard_deviation(&values[..125]).unwrap();
    assert!((overall - stated("overall sd=")).abs() < 1e-8, "{overall}");
    let found = capability(ranges.level.centre, ranges.sigma_within, overall, [73.95, 74.05]).unwrap();
    assert!((found.cp - stated("Cp=")).abs() < PRINTED, "{found:?}");
    assert!((found.cpk - stated("Cpk=")).abs() < PRINTED, "{found:?}");
    // Phase II: limits of phase I, samples 37 to 39 drift out (from memory of how this set is commonly shown).
    let later: Vec<f64> = values[125..].chunks(5).map(|group| group.iter().sum::<f64>() / 5.0).collect();
    let out: Vec<usize> =
        (0..later.len()).filter(|at| later[*at] > ranges.level.upper).map(|at| at + 26).collect();
    assert_eq!(out, vec![37, 38, 39]);
}

#[test]
fn individuals_by_hand() {
    // Moving ranges 2, 1, 3: mean 2, d2 = 2/√π; centre (10 + 12 + 11 + 14)/4.
    let chart = chart_individuals(&[10.0, 12.0, 11.0, 14.0]).unwrap();
    assert_close("centre", chart.level.centre, 11.75, 1e-12);
    assert_close("σ", chart.sigma_within, 2.0 / FRAC_2_SQRT_PI, 1e-6);
    assert_close("upper", chart.level.upper, 11.75 + 3.0 * 2.0 / FRAC_2_SQRT_PI, 1e-6);
    assert!(chart_individuals(&[1.0, 2.0]).is_none());
}

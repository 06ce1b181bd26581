//! Errors of a group of stations in one line: bias, RMS, 95th percentile, largest, coverage.

use super::trial::Pair;

/// Errors and their stated uncertainties, mm.
#[derive(Debug, Default, Clone)]
pub struct Errors {
    errors_mm: Vec<f64>,
    u_mm: Vec<f64>,
}

impl Errors {
    pub fn of_gap<'a>(pairs: impl Iterator<Item = &'a Pair>) -> Self {
        Self::collect(
            pairs.filter_map(|pair| Some((pair.gap_error_mm()?, pair.reading.gap.as_ref().ok()?.u_mm))),
        )
    }

    pub fn of_flush<'a>(pairs: impl Iterator<Item = &'a Pair>) -> Self {
        Self::collect(
            pairs.filter_map(|pair| Some((pair.flush_error_mm()?, pair.reading.flush.as_ref().ok()?.u_mm))),
        )
    }

    fn collect(values: impl Iterator<Item = (f64, f64)>) -> Self {
        let (errors_mm, u_mm) = values.unzip();
        Self { errors_mm, u_mm }
    }

    /// Adds another group's.
    pub fn extend(&mut self, other: &Self) {
        self.errors_mm.extend(&other.errors_mm);
        self.u_mm.extend(&other.u_mm);
    }

    pub fn count(&self) -> usize {
        self.errors_mm.len()
    }

    pub fn bias_mm(&self) -> f64 {
        self.errors_mm.iter().sum::<f64>() / self.count() as f64
    }

    pub fn rms_mm(&self) -> f64 {
        (self.errors_mm.iter().map(|error| error * error).sum::<f64>() / self.count() as f64).sqrt()
    }

    pub fn quantile_mm(&self, share: f64) -> f64 {
        let mut sizes: Vec<f64> = self.errors_mm.iter().map(|error| error.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        sizes.get(((sizes.len() - 1) as f64 * share).round() as usize).copied().unwrap_or(f64::NAN)
    }

    /// Share of errors inside twice their standard uncertainty.
    pub fn coverage(&self) -> f64 {
        let inside =
            self.errors_mm.iter().zip(&self.u_mm).filter(|(error, u)| error.abs() <= 2.0 * **u).count();
        inside as f64 / self.count() as f64
    }

    /// The largest error in its own standard uncertainty.
    pub fn worst_u(&self) -> f64 {
        self.errors_mm.iter().zip(&self.u_mm).map(|(error, u)| error.abs() / u).fold(0.0, f64::max)
    }

    pub fn mean_u_mm(&self) -> f64 {
        self.u_mm.iter().sum::<f64>() / self.count() as f64
    }

    pub fn line(&self, name: &str) -> String {
        if self.count() == 0 {
            return format!("{name:<28} none measured");
        }
        format!(
            "{name:<28} n {:5}  bias {:+7.2}  rms {:6.2}  q95 {:6.2}  max {:7.2}  u {:6.2} um  coverage {:5.1} %",
            self.count(),
            1e3 * self.bias_mm(),
            1e3 * self.rms_mm(),
            1e3 * self.quantile_mm(0.95),
            1e3 * self.quantile_mm(1.0),
            1e3 * self.mean_u_mm(),
            100.0 * self.coverage()
        )
    }
}

/// Lines for all stations and by gap and radius.
pub fn by_group(title: &str, pairs: &[Pair]) -> String {
    let mut text = format!("{title}\n");
    let mut add = |name: String, keep: &dyn Fn(&Pair) -> bool| {
        let visible = || pairs.iter().filter(|pair| pair.truth.is_visible() && keep(pair));
        text += &format!("  gap   {}\n", Errors::of_gap(visible()).line(&name));
        text += &format!("  flush {}\n", Errors::of_flush(visible()).line(&name));
    };
    add("all, edges visible".into(), &|_| true);
    for radius_mm in radii(pairs) {
        add(format!("radius {radius_mm}"), &|pair| pair.truth.hem_radius_mm[0] == radius_mm);
    }
    for gap_mm in gaps(pairs) {
        add(format!("gap {gap_mm}"), &|pair| pair.truth.gap_tolerance.nominal_mm == gap_mm);
    }
    let visible = pairs.iter().filter(|pair| pair.truth.is_visible()).count();
    let measured = pairs.iter().filter(|pair| pair.truth.is_visible() && pair.reading.gap.is_ok()).count();
    let hidden: Vec<&Pair> = pairs.iter().filter(|pair| !pair.truth.is_visible()).collect();
    let quiet =
        hidden.iter().filter(|pair| pair.reading.gap.is_ok() && pair.reading.warnings.is_empty()).count();
    let hidden_measured = hidden.iter().filter(|pair| pair.reading.gap.is_ok()).count();
    text += &format!(
        "  visible {visible}, measured {measured}; hidden {}, measured {hidden_measured}, of these without a warning {quiet}\n",
        hidden.len()
    );
    let mut reasons = std::collections::BTreeMap::new();
    for pair in pairs.iter().filter(|pair| pair.truth.is_visible()) {
        if let Err(reason) = pair.reading.gap {
            *reasons.entry((reason, pair.truth.hem_radius_mm[0].to_string())).or_insert(0) += 1;
        }
    }
    text += &format!("  refused though visible, by radius: {reasons:?}\n");
    let others = || hidden.iter().copied();
    text += &format!("  gap   {}\n", Errors::of_gap(others()).line("edges hidden"));
    text
}

pub fn radii(pairs: &[Pair]) -> Vec<f64> {
    distinct(pairs.iter().map(|pair| pair.truth.hem_radius_mm[0]))
}

pub fn gaps(pairs: &[Pair]) -> Vec<f64> {
    distinct(pairs.iter().map(|pair| pair.truth.gap_tolerance.nominal_mm))
}

fn distinct(values: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    values
}

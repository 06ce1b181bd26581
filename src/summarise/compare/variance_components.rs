//! How large the errors of a comparison's rows are, learnt from the rows themselves.
//!
//! In: rows, the panels that may have moved, robust weights, what is expected. Out: [`Sizes`] with their doubt.
//! Method: residual maximum likelihood (Patterson and Thompson, Biometrika 58(3), 1971, 545–554), which reckons with what
//! the moves take out of the residuals, times a log-normal expectation of each size: two scans alone do not tell the constant of a seam
//! from a move. The most likely sizes are found by a pattern search over the logarithms; their doubt is the curvature there.
//! Rows that stand far off count by their robust weights, so that a dent is not taken for noise.
//! Does not find the moves: see `move_fit`.

use nalgebra::{DMatrix, DVector};

use super::error_model::{ErrorModel, Evidence, Moments, SIZES, Sizes};

/// Mean of r² w(r) over normal residuals, for the final width of the robust weights (by numerical integration): rows of
/// plain noise must not look quieter than they are.
const MEAN_WEIGHTED_SQUARE: f64 = 0.8132;
/// Standard deviation that a move has before any row is seen, mm: only keeps unseen directions finite.
const MOVE_SD_MM: f64 = 30.0;
/// Steps of the search over logarithms: from large to small.
const STEPS: [f64; 5] = [1.6, 0.8, 0.4, 0.2, 0.1];
/// Rounds through all sizes at each step.
const ROUNDS: usize = 6;
/// Rows are never believed to be surer than half of what is stated (the logarithm of a quarter of the variance): what looks
/// quieter may have been smoothed.
const LEAST_LOCAL_LOG: f64 = -1.386;
/// The place of that factor among a class's sizes.
const LOCAL_PLACE: usize = SIZES - 1;
/// Half width of the difference that tells the curvature.
const CURVATURE_STEP: f64 = 0.3;
/// A size is never less sure than this factor on its expectation says, nor surer than a twentieth.
const LEAST_LOG_U: f64 = 0.05;

/// The groups' evidence, kept so that only what changes is worked out again.
struct Search<'a> {
    model: &'a ErrorModel,
    moments: &'a [Moments],
    sizes: Vec<Sizes>,
    evidence: Vec<Evidence>,
}

/// The most likely sizes, given moments of the rows with robust weights.
pub(super) fn most_likely(model: &ErrorModel, moments: &[Moments]) -> Vec<Sizes> {
    let Some(mut search) = Search::start(model, moments) else { return model.sizes.clone() };
    let mut best = search.cost();
    for step in STEPS {
        for _ in 0..ROUNDS {
            let before = best;
            for class in 0..search.sizes.len() {
                for place in search.open(class) {
                    best = search.descend(class, place, step, best);
                }
            }
            if before - best < 1e-3 {
                break;
            }
        }
    }
    search.add_doubt(best);
    search.sizes
}

impl<'a> Search<'a> {
    fn start(model: &'a ErrorModel, moments: &'a [Moments]) -> Option<Self> {
        let mut search = Self { model, moments, sizes: model.sizes.clone(), evidence: Vec::new() };
        search.evidence = (0..moments.len())
            .map(|group| search.evidence_of(group, &search.sizes[model.groups[group].class]))
            .collect::<Option<_>>()?;
        Some(search)
    }

    /// The places of a class's sizes that are not taken for granted.
    fn open(&self, class: usize) -> Vec<usize> {
        (0..SIZES).filter(|place| self.model.expected[class].log_u[*place] > 0.0).collect()
    }

    fn evidence_of(&self, group: usize, sizes: &Sizes) -> Option<Evidence> {
        let prior = self.model.groups[group].prior(sizes);
        self.moments[group].evidence(&prior, sizes.local_factor() * MEAN_WEIGHTED_SQUARE)
    }

    /// −2 × logarithm of residual likelihood times expectation, but for a constant.
    fn cost(&self) -> f64 {
        let Some(first) = self.evidence.first() else { return 0.0 };
        let size = first.right.len();
        let mut information = DMatrix::from_diagonal_element(size, size, MOVE_SD_MM.powi(-2));
        let mut right = DVector::zeros(size);
        let mut cost = 0.0;
        for one in &self.evidence {
            information += &one.information;
            right += &one.right;
            cost += one.square + one.log_determinant;
        }
        if let Some(factor) = information.cholesky() {
            cost += 2.0 * factor.l_dirty().diagonal().iter().map(|entry| entry.ln()).sum::<f64>();
            cost -= right.dot(&factor.solve(&right));
        }
        cost + self
            .sizes
            .iter()
            .zip(&self.model.expected)
            .map(|(one, expected)| off(one, expected))
            .sum::<f64>()
    }

    /// The cost with one size changed; the change stays if it is better than `best`.
    fn try_out(&mut self, class: usize, place: usize, log: f64, best: f64) -> f64 {
        let old = self.sizes[class];
        let mut sizes = old;
        sizes.logs[place] = log;
        let groups: Vec<usize> =
            (0..self.moments.len()).filter(|group| self.model.groups[*group].class == class).collect();
        let Some(fresh) =
            groups.iter().map(|group| self.evidence_of(*group, &sizes)).collect::<Option<Vec<_>>>()
        else {
            return f64::INFINITY;
        };
        self.sizes[class] = sizes;
        let kept: Vec<Evidence> = groups
            .iter()
            .zip(fresh)
            .map(|(group, fresh)| std::mem::replace(&mut self.evidence[*group], fresh))
            .collect();
        let cost = self.cost();
        if cost >= best {
            self.sizes[class] = old;
            for (group, kept) in groups.iter().zip(kept) {
                self.evidence[*group] = kept;
            }
        }
        cost
    }

    fn descend(&mut self, class: usize, place: usize, step: f64, best: f64) -> f64 {
        let log = self.sizes[class].logs[place];
        let least = if place == LOCAL_PLACE { LEAST_LOCAL_LOG } else { f64::NEG_INFINITY };
        for sign in [1.0, -1.0] {
            let cost = self.try_out(class, place, (log + sign * step).max(least), best);
            if cost < best {
                return cost;
            }
        }
        best
    }

    /// Standard uncertainties of the logarithms from the curvature, each by itself.
    fn add_doubt(&mut self, best: f64) {
        for class in 0..self.sizes.len() {
            for place in self.open(class) {
                let log = self.sizes[class].logs[place];
                let [up, down] = [1.0, -1.0]
                    .map(|sign| self.try_out(class, place, log + sign * CURVATURE_STEP, f64::NEG_INFINITY));
                // The cost is −2 log, so its second derivative is twice the information.
                let information = (up + down - 2.0 * best) / CURVATURE_STEP.powi(2) / 2.0;
                let most = self.model.expected[class].log_u[place];
                let u = if information > 0.0 { information.powf(-0.5) } else { most };
                self.sizes[class].log_u[place] = u.clamp(LEAST_LOG_U, most.max(LEAST_LOG_U));
            }
        }
    }
}

fn off(sizes: &Sizes, expected: &Sizes) -> f64 {
    (0..SIZES)
        .filter(|place| expected.log_u[*place] > 0.0)
        .map(|place| ((sizes.logs[place] - expected.logs[place]) / expected.log_u[place]).powi(2))
        .sum()
}

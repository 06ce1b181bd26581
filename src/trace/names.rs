//! Names for what was found, and the same names again in later scans.
//!
//! In: found seams; a person's names, or an earlier plan. Out: renamed seams; panels named after the plan's. Units: mm.
//! Method: a seam keeps the name of the curve along which most of it lies.
//! Does not align: both scans must stand in one frame to a few millimetres.

use thiserror::Error;

use super::find::FoundSeams;
use crate::plan::{Plan, Side};

/// Two curves are the same seam when this share of their points lies this near to one another.
const SAME_MM: f64 = 15.0;
const SAME_SHARE: f64 = 0.6;

/// Why a name cannot be given.
#[derive(Debug, Error, PartialEq, Eq, Clone)]
pub enum NameError {
    #[error("name seam {number}: only seams 1 to {count} were found")]
    NoSuchSeam { number: usize, count: usize },
    #[error(
        "name seam {number} \"{name}\": use lower-case letters, digits and hyphens, as in hood-fender-left"
    )]
    BadName { number: usize, name: String },
    #[error("name two seams \"{name}\": each name may be given once")]
    Twice { name: String },
}

impl FoundSeams {
    /// Gives a person's names to seams by their numbers from 1.
    ///
    /// # Errors
    /// A number without seam, a name that plans do not allow, a name given twice.
    pub fn give_names(&mut self, names: &[(usize, String)]) -> Result<(), NameError> {
        let count = self.seams.len();
        for (number, name) in names {
            let letters =
                |letter: char| letter.is_ascii_lowercase() || letter.is_ascii_digit() || letter == '-';
            if name.is_empty() || !name.chars().all(letters) {
                return Err(NameError::BadName { number: *number, name: name.clone() });
            }
            if !(1..=count).contains(number) {
                return Err(NameError::NoSuchSeam { number: *number, count });
            }
            let is_taken =
                self.seams.iter().enumerate().any(|(other, seam)| other + 1 != *number && seam.name == *name);
            if is_taken {
                return Err(NameError::Twice { name: name.clone() });
            }
            self.seams[*number - 1].name.clone_from(name);
        }
        Ok(())
    }

    /// Takes over the names of an earlier plan's seams, and of the panels beside them, by position.
    pub fn keep_names(&mut self, earlier: &Plan) {
        let mut free: Vec<bool> = vec![true; earlier.seams.len()];
        for number in 0..self.seams.len() {
            let best = (0..earlier.seams.len())
                .filter(|other| free[*other])
                .map(|other| (other, self.shared_with(number, earlier, other)))
                .max_by(|left, right| left.1.total_cmp(&right.1))
                .filter(|(_, share)| *share > SAME_SHARE);
            let Some((other, _)) = best else { continue };
            free[other] = false;
            self.take_over(number, earlier, other);
        }
        self.make_names_unique();
    }

    fn shared_with(&self, number: usize, earlier: &Plan, other: usize) -> f64 {
        let points = &self.seams[number].points;
        let known = earlier.seams[other].curve.positions();
        let near = points
            .iter()
            .filter(|point| known.iter().any(|place| (place - point.point).norm() < SAME_MM))
            .count();
        near as f64 / points.len().max(1) as f64
    }

    fn take_over(&mut self, number: usize, earlier: &Plan, other: usize) {
        let known = &earlier.seams[other];
        self.seams[number].name.clone_from(&known.id.0);
        // Left and right agree when both curves run the same way.
        let points = &self.seams[number].points;
        let (Some(first), Some(last)) = (points.first(), points.last()) else { return };
        let middle = known.curve.frame_at(0.5 * known.curve.length_mm());
        let runs_same = (last.point - first.point).dot(&middle.along) > 0.0;
        let [left, right] = self.seams[number].panels;
        let sides = if runs_same { [Side::Left, Side::Right] } else { [Side::Right, Side::Left] };
        for (panel, side) in [left, right].into_iter().zip(sides) {
            self.panels[panel].name.clone_from(&known.panel_on(side).0);
        }
    }

    /// Numbers given by rank must not collide with names that were taken over.
    fn make_names_unique(&mut self) {
        for number in 1..self.seams.len() {
            while self.seams[..number].iter().any(|seam| seam.name == self.seams[number].name) {
                self.seams[number].name.push_str("-new");
            }
        }
        for number in 1..self.panels.len() {
            while self.panels[..number].iter().any(|panel| panel.name == self.panels[number].name) {
                self.panels[number].name.push_str("-new");
            }
        }
    }
}

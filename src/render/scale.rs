//! Straight scales from values to places in a picture, and round values for their ticks.
//!
//! In: a span of values and a span of places. Out: a [`Scale`]. Ticks are 1, 2 or 5 times a power of ten.
//! Does not draw.

/// Maps a span of values to a span of places; values beyond the span lie beyond the places.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    pub from: f64,
    pub to: f64,
    pub first_place: f64,
    pub last_place: f64,
}

impl Scale {
    /// A scale; an empty span of values maps all to the middle.
    #[must_use]
    pub const fn new(values: [f64; 2], places: [f64; 2]) -> Self {
        Self { from: values[0], to: values[1], first_place: places[0], last_place: places[1] }
    }

    /// Where a value lies.
    #[must_use]
    pub fn place(&self, value: f64) -> f64 {
        let span = self.to - self.from;
        let share = if span == 0.0 { 0.5 } else { (value - self.from) / span };
        self.first_place + (self.last_place - self.first_place) * share
    }

    /// Where a value lies, held at the ends.
    #[must_use]
    pub fn place_held(&self, value: f64) -> f64 {
        let (low, high) = (self.from.min(self.to), self.from.max(self.to));
        self.place(value.clamp(low, high))
    }

    /// Round values inside the span, not closer than `least_distance` in the picture.
    #[must_use]
    pub fn ticks(&self, least_distance: f64) -> Vec<f64> {
        let per_value = ((self.last_place - self.first_place) / (self.to - self.from)).abs();
        let wanted = least_distance / per_value;
        if !wanted.is_finite() || wanted <= 0.0 {
            return Vec::new();
        }
        let power = 10f64.powf(wanted.log10().floor());
        let step =
            [1.0, 2.0, 5.0, 10.0].map(|factor| factor * power).into_iter().find(|step| *step >= wanted);
        let step = step.unwrap_or(10.0 * power);
        let (low, high) = (self.from.min(self.to), self.from.max(self.to));
        let (first, last) = ((low / step - 1e-9).ceil() as i64, (high / step + 1e-9).floor() as i64);
        (first..=last).map(|index| index as f64 * step).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_far_enough_apart() {
        let scale = Scale::new([0.0, 1180.0], [50.0, 650.0]);
        assert_eq!(scale.ticks(60.0), vec![0.0, 200.0, 400.0, 600.0, 800.0, 1000.0]);
    }
}

//! Where a scan has holes: marker stickers on the outer surface, drop-outs over an edge.
//!
//! In: fault settings, length of the seam, a random source. Out: which surface places are missing.
//! Surface coordinates: distance along the true curve and arc length `q` from the hem's tangent point, mm.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::settings::Faults;

/// The holes of one seam.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Holes {
    stickers: Vec<Sticker>,
    dropouts: Vec<Dropout>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Sticker {
    panel: usize,
    along_mm: f64,
    q_mm: f64,
    radius_mm: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Dropout {
    panel: usize,
    from_mm: f64,
    to_mm: f64,
    width_mm: f64,
}

/// Band behind the hem within which stickers are placed, mm.
const STICKER_BAND_MM: std::ops::Range<f64> = 4.0..40.0;

impl Holes {
    /// Places holes at random: as many as asked for each metre, rounded.
    #[must_use]
    pub fn place(faults: &Faults, length_mm: f64, random: &mut ChaCha8Rng) -> Self {
        let count = |per_m: f64| (per_m * length_mm / 1000.0).round().max(0.0) as usize;
        let stickers = (0..count(faults.stickers_per_m))
            .map(|_| Sticker {
                panel: random.random_range(0..2),
                along_mm: random.random_range(0.0..length_mm),
                q_mm: -random.random_range(STICKER_BAND_MM),
                radius_mm: 0.5 * faults.sticker_diameter_mm,
            })
            .collect();
        let dropouts = (0..count(faults.dropouts_per_m))
            .map(|_| {
                let middle_mm = random.random_range(0.0..length_mm);
                Dropout {
                    panel: random.random_range(0..2),
                    from_mm: middle_mm - 0.5 * faults.dropout_length_mm,
                    to_mm: middle_mm + 0.5 * faults.dropout_length_mm,
                    width_mm: faults.dropout_width_mm,
                }
            })
            .collect();
        Self { stickers, dropouts }
    }

    /// True where the surface is missing from the scan.
    #[must_use]
    pub fn cover(&self, panel: usize, along_mm: f64, q_mm: f64) -> bool {
        self.dropouts.iter().any(|hole| hole.covers(panel, along_mm) && q_mm > -hole.width_mm)
            || self.stickers.iter().any(|hole| {
                let distance_sq_mm2 = (hole.along_mm - along_mm).powi(2) + (hole.q_mm - q_mm).powi(2);
                hole.panel == panel && q_mm < 0.0 && distance_sq_mm2 < hole.radius_mm.powi(2)
            })
    }

    /// True where the edge itself is missing.
    #[must_use]
    pub fn cover_edge(&self, panel: usize, along_mm: f64) -> bool {
        self.dropouts.iter().any(|hole| hole.covers(panel, along_mm))
    }
}

impl Dropout {
    fn covers(&self, panel: usize, along_mm: f64) -> bool {
        self.panel == panel && (self.from_mm..self.to_mm).contains(&along_mm)
    }
}

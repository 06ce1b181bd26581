//! A small made-up sheet with grooves for the tests of this module; its truth is exact by construction.

use nalgebra::Point3;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// A sheet over a rectangle, bent gently, with grooves along polylines in its plane.
#[derive(Clone)]
pub struct Sheet {
    pub width_mm: f64,
    pub height_mm: f64,
    pub spacing_mm: f64,
    pub noise_mm: f64,
    pub gap_mm: f64,
    pub hem_radius_mm: f64,
    pub wall_mm: f64,
    pub grooves: Vec<Vec<[f64; 2]>>,
    /// Round holes with rounded lips: centre and radius.
    pub holes: Vec<[f64; 3]>,
    /// Round places without data.
    pub stickers: Vec<[f64; 3]>,
    /// A raised rectangle: low corner, high corner.
    pub badges: Vec<[f64; 4]>,
    /// Ridge lines where the slope changes: x and change of slope.
    pub creases: Vec<[f64; 2]>,
    pub strays: usize,
    pub seed: u64,
}

impl Sheet {
    pub fn plain(width_mm: f64, height_mm: f64) -> Self {
        Self {
            width_mm,
            height_mm,
            spacing_mm: 0.5,
            noise_mm: 0.02,
            gap_mm: 4.0,
            hem_radius_mm: 1.5,
            wall_mm: 3.0,
            grooves: Vec::new(),
            holes: Vec::new(),
            stickers: Vec::new(),
            badges: Vec::new(),
            creases: Vec::new(),
            strays: 0,
            seed: 1,
        }
    }

    /// Height of the undisturbed skin.
    pub fn skin(&self, x: f64, y: f64) -> f64 {
        let crease: f64 = self.creases.iter().map(|[at, slope]| slope * (x - at).max(0.0)).sum();
        -(x - self.width_mm / 2.0).powi(2) / 2400.0 - (y - self.height_mm / 2.0).powi(2) / 3000.0 + crease
    }

    fn edge_distance(&self, x: f64, y: f64) -> (f64, [f64; 2]) {
        let mut best = (f64::INFINITY, [0.0; 2]);
        for groove in &self.grooves {
            for pair in groove.windows(2) {
                let (dx, dy) = (pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]);
                let share = ((x - pair[0][0]) * dx + (y - pair[0][1]) * dy) / (dx * dx + dy * dy);
                let share = share.clamp(0.0, 1.0);
                let foot = [pair[0][0] + share * dx, pair[0][1] + share * dy];
                let (ox, oy) = (x - foot[0], y - foot[1]);
                let reach = ox.hypot(oy);
                if reach - self.gap_mm / 2.0 < best.0 {
                    best = (reach - self.gap_mm / 2.0, [ox / reach.max(1e-9), oy / reach.max(1e-9)]);
                }
            }
        }
        for [cx, cy, radius] in &self.holes {
            let (ox, oy) = (x - cx, y - cy);
            let reach = ox.hypot(oy);
            if reach - radius < best.0 {
                best = (reach - radius, [ox / reach.max(1e-9), oy / reach.max(1e-9)]);
            }
        }
        best
    }

    pub fn points(&self) -> Vec<Point3<f64>> {
        let mut random = ChaCha8Rng::seed_from_u64(self.seed);
        let noise = Normal::new(0.0, self.noise_mm).unwrap();
        let mut points = Vec::new();
        let mut add = |x: f64, y: f64, z: f64, random: &mut ChaCha8Rng| {
            let hidden = self.stickers.iter().any(|[cx, cy, radius]| (x - cx).hypot(y - cy) < *radius);
            if !hidden {
                let mut shake = || noise.sample(random);
                points.push(Point3::new(x + shake(), y + shake(), z + shake()));
            }
        };
        let (columns, rows) =
            ((self.width_mm / self.spacing_mm) as usize, (self.height_mm / self.spacing_mm) as usize);
        for column in 0..columns {
            for row in 0..rows {
                let x = (column as f64 + random.random::<f64>()) * self.spacing_mm;
                let y = (row as f64 + random.random::<f64>()) * self.spacing_mm;
                let (distance, away) = self.edge_distance(x, y);
                let radius = self.hem_radius_mm;
                let badge = self.badges.iter().any(|b| x > b[0] && x < b[2] && y > b[1] && y < b[3]);
                let raised = if badge { 2.5 } else { 0.0 };
                if distance > radius {
                    add(x, y, self.skin(x, y) + raised, &mut random);
                } else if distance > 0.0 {
                    // Even spacing along the quarter round and the wall below it.
                    let share = distance / radius * (std::f64::consts::FRAC_PI_2 + self.wall_mm / radius);
                    let (inward, depth) = if share < std::f64::consts::FRAC_PI_2 {
                        (radius * share.sin(), radius * (1.0 - share.cos()))
                    } else {
                        (radius, radius + (share - std::f64::consts::FRAC_PI_2) * radius)
                    };
                    let (bx, by) = (x + away[0] * (radius - distance), y + away[1] * (radius - distance));
                    let (px, py) = (bx - away[0] * inward, by - away[1] * inward);
                    add(px, py, self.skin(bx, by) - depth, &mut random);
                }
            }
        }
        for b in &self.badges {
            let around = [
                [b[0], b[1], b[2], b[1]],
                [b[2], b[1], b[2], b[3]],
                [b[2], b[3], b[0], b[3]],
                [b[0], b[3], b[0], b[1]],
            ];
            for [x0, y0, x1, y1] in around {
                let steps = ((x1 - x0).hypot(y1 - y0) / self.spacing_mm) as usize;
                for step in 0..steps {
                    for level in 0..5 {
                        let share = step as f64 / steps as f64;
                        let (x, y) = (x0 + (x1 - x0) * share, y0 + (y1 - y0) * share);
                        add(x, y, self.skin(x, y) + 0.5 * f64::from(level), &mut random);
                    }
                }
            }
        }
        for _ in 0..self.strays {
            let x = random.random::<f64>() * self.width_mm;
            let y = random.random::<f64>() * self.height_mm;
            points.push(Point3::new(x, y, self.skin(x, y) + (random.random::<f64>() - 0.5) * 60.0));
        }
        points
    }

    /// Distance in the sheet's plane from a point to the nearest groove's middle.
    pub fn off_groove_mm(&self, point: &Point3<f64>) -> f64 {
        let mut only_grooves = self.clone();
        only_grooves.holes.clear();
        only_grooves.edge_distance(point.x, point.y).0 + self.gap_mm / 2.0
    }

    /// Three panels: a gently waving seam across the sheet and another that ends on it, with a bend of 20 mm radius.
    pub fn with_t_junction(width_mm: f64, height_mm: f64) -> Self {
        let mut sheet = Self::plain(width_mm, height_mm);
        let wave = (0..=60)
            .map(|step| {
                let x = width_mm * f64::from(step) / 60.0;
                [x, height_mm * 0.4 + 6.0 * (x / 60.0).sin()]
            })
            .collect();
        let foot_x = width_mm * 0.5;
        let foot = [foot_x, height_mm * 0.4 + 6.0 * (foot_x / 60.0).sin()];
        let turn_y = height_mm * 0.7;
        let mut branch = vec![foot, [foot_x, turn_y]];
        for step in 1..=12 {
            let angle = std::f64::consts::FRAC_PI_2 * f64::from(step) / 12.0;
            branch.push([foot_x + 20.0 * (1.0 - angle.cos()), turn_y + 20.0 * angle.sin()]);
        }
        branch.push([width_mm, turn_y + 20.0]);
        sheet.grooves = vec![wave, branch];
        sheet
    }
}

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
    /// Grooves that end inside a panel: vents, no seams.
    pub slots: Vec<Vec<[f64; 2]>>,
    /// Round holes with rounded lips: centre and radius.
    pub holes: Vec<[f64; 3]>,
    /// Round places without data.
    pub stickers: Vec<[f64; 3]>,
    /// A raised rectangle: low corner, high corner.
    pub badges: Vec<[f64; 4]>,
    /// Ridge lines where the slope changes: x and change of slope.
    pub creases: Vec<[f64; 2]>,
    /// Strips of tape: low and high corner; they stand 0.15 mm over the skin.
    pub tapes: Vec<[f64; 4]>,
    pub strays: usize,
    pub junctions: Vec<[f64; 2]>,
    /// Curvature of the skin along x and y, 1/mm.
    pub bend: [f64; 2],
    /// True panel at a place.
    pub panel_at: fn(f64, f64) -> usize,
    /// Where there is no data: the scan is partial.
    pub is_cut_off: fn(f64, f64) -> bool,
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
            slots: Vec::new(),
            holes: Vec::new(),
            stickers: Vec::new(),
            badges: Vec::new(),
            creases: Vec::new(),
            tapes: Vec::new(),
            strays: 0,
            junctions: Vec::new(),
            bend: [1.0 / 1200.0, 1.0 / 1500.0],
            panel_at: |_, _| 0,
            is_cut_off: |_, _| false,
            seed: 1,
        }
    }

    /// Height of the undisturbed skin.
    pub fn skin(&self, x: f64, y: f64) -> f64 {
        let crease: f64 = self.creases.iter().map(|[at, slope]| slope * (x - at).max(0.0)).sum();
        crease
            - 0.5 * self.bend[0] * (x - self.width_mm / 2.0).powi(2)
            - 0.5 * self.bend[1] * (y - self.height_mm / 2.0).powi(2)
    }

    fn edge_distance(&self, x: f64, y: f64) -> (f64, [f64; 2]) {
        let mut best = (f64::INFINITY, [0.0; 2]);
        for groove in self.grooves.iter().chain(&self.slots) {
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
            let hidden = self.stickers.iter().any(|[cx, cy, radius]| (x - cx).hypot(y - cy) < *radius)
                || (self.is_cut_off)(x, y);
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
                let taped = self.tapes.iter().any(|b| x > b[0] && x < b[2] && y > b[1] && y < b[3]);
                let raised = if badge { 2.5 } else { 0.0 } + if taped { 0.15 } else { 0.0 };
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
                    let slope_x = (self.skin(bx + 0.01, by) - self.skin(bx - 0.01, by)) / 0.02;
                    let slope_y = (self.skin(bx, by + 0.01) - self.skin(bx, by - 0.01)) / 0.02;
                    let down = depth / (1.0 + slope_x * slope_x + slope_y * slope_y).sqrt();
                    let z = self.skin(bx, by) + slope_x * (px - bx) + slope_y * (py - by);
                    add(px + slope_x * down, py + slope_y * down, z - down, &mut random);
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
        only_grooves.slots.clear();
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

    /// Places every millimetre along the grooves that the scan shows.
    pub fn groove_samples(&self) -> Vec<Point3<f64>> {
        let mut samples = Vec::new();
        for pair in self.grooves.iter().flat_map(|groove| groove.windows(2)) {
            let length_mm = (pair[1][0] - pair[0][0]).hypot(pair[1][1] - pair[0][1]);
            for step in 0..length_mm as usize {
                let share = step as f64 / length_mm;
                let x = pair[0][0] + (pair[1][0] - pair[0][0]) * share;
                let y = pair[0][1] + (pair[1][1] - pair[0][1]) * share;
                let inside = x > 0.0 && y > 0.0 && x < self.width_mm && y < self.height_mm;
                if inside && !(self.is_cut_off)(x, y) {
                    samples.push(Point3::new(x, y, self.skin(x, y)));
                }
            }
        }
        samples
    }
}

/// Front end seen from above: a hood between two fenders, meeting a grille panel in front.
fn coupe() -> Sheet {
    let mut sheet = Sheet::plain(640.0, 420.0);
    sheet.bend = [1.0 / 700.0, 1.0 / 1800.0];
    let left = (0..=30).map(|step| f64::from(step) * 14.0).map(|y| [150.0 - y * y / 4000.0, y]).collect();
    let right = (0..=30).map(|step| f64::from(step) * 14.0).map(|y| [490.0 + y * y / 4000.0, y]).collect();
    sheet.grooves = vec![left, right, vec![[148.4, 80.0], [491.6, 80.0]]];
    sheet.junctions = vec![[148.4, 80.0], [491.6, 80.0]];
    sheet.panel_at = |x, y| {
        if x < 150.0 - y * y / 4000.0 {
            0
        } else if x > 490.0 + y * y / 4000.0 {
            1
        } else {
            2 + usize::from(y > 80.0)
        }
    };
    sheet.creases = vec![[320.0, 0.12]];
    sheet.badges = vec![[280.0, 30.0, 350.0, 45.0]];
    sheet
}

/// Wide gaps, large radii, a flat bed and cab.
fn truck() -> Sheet {
    let mut sheet = Sheet::plain(600.0, 400.0);
    sheet.bend = [1.0 / 5000.0, 0.0];
    (sheet.gap_mm, sheet.hem_radius_mm, sheet.wall_mm) = (8.0, 3.0, 5.0);
    sheet.grooves = vec![vec![[300.0, 0.0], [300.0, 400.0]], vec![[300.0, 180.0], [600.0, 200.0]]];
    sheet.junctions = vec![[300.0, 180.0]];
    sheet.panel_at = |x, y| if x < 300.0 { 0 } else { 1 + usize::from(y > 180.0 + (x - 300.0) / 15.0) };
    sheet.holes = vec![[80.0, 80.0, 5.0], [120.0, 80.0, 5.0], [450.0, 300.0, 20.0]];
    sheet
}

/// Tight gaps, small radii: a flush modern body with four panels meeting in one place.
fn flush_body() -> Sheet {
    let mut sheet = Sheet::plain(500.0, 380.0);
    (sheet.gap_mm, sheet.hem_radius_mm, sheet.spacing_mm) = (2.5, 1.0, 0.45);
    sheet.grooves = vec![vec![[0.0, 190.0], [500.0, 190.0]], vec![[240.0, 0.0], [240.0, 380.0]]];
    sheet.junctions = vec![[240.0, 190.0]];
    sheet.panel_at = |x, y| usize::from(x > 240.0) + 2 * usize::from(y > 190.0);
    sheet
}

/// A curved door with a bend of 20 mm radius in its outline, and a vent slot.
fn door() -> Sheet {
    let mut sheet = Sheet::with_t_junction(500.0, 340.0);
    sheet.bend = [1.0 / 2500.0, 1.0 / 900.0];
    sheet.slots = vec![vec![[60.0, 280.0], [130.0, 280.0]]];
    sheet.junctions = vec![sheet.grooves[1][0]];
    sheet.panel_at = |x, y| {
        let wave = 340.0 * 0.4 + 6.0 * (x / 60.0).sin();
        let turn = 340.0 * 0.7;
        let inside =
            x > 250.0 && y < turn + 20.0 && !(x < 270.0 && y > turn && (x - 270.0).hypot(y - turn) > 20.0);
        if y < wave { 0 } else { 1 + usize::from(inside) }
    };
    sheet
}

/// An old car: a fender crown bolted to a body side; skins meet at 40°.
fn separate_fender() -> Sheet {
    let mut sheet = Sheet::plain(500.0, 360.0);
    sheet.bend = [0.0, 1.0 / 1500.0];
    (sheet.gap_mm, sheet.hem_radius_mm, sheet.wall_mm) = (5.0, 2.0, 3.0);
    sheet.creases = vec![[250.0, 0.73]];
    sheet.grooves = vec![vec![[250.0, 0.0], [250.0, 360.0]]];
    sheet.panel_at = |x, _| usize::from(x > 250.0);
    sheet
}

/// A tailgate inside a frame: one closed seam with rounded corners, a plate recess of holes and a badge on it.
fn tailgate() -> Sheet {
    let mut sheet = Sheet::plain(560.0, 420.0);
    sheet.bend = [1.0 / 1000.0, 1.0 / 1400.0];
    let mut outline = Vec::new();
    for (cx, cy, start) in
        [(420.0, 290.0, 0.0), (140.0, 290.0, 90.0), (140.0, 130.0, 180.0), (420.0, 130.0, 270.0)]
    {
        for step in 0..=10 {
            let angle = f64::to_radians(start + 9.0 * f64::from(step));
            outline.push([cx + 50.0 * angle.cos(), cy + 50.0 * angle.sin()]);
        }
    }
    outline.push(outline[0]);
    sheet.grooves = vec![outline];
    sheet.holes = vec![[240.0, 200.0, 4.0], [320.0, 200.0, 4.0]];
    sheet.badges = vec![[250.0, 260.0, 310.0, 275.0]];
    sheet.panel_at = |x, y| {
        let (dx, dy) = (((x - 280.0).abs() - 140.0).max(0.0), ((y - 210.0).abs() - 80.0).max(0.0));
        usize::from(dx.hypot(dy) < 50.0)
    };
    sheet
}

/// The bodies of the recovery table.
pub fn bodies() -> Vec<(&'static str, Sheet)> {
    vec![
        ("coupe", coupe()),
        ("truck", truck()),
        ("flush", flush_body()),
        ("door", door()),
        ("old fender", separate_fender()),
        ("tailgate", tailgate()),
    ]
}

/// A fault that a scan may have.
pub type Fault = (&'static str, fn(&mut Sheet));

/// The faults of the recovery table.
pub fn faults() -> Vec<Fault> {
    vec![
        ("none", |_| ()),
        ("noise 0.06", |sheet| sheet.noise_mm = 0.06),
        ("sparse", |sheet| sheet.spacing_mm = f64::min(0.58, 0.4 * sheet.hem_radius_mm)),
        ("stickers", |sheet| {
            // One over every seam's middle, some in the panels.
            let over: Vec<[f64; 3]> = sheet
                .grooves
                .iter()
                .map(|groove| {
                    let [from, to] = [groove[groove.len() / 3], groove[groove.len() / 3 + 1]];
                    [0.6 * from[0] + 0.4 * to[0], 0.6 * from[1] + 0.4 * to[1], 7.0]
                })
                .collect();
            sheet.stickers.extend(over);
            sheet.stickers.extend([[60.0, 40.0, 5.0], [200.0, 300.0, 5.0], [400.0, 130.0, 5.0]]);
        }),
        ("tape", |sheet| sheet.tapes = vec![[40.0, 30.0, 190.0, 55.0], [330.0, 230.0, 350.0, 330.0]]),
        ("strays", |sheet| sheet.strays = 4000),
        ("partial", |sheet| {
            sheet.is_cut_off = |x, y| x + 0.6 * y > 520.0 || (x - 20.0).hypot(y - 330.0) < 70.0
        }),
    ]
}

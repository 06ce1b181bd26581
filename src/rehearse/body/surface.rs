//! The smooth body that panels are cut from.
//!
//! In: bends of the spine (nose to rear) and of the cross-section (left to right). Out: points and tangents by surface
//! coordinates `a` (along the spine) and `b` (across), mm.
//! Frame: Car; x rearward, y to the right, z up.
//! Method: a translation surface: the cross-section, slid along the spine without turning, so that both tangents are unit
//! vectors. Each curve is given by its direction and integrated once (Simpson) into a table read by cubic Hermite pieces.

use nalgebra::{Point3, Vector3};

/// A gentle change of direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    pub at_mm: f64,
    pub width_mm: f64,
    pub turn_deg: f64,
}

/// A plane curve by arc length: direction = start + curvature · t + bends.
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneCurve {
    start_rad: f64,
    curvature_per_mm: f64,
    bends: Vec<Bend>,
    from_mm: f64,
    table: Vec<[f64; 2]>,
}

/// Step of the table: the Hermite error is step⁴/384 times a fourth derivative of some 1e-6, far below 1e-6 mm.
const STEP_MM: f64 = 1.0;

impl PlaneCurve {
    /// A curve from `from_mm` to `to_mm` that passes through (0, 0) at 0.
    #[must_use]
    pub fn new(start_deg: f64, radius_mm: f64, bends: &[Bend], [from_mm, to_mm]: [f64; 2]) -> Self {
        let mut curve = Self {
            start_rad: start_deg.to_radians(),
            curvature_per_mm: radius_mm.recip(),
            bends: bends.to_vec(),
            from_mm,
            table: Vec::new(),
        };
        let (mut place, mut at_mm) = ([0.0, 0.0], from_mm);
        curve.table.push(place);
        while at_mm < to_mm {
            let [one, two, three] = [at_mm, at_mm + 0.5 * STEP_MM, at_mm + STEP_MM]
                .map(|t_mm| curve.direction_rad(t_mm).sin_cos());
            place[0] += STEP_MM / 6.0 * (one.1 + 4.0 * two.1 + three.1);
            place[1] += STEP_MM / 6.0 * (one.0 + 4.0 * two.0 + three.0);
            curve.table.push(place);
            at_mm += STEP_MM;
        }
        let origin = curve.point(0.0);
        curve.table.iter_mut().for_each(|place| {
            place[0] -= origin[0];
            place[1] -= origin[1];
        });
        curve
    }

    #[must_use]
    pub fn direction_rad(&self, t_mm: f64) -> f64 {
        let bent = |bend: &Bend| {
            bend.turn_deg.to_radians() * 0.5 * (1.0 + ((t_mm - bend.at_mm) / bend.width_mm).tanh())
        };
        self.start_rad + self.curvature_per_mm * t_mm + self.bends.iter().map(bent).sum::<f64>()
    }

    /// From where to where the table reaches.
    #[must_use]
    pub fn extent_mm(&self) -> [f64; 2] {
        [self.from_mm, self.from_mm + STEP_MM * (self.table.len() as f64 - 1.0)]
    }

    /// The place at arc length `t_mm`.
    #[must_use]
    pub fn point(&self, t_mm: f64) -> [f64; 2] {
        let place = (t_mm - self.from_mm) / STEP_MM;
        let lower = (place.floor().max(0.0) as usize).min(self.table.len().saturating_sub(2));
        let s = place - lower as f64;
        let start_mm = self.from_mm + lower as f64 * STEP_MM;
        let (d0, d1) =
            (self.direction_rad(start_mm).sin_cos(), self.direction_rad(start_mm + STEP_MM).sin_cos());
        let blend = |p0: f64, p1: f64, m0: f64, m1: f64| {
            let (s2, s3) = (s * s, s * s * s);
            (2.0 * s3 - 3.0 * s2 + 1.0) * p0
                + (s3 - 2.0 * s2 + s) * m0 * STEP_MM
                + (3.0 * s2 - 2.0 * s3) * p1
                + (s3 - s2) * m1 * STEP_MM
        };
        let (p0, p1) = (self.table[lower], self.table[lower + 1]);
        [blend(p0[0], p1[0], d0.1, d1.1), blend(p0[1], p1[1], d0.0, d1.0)]
    }
}

/// Something on the surface, added along z.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Relief {
    /// A crease along `b = at_mm` where the surface beyond falls by `slope`; rounded over `width_mm`.
    Crease { at_mm: f64, slope: f64, width_mm: f64 },
    /// A raised round plate with edges of `edge_mm`.
    Badge { a_mm: f64, b_mm: f64, radius_mm: f64, height_mm: f64, edge_mm: f64 },
    /// A gentle bump or dent: Gaussian of width `width_mm`.
    Bump { a_mm: f64, b_mm: f64, width_mm: f64, height_mm: f64 },
}

impl Relief {
    fn height_mm(&self, a_mm: f64, b_mm: f64) -> f64 {
        match *self {
            Self::Crease { at_mm, slope, width_mm } => {
                let beyond = b_mm.abs() - at_mm;
                -0.5 * slope * (beyond + beyond.hypot(width_mm))
            }
            Self::Badge { a_mm: a0, b_mm: b0, radius_mm, height_mm, edge_mm } => {
                let inside_mm = radius_mm - (a_mm - a0).hypot(b_mm - b0);
                0.5 * height_mm * (1.0 + (inside_mm / edge_mm).tanh())
            }
            Self::Bump { a_mm: a0, b_mm: b0, width_mm, height_mm } => {
                let square = (a_mm - a0).powi(2) + (b_mm - b0).powi(2);
                height_mm * (-0.5 * square / width_mm.powi(2)).exp()
            }
        }
    }
}

/// Point and tangents of the body at (a, b).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Patch {
    pub point: Point3<f64>,
    pub along_a: Vector3<f64>,
    pub along_b: Vector3<f64>,
}

impl Patch {
    /// Unit outward normal.
    #[must_use]
    pub fn normal(&self) -> Vector3<f64> {
        self.along_a.cross(&self.along_b).normalize()
    }
}

/// The whole body's surface.
#[derive(Debug, Clone, PartialEq)]
pub struct BodySurface {
    /// (x, z) by `a`.
    pub spine: PlaneCurve,
    /// (y, −z) by `b`; its direction grows as the side falls away.
    pub cross: PlaneCurve,
    pub reliefs: Vec<Relief>,
}

/// Step for the slope of reliefs, mm: an error of step² times their third derivative, below 1e-8.
const SLOPE_STEP_MM: f64 = 1e-3;

impl BodySurface {
    /// Ranges of `a` and `b` that the surface is made for.
    #[must_use]
    pub fn extent_mm(&self) -> [[f64; 2]; 2] {
        [self.spine.extent_mm(), self.cross.extent_mm()]
    }

    /// Point and tangents at (a, b), with further reliefs of a panel's own.
    #[must_use]
    pub fn patch(&self, a_mm: f64, b_mm: f64, own: &[Relief]) -> Patch {
        let [x, z_spine] = self.spine.point(a_mm);
        let [y, fall] = self.cross.point(b_mm);
        let (sine_a, cosine_a) = self.spine.direction_rad(a_mm).sin_cos();
        let (sine_b, cosine_b) = self.cross.direction_rad(b_mm).sin_cos();
        let mut patch = Patch {
            point: Point3::new(x, y, z_spine - fall),
            along_a: Vector3::new(cosine_a, 0.0, sine_a),
            along_b: Vector3::new(0.0, cosine_b, -sine_b),
        };
        for relief in self.reliefs.iter().chain(own) {
            let at = |da: f64, db: f64| relief.height_mm(a_mm + da, b_mm + db);
            let h = SLOPE_STEP_MM;
            patch.point.z += at(0.0, 0.0);
            patch.along_a.z += (at(h, 0.0) - at(-h, 0.0)) / (2.0 * h);
            patch.along_b.z += (at(0.0, h) - at(0.0, -h)) / (2.0 * h);
        }
        patch
    }
}

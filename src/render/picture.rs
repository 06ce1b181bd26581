//! A picture as a list of shapes, from which PNG and SVG are made: one drawing, several kinds of paper.
//!
//! In: shapes in picture units (1/96 inch; y down). Out: a [`Picture`].
//! Colours are [`Ink`]s, so that the same picture fits light and dark paper.
//! Does not rasterise (`raster`) or write markup (`svg`).

use super::ink::Ink;

/// A place in the picture, picture units, y down.
pub type Place = [f64; 2];

/// Weight of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    Regular,
    Bold,
}

/// Which part of a text stands at its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    Start,
    Middle,
    End,
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    pub ink: Ink,
    pub width: f64,
    /// Length of dashes and of the spaces between them.
    pub dash: Option<[f64; 2]>,
}

impl Stroke {
    #[must_use]
    pub const fn new(ink: Ink, width: f64) -> Self {
        Self { ink, width, dash: None }
    }

    #[must_use]
    pub const fn dashed(mut self, on: f64, off: f64) -> Self {
        self.dash = Some([on, off]);
        self
    }
}

/// A rectangle, picture units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Area {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
}

impl Area {
    #[must_use]
    pub const fn new(x: f64, y: f64, width: f64, height: f64) -> Self {
        Self { x, y, width, height }
    }

    #[must_use]
    pub fn right(&self) -> f64 {
        self.x + self.width
    }

    #[must_use]
    pub fn bottom(&self) -> f64 {
        self.y + self.height
    }
}

/// A text to draw.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    pub at: Place,
    pub size: f64,
    pub weight: Weight,
    pub anchor: Anchor,
    pub ink: Ink,
    pub text: String,
}

/// One thing drawn.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    Path {
        points: Vec<Place>,
        is_closed: bool,
        fill: Option<Ink>,
        stroke: Option<Stroke>,
    },
    /// Many separate lines in one stroke: hatching, error bars, dots.
    Segments {
        lines: Vec<[Place; 2]>,
        stroke: Stroke,
    },
    Circle {
        centre: Place,
        radius: f64,
        fill: Option<Ink>,
        stroke: Option<Stroke>,
    },
    /// Many dots of the stroke's width.
    Dots {
        centres: Vec<Place>,
        stroke: Stroke,
    },
    /// Many rectangles in one ink.
    Boxes {
        areas: Vec<Area>,
        fill: Ink,
    },
    Label(Label),
}

/// The axis along a seam in a picture, by which a page finds the station that is pointed at.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamAxis {
    pub seam: String,
    /// Where the axis begins and ends in the picture, and the distances along the seam there, mm.
    pub places: [f64; 2],
    pub along_mm: [f64; 2],
    /// Top and bottom of what belongs to a station.
    pub rows: [f64; 2],
}

/// A drawing with the text that stands in for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    pub width: f64,
    pub height: f64,
    /// What the picture shows, in a sentence.
    pub description: String,
    pub shapes: Vec<Shape>,
    /// Where the picture runs along one seam.
    pub axis: Option<SeamAxis>,
}

/// Distance between hatch lines, and between dots.
const HATCH_STEP: f64 = 5.0;
const DOT_STEP: f64 = 6.0;

impl Picture {
    #[must_use]
    pub fn new(width: f64, height: f64, description: impl Into<String>) -> Self {
        Self { width, height, description: description.into(), shapes: Vec::new(), axis: None }
    }

    pub fn line(&mut self, from: Place, to: Place, stroke: Stroke) {
        self.shapes.push(Shape::Segments { lines: vec![[from, to]], stroke });
    }

    pub fn segments(&mut self, lines: Vec<[Place; 2]>, stroke: Stroke) {
        if !lines.is_empty() {
            self.shapes.push(Shape::Segments { lines, stroke });
        }
    }

    pub fn polyline(&mut self, points: Vec<Place>, stroke: Stroke) {
        if points.len() > 1 {
            self.shapes.push(Shape::Path { points, is_closed: false, fill: None, stroke: Some(stroke) });
        }
    }

    pub fn polygon(&mut self, points: Vec<Place>, fill: Ink) {
        if points.len() > 2 {
            self.shapes.push(Shape::Path { points, is_closed: true, fill: Some(fill), stroke: None });
        }
    }

    pub fn rect(&mut self, area: Area, fill: Ink) {
        self.polygon(
            vec![
                [area.x, area.y],
                [area.right(), area.y],
                [area.right(), area.bottom()],
                [area.x, area.bottom()],
            ],
            fill,
        );
    }

    pub fn disc(&mut self, centre: Place, radius: f64, fill: Ink) {
        self.shapes.push(Shape::Circle { centre, radius, fill: Some(fill), stroke: None });
    }

    pub fn ring(&mut self, centre: Place, radius: f64, stroke: Stroke) {
        self.shapes.push(Shape::Circle { centre, radius, fill: Some(Ink::Paper), stroke: Some(stroke) });
    }

    pub fn text(&mut self, at: Place, size: f64, anchor: Anchor, ink: Ink, text: impl Into<String>) {
        let text = text.into();
        self.shapes.push(Shape::Label(Label { at, size, weight: Weight::Regular, anchor, ink, text }));
    }

    pub fn bold(&mut self, at: Place, size: f64, anchor: Anchor, ink: Ink, text: impl Into<String>) {
        let text = text.into();
        self.shapes.push(Shape::Label(Label { at, size, weight: Weight::Bold, anchor, ink, text }));
    }

    /// A letter mark: a ring in the verdict's colour with a dark letter, readable without the colour.
    pub fn badge(&mut self, centre: Place, radius: f64, ink: Ink, letter: &str) {
        self.ring(centre, radius, Stroke::new(ink, radius * 0.3));
        let size = radius * 1.45;
        self.bold([centre[0], centre[1] + size * 0.35], size, Anchor::Middle, Ink::Text, letter);
    }

    /// Undecided: hatching at 45 degrees over an area.
    pub fn hatch(&mut self, area: Area) {
        let first = ((area.x + area.y) / HATCH_STEP).ceil() as i64;
        let last = ((area.right() + area.bottom()) / HATCH_STEP).floor() as i64;
        let lines = (first..=last)
            .filter_map(|index| {
                let sum = index as f64 * HATCH_STEP;
                let left = area.x.max(sum - area.bottom());
                let right = area.right().min(sum - area.y);
                (right - left > 0.3).then_some([[left, sum - left], [right, sum - right]])
            })
            .collect();
        self.segments(lines, Stroke::new(Ink::Undecided, 0.8));
    }

    /// Unseen: dotted paper over an area.
    pub fn dots(&mut self, area: Area) {
        let columns = (area.x / DOT_STEP).ceil() as i64..=(area.right() / DOT_STEP).floor() as i64;
        let lines = columns
            .flat_map(|column| {
                let rows = (area.y / DOT_STEP).ceil() as i64..=(area.bottom() / DOT_STEP).floor() as i64;
                rows.map(move |row| (column, row))
            })
            .map(|(column, row)| {
                let (x, y) = (column as f64 * DOT_STEP, row as f64 * DOT_STEP);
                [[x - 0.5, y], [x + 0.5, y]]
            })
            .collect();
        self.segments(lines, Stroke::new(Ink::Unseen, 1.0));
    }

    /// Dots as wide as the stroke.
    pub fn dust(&mut self, centres: Vec<Place>, stroke: Stroke) {
        if !centres.is_empty() {
            self.shapes.push(Shape::Dots { centres, stroke });
        }
    }

    /// A rectangle that joins the ones drawn just before in the same ink, to keep pages small.
    pub fn boxed(&mut self, area: Area, ink: Ink) {
        match self.shapes.last_mut() {
            Some(Shape::Boxes { areas, fill }) if *fill == ink => areas.push(area),
            _ => self.shapes.push(Shape::Boxes { areas: vec![area], fill: ink }),
        }
    }

    /// A dot that joins the ones drawn just before in the same ink and size.
    pub fn dot(&mut self, centre: Place, stroke: Stroke) {
        match self.shapes.last_mut() {
            Some(Shape::Dots { centres, stroke: last }) if *last == stroke => centres.push(centre),
            _ => self.shapes.push(Shape::Dots { centres: vec![centre], stroke }),
        }
    }

    /// An arrow head at `tip`, pointing along `direction` (any length but zero).
    pub fn arrow_head(&mut self, tip: Place, direction: Place, size: f64, ink: Ink) {
        let length = direction[0].hypot(direction[1]);
        if length > 0.0 {
            let [x, y] = [direction[0] / length * size, direction[1] / length * size];
            let wing = |side: f64| [tip[0] - x - y * 0.38 * side, tip[1] - y + x * 0.38 * side];
            self.polygon(vec![tip, wing(1.0), wing(-1.0)], ink);
        }
    }
}

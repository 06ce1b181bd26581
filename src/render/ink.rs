//! The colours of every picture and page, by what they mean rather than by what they look like.
//!
//! In: a role, such as "below tolerance, severe". Out: an sRGB colour for light or dark paper, or a style-sheet name.
//! Method: good is quiet (stone grey); below tolerance purple, above orange, deeper with severity. The six are a ladder of
//! lightness on which, at the same severity, orange is always a rung lighter than purple, so that grey prints tell them apart too.
//! The tests below hold contrast (WCAG 2.2); `check_values/colours.rs` holds distances for normal and simulated colour-blind eyes
//! and in grey.
//! Does not decide a verdict.

use crate::judge::Verdict;
use crate::plan::Tolerance;

/// An opaque sRGB colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rgb(pub u8, pub u8, pub u8);

/// Light paper (also print) or dark screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Theme {
    Light,
    Dark,
}

/// How far out of tolerance, as steps of the tolerance's width.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Out by up to a quarter of the tolerance's width.
    Slight,
    /// Out by up to one half.
    Clear,
    /// Out by more.
    Severe,
}

/// Limits between the severities, as shares of the tolerance's full width (our own choice).
const CLEAR_FROM: f64 = 0.25;
const SEVERE_FROM: f64 = 0.5;

/// What a colour is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Ink {
    /// The background.
    Paper,
    /// Numbers, words, letter marks.
    Text,
    /// Less important words; still readable.
    Muted,
    /// Thin lines of axes and frames.
    Hair,
    /// The tolerance band behind a line.
    Band,
    /// Filled areas that are good.
    Good,
    /// Lines, points and outlines that are good.
    GoodLine,
    /// Tight or low.
    Below(Severity),
    /// Wide or high.
    Above(Severity),
    /// Hatching of what is undecided.
    Undecided,
    /// Dots of what is unseen.
    Unseen,
    /// The first and the second of two panels or scans, where a picture compares them.
    First,
    Second,
    /// A panel's tint by hue (below [`Ink::HUES`]) and shade (0 lit to 7 turned away). Not in the style sheet: in pictures
    /// of their own only.
    Panel(u8, u8),
    /// A seam's line by hue; dark enough to be read on every tint. Not in the style sheet.
    Line(u8),
}

/// Tints of panels, lit: sand, sage, mist, clay, lilac, straw, sea.
const PANEL_TINTS: [Rgb; Ink::HUES as usize] = [
    Rgb(0xe6, 0xda, 0xc4),
    Rgb(0xcb, 0xdd, 0xc6),
    Rgb(0xc4, 0xd8, 0xe6),
    Rgb(0xea, 0xcf, 0xc8),
    Rgb(0xd9, 0xce, 0xe6),
    Rgb(0xe8, 0xe4, 0xb4),
    Rgb(0xbc, 0xe0, 0xd9),
];
/// Inks of seams: teal, crimson, indigo, moss, plum, umber, slate.
const SEAM_LINES: [Rgb; Ink::HUES as usize] = [
    Rgb(0x0e, 0x5d, 0x66),
    Rgb(0xa0, 0x1f, 0x38),
    Rgb(0x33, 0x3f, 0xa0),
    Rgb(0x3a, 0x62, 0x1c),
    Rgb(0x86, 0x26, 0x6f),
    Rgb(0x70, 0x43, 0x10),
    Rgb(0x33, 0x3a, 0x44),
];
/// Brightness of the shades, in hundredths.
const SHADES: [u16; 8] = [100, 98, 96, 94, 91, 88, 86, 84];

const fn panel_tint(hue: u8, shade: u8) -> Rgb {
    let Rgb(red, green, blue) = PANEL_TINTS[(hue % Ink::HUES) as usize];
    let share = SHADES[(shade % 8) as usize];
    Rgb(
        (red as u16 * share / 100) as u8,
        (green as u16 * share / 100) as u8,
        (blue as u16 * share / 100) as u8,
    )
}

impl Ink {
    /// How many tints of panels and inks of seams there are.
    pub const HUES: u8 = 7;

    /// Every ink, in the order of the style sheet.
    pub const ALL: [Self; 17] = [
        Self::Paper,
        Self::Text,
        Self::Muted,
        Self::Hair,
        Self::Band,
        Self::Good,
        Self::GoodLine,
        Self::Below(Severity::Slight),
        Self::Below(Severity::Clear),
        Self::Below(Severity::Severe),
        Self::Above(Severity::Slight),
        Self::Above(Severity::Clear),
        Self::Above(Severity::Severe),
        Self::Undecided,
        Self::Unseen,
        Self::First,
        Self::Second,
    ];

    /// The ink of a verdict; `severity` matters only where the verdict is out.
    #[must_use]
    pub const fn of_verdict(verdict: Verdict, severity: Severity) -> Self {
        match verdict {
            Verdict::Good => Self::GoodLine,
            Verdict::Tight | Verdict::Low => Self::Below(severity),
            Verdict::Wide | Verdict::High => Self::Above(severity),
            Verdict::Undecided => Self::Undecided,
            Verdict::Unseen => Self::Unseen,
        }
    }

    /// The name of the custom property in the style sheet, without its dashes.
    #[must_use]
    pub const fn css_name(self) -> &'static str {
        match self {
            Self::Paper => "paper",
            Self::Text => "text",
            Self::Muted => "muted",
            Self::Hair => "hair",
            Self::Band => "band",
            Self::Good => "good",
            Self::GoodLine => "good-line",
            Self::Below(Severity::Slight) => "below-slight",
            Self::Below(Severity::Clear) => "below-clear",
            Self::Below(Severity::Severe) => "below-severe",
            Self::Above(Severity::Slight) => "above-slight",
            Self::Above(Severity::Clear) => "above-clear",
            Self::Above(Severity::Severe) => "above-severe",
            Self::Undecided => "undecided",
            Self::Unseen => "unseen",
            Self::First => "first",
            Self::Second => "second",
            Self::Panel(..) => "band",
            Self::Line(_) => "text",
        }
    }

    /// The colour on light or dark paper.
    #[must_use]
    pub const fn rgb(self, theme: Theme) -> Rgb {
        match theme {
            Theme::Light => self.on_light(),
            Theme::Dark => self.on_dark(),
        }
    }

    const fn on_light(self) -> Rgb {
        match self {
            Self::Paper => Rgb(0xff, 0xfe, 0xfc),
            Self::Text => Rgb(0x1f, 0x1d, 0x1a),
            Self::Muted => Rgb(0x5b, 0x57, 0x50),
            Self::Hair => Rgb(0xd8, 0xd3, 0xca),
            Self::Band => Rgb(0xef, 0xec, 0xe5),
            Self::Good => Rgb(0xcf, 0xc9, 0xbe),
            Self::GoodLine => Rgb(0x8a, 0x84, 0x79),
            Self::Below(Severity::Slight) => Rgb(0x83, 0x63, 0xb3),
            Self::Below(Severity::Clear) => Rgb(0x5b, 0x35, 0x93),
            Self::Below(Severity::Severe) => Rgb(0x2d, 0x12, 0x56),
            Self::Above(Severity::Slight) => Rgb(0xcc, 0x74, 0x14),
            Self::Above(Severity::Clear) => Rgb(0xac, 0x3e, 0x02),
            Self::Above(Severity::Severe) => Rgb(0x6c, 0x26, 0x04),
            Self::Undecided => Rgb(0x5b, 0x57, 0x50),
            Self::Unseen => Rgb(0x8a, 0x84, 0x79),
            Self::First => Rgb(0x8a, 0x84, 0x79),
            Self::Second => Rgb(0x17, 0x5a, 0x63),
            Self::Panel(hue, shade) => panel_tint(hue, shade),
            Self::Line(hue) => SEAM_LINES[(hue % Self::HUES) as usize],
        }
    }

    const fn on_dark(self) -> Rgb {
        match self {
            Self::Paper => Rgb(0x18, 0x17, 0x16),
            Self::Text => Rgb(0xee, 0xea, 0xe3),
            Self::Muted => Rgb(0xb5, 0xaf, 0xa5),
            Self::Hair => Rgb(0x3d, 0x3a, 0x36),
            Self::Band => Rgb(0x27, 0x25, 0x22),
            Self::Good => Rgb(0x53, 0x4e, 0x47),
            Self::GoodLine => Rgb(0x97, 0x90, 0x85),
            Self::Below(Severity::Slight) => Rgb(0x8e, 0x70, 0xcd),
            Self::Below(Severity::Clear) => Rgb(0xaf, 0x96, 0xe8),
            Self::Below(Severity::Severe) => Rgb(0xd4, 0xc4, 0xf9),
            Self::Above(Severity::Slight) => Rgb(0xdc, 0x7f, 0x25),
            Self::Above(Severity::Clear) => Rgb(0xf9, 0xab, 0x49),
            Self::Above(Severity::Severe) => Rgb(0xff, 0xde, 0xa1),
            Self::Undecided => Rgb(0xb5, 0xaf, 0xa5),
            Self::Unseen => Rgb(0x97, 0x90, 0x85),
            Self::First => Rgb(0x97, 0x90, 0x85),
            Self::Second => Rgb(0x6f, 0xc3, 0xce),
            // These pictures are on light paper only.
            Self::Panel(hue, shade) => panel_tint(hue, shade),
            Self::Line(hue) => SEAM_LINES[(hue % Self::HUES) as usize],
        }
    }
}

/// How far a value lies outside its tolerance, mm: negative below, positive above, zero inside.
#[must_use]
pub fn excess_mm(value_mm: f64, tolerance: &Tolerance) -> f64 {
    if value_mm < tolerance.lower_mm() {
        value_mm - tolerance.lower_mm()
    } else if value_mm > tolerance.upper_mm() {
        value_mm - tolerance.upper_mm()
    } else {
        0.0
    }
}

/// The severity of a value against its tolerance. A tolerance without width makes every excess severe.
#[must_use]
pub fn severity(value_mm: f64, tolerance: &Tolerance) -> Severity {
    let width_mm = tolerance.minus_mm + tolerance.plus_mm;
    let excess_mm = excess_mm(value_mm, tolerance).abs();
    if excess_mm <= CLEAR_FROM * width_mm {
        Severity::Slight
    } else if excess_mm <= SEVERE_FROM * width_mm {
        Severity::Clear
    } else {
        Severity::Severe
    }
}

/// The letter mark of a verdict that is out, or a sign for the others.
#[must_use]
pub const fn mark(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Good => "",
        Verdict::Tight => "T",
        Verdict::Wide => "W",
        Verdict::Low => "L",
        Verdict::High => "H",
        Verdict::Undecided => "?",
        Verdict::Unseen => "–",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// WCAG 2.2, relative luminance and contrast ratio.
    fn luminance(Rgb(red, green, blue): Rgb) -> f64 {
        let linear = |value: u8| {
            let share = f64::from(value) / 255.0;
            if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue)
    }

    fn contrast(one: Rgb, other: Rgb) -> f64 {
        let (one, other) = (luminance(one), luminance(other));
        (one.max(other) + 0.05) / (one.min(other) + 0.05)
    }

    /// Okabe and Ito's orange and blue against white (2.2523, 5.1854): Wong, Nature Methods 8 (2011) 441 for the hex.
    #[test]
    fn contrast_agrees_with_values_of_a_published_palette() {
        let white = Rgb(255, 255, 255);
        assert!((contrast(Rgb(0xe6, 0x9f, 0x00), white) - 2.2523).abs() < 5e-5);
        assert!((contrast(Rgb(0x00, 0x72, 0xb2), white) - 5.1854).abs() < 5e-5);
    }

    /// WCAG 2.2, 1.4.11 for lines (3), 1.4.3 for the panels' names (4.5), on every tint and shade.
    #[test]
    fn seams_and_names_stand_out_on_every_panel() {
        for (hue, shade) in (0..Ink::HUES).flat_map(|hue| (0..8).map(move |shade| (hue, shade))) {
            let ground = Ink::Panel(hue, shade).rgb(Theme::Light);
            assert!(contrast(Ink::Text.rgb(Theme::Light), ground) >= 4.5, "{hue} {shade}");
            for line in 0..Ink::HUES {
                let found = contrast(Ink::Line(line).rgb(Theme::Light), ground);
                assert!(found >= 3.0, "line {line} on {hue} {shade}: {found:.2}");
            }
        }
    }

    /// WCAG 2.2, 1.4.3 (text, 4.5) and 1.4.11 (graphics that carry meaning, 3).
    #[test]
    fn words_and_marks_stand_out_on_light_and_dark_paper() {
        for theme in [Theme::Light, Theme::Dark] {
            for ground in [Ink::Paper, Ink::Band] {
                for ink in [Ink::Text, Ink::Muted] {
                    let found = contrast(ink.rgb(theme), ground.rgb(theme));
                    assert!(found >= 4.5, "{ink:?} on {ground:?}, {theme:?}: {found:.2}");
                }
            }
            for severity in [Severity::Slight, Severity::Clear, Severity::Severe] {
                for ink in [Ink::Below(severity), Ink::Above(severity), Ink::GoodLine, Ink::Undecided] {
                    let found = contrast(ink.rgb(theme), Ink::Paper.rgb(theme));
                    assert!(found >= 3.0, "{ink:?}, {theme:?}: {found:.2}");
                }
            }
        }
    }
}

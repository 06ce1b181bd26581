//! The inks of verdicts told apart by normal eyes, by colour-blind eyes and in grey.
//!
//! CIEDE2000 is checked against the 34 pairs of Sharma, Wu and Dalal (2005), sRGB to Lab against Okabe and Ito's palette.
//! Dichromats are simulated by Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color
//! vision deficiency", IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291, severity 1.0, on linear sRGB.

use super::check_table::read;
use shutline::render::{Ink, Rgb, Severity, Theme};

type Three = [f64; 3];
type Matrix = [Three; 3];

const NORMAL: Matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
const PROTANOPIA: Matrix =
    [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]];
const DEUTERANOPIA: Matrix =
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]];
/// Linear sRGB to XYZ and its white, D65: IEC 61966-2-1:1999.
const XYZ: Matrix = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]];
const WHITE: Three = [0.9505, 1.0, 1.089];

/// Least difference between any two inks that mean different things. Our own choice: about ten times the step of one unit
/// that an eye can just see side by side, so that two inks are told apart across a page.
const APART: f64 = 10.0;
/// Least difference between what is out and a good area, whatever the eyes.
const OUT_FROM_GOOD: f64 = 18.0;
/// Least difference in grey between one severity and the next.
const GREY_STEP: f64 = 8.0;

fn times(matrix: &Matrix, values: Three) -> Three {
    matrix.map(|row| row[0] * values[0] + row[1] * values[1] + row[2] * values[2])
}

fn linear(Rgb(red, green, blue): Rgb) -> Three {
    [red, green, blue].map(|value| {
        let share = f64::from(value) / 255.0;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    })
}

/// CIE 15:2004, 8.2.1.
fn lab(linear: Three) -> Three {
    let xyz = times(&XYZ, linear);
    let bent = [0, 1, 2].map(|axis| {
        let ratio: f64 = xyz[axis] / WHITE[axis];
        if ratio > (6.0f64 / 29.0).powi(3) { ratio.cbrt() } else { ratio * 841.0 / 108.0 + 4.0 / 29.0 }
    });
    [116.0 * bent[1] - 16.0, 500.0 * (bent[0] - bent[1]), 200.0 * (bent[1] - bent[2])]
}

/// The formula as Sharma, Wu and Dalal write it down, their equations 2 to 22; hues in degrees.
fn ciede2000(one: Three, other: Three) -> f64 {
    let mean_chroma = f64::midpoint(one[1].hypot(one[2]), other[1].hypot(other[2]));
    let seventh = |chroma: f64| (chroma.powi(7) / (chroma.powi(7) + 25f64.powi(7))).sqrt();
    let stretch = 1.5 - 0.5 * seventh(mean_chroma);
    let chroma = [one, other].map(|lab| (stretch * lab[1]).hypot(lab[2]));
    let hue = [one, other].map(|lab| lab[2].atan2(stretch * lab[1]).to_degrees().rem_euclid(360.0));
    let is_grey = chroma[0] * chroma[1] == 0.0;
    let turn = match hue[1] - hue[0] {
        _ if is_grey => 0.0,
        turn if turn > 180.0 => turn - 360.0,
        turn if turn < -180.0 => turn + 360.0,
        turn => turn,
    };
    let [lightness_step, chroma_step] = [other[0] - one[0], chroma[1] - chroma[0]];
    let hue_step = 2.0 * (chroma[0] * chroma[1]).sqrt() * (turn / 2.0).to_radians().sin();
    let sum = hue[0] + hue[1];
    let mean_hue = if is_grey {
        sum
    } else if (hue[0] - hue[1]).abs() <= 180.0 {
        sum / 2.0
    } else if sum < 360.0 {
        (sum + 360.0) / 2.0
    } else {
        (sum - 360.0) / 2.0
    };
    let cosine = |factor: f64, offset: f64| (factor * mean_hue + offset).to_radians().cos();
    let weight = 1.0 - 0.17 * cosine(1.0, -30.0) + 0.24 * cosine(2.0, 0.0) + 0.32 * cosine(3.0, 6.0)
        - 0.20 * cosine(4.0, -63.0);
    let from_middle_sq = (f64::midpoint(one[0], other[0]) - 50.0).powi(2);
    let mean_chroma = f64::midpoint(chroma[0], chroma[1]);
    let lightness_scale = 1.0 + 0.015 * from_middle_sq / (20.0 + from_middle_sq).sqrt();
    let [chroma_scale, hue_scale] = [1.0 + 0.045 * mean_chroma, 1.0 + 0.015 * mean_chroma * weight];
    let blue = 30.0 * (-((mean_hue - 275.0) / 25.0).powi(2)).exp();
    let twist = -(2.0 * blue).to_radians().sin() * 2.0 * seventh(mean_chroma);
    let [l, c, h] = [lightness_step / lightness_scale, chroma_step / chroma_scale, hue_step / hue_scale];
    (l * l + c * c + h * h + twist * c * h).sqrt()
}

#[test]
fn the_difference_formula_gives_the_published_pairs() {
    let table = read("ciede2000_sharma2005.csv");
    let column = |name: &str| table.numbers(name);
    let ones: Vec<_> = ["L1", "a1", "b1"].map(column).to_vec();
    let others: Vec<_> = ["L2", "a2", "b2"].map(column).to_vec();
    let published = column("dE00_published");
    assert_eq!(published.len(), 34);
    for (row, expected) in published.iter().enumerate() {
        let at = |columns: &[Vec<f64>]| [columns[0][row], columns[1][row], columns[2][row]];
        let found = ciede2000(at(&ones), at(&others));
        // Published to four decimals. Pair 14 stands on the 180° ambiguity: either mean hue is right.
        let is_right =
            (found - expected).abs() <= 0.5e-4 + 1e-9 || (row == 13 && (found - 4.7461).abs() < 1e-4);
        assert!(is_right, "pair {}: {found:.5}, published {expected}", row + 1);
    }
}

/// Okabe and Ito's palette (hex by B. Wong, Nature Methods 8 (2011) 441); its Lab values by another program.
#[test]
fn colours_become_the_lab_values_that_another_program_gives() {
    let table = read("palette_okabe_ito_crameri.csv");
    let lightness = ["L", "a", "b"].map(|name| table.numbers(name));
    for (row, hex) in table.texts("hex").iter().enumerate() {
        let part = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
        let found = lab(linear(Rgb(part(1), part(3), part(5))));
        for axis in 0..3 {
            // The other program's white and matrix carry more digits than IEC's: 0.03 at most.
            assert!((found[axis] - lightness[axis][row]).abs() < 0.05, "{hex}: {found:?}");
        }
    }
}

fn seen(ink: Ink, theme: Theme, eyes: &Matrix) -> Three {
    lab(times(eyes, linear(ink.rgb(theme))).map(|value| value.clamp(0.0, 1.0)))
}

fn grey(ink: Ink, theme: Theme) -> Three {
    let luminance = times(&XYZ, linear(ink.rgb(theme)))[1];
    lab([luminance; 3])
}

const SEVERITIES: [Severity; 3] = [Severity::Slight, Severity::Clear, Severity::Severe];

fn out_inks() -> Vec<Ink> {
    SEVERITIES.into_iter().flat_map(|severity| [Ink::Below(severity), Ink::Above(severity)]).collect()
}

#[test]
fn verdicts_are_told_apart_by_normal_and_by_colour_blind_eyes() {
    let mut inks = out_inks();
    inks.extend([Ink::Paper, Ink::Good, Ink::GoodLine]);
    for theme in [Theme::Light, Theme::Dark] {
        for (name, eyes) in [("normal", NORMAL), ("protanopia", PROTANOPIA), ("deuteranopia", DEUTERANOPIA)] {
            for (index, one) in inks.iter().enumerate() {
                for other in &inks[..index] {
                    let apart = ciede2000(seen(*one, theme, &eyes), seen(*other, theme, &eyes));
                    assert!(apart >= APART, "{one:?} and {other:?}, {theme:?}, {name}: {apart:.1}");
                }
            }
            for out in out_inks() {
                let apart = ciede2000(seen(out, theme, &eyes), seen(Ink::Good, theme, &eyes));
                assert!(apart >= OUT_FROM_GOOD, "{out:?} and good, {theme:?}, {name}: {apart:.1}");
            }
        }
    }
}

/// At the same severity orange is lighter than purple, by what an eye sees side by side in print; on a dark screen, which is
/// no print, by less. Between severities grey alone cannot tell the side: the letter at each stretch does.
#[test]
fn in_grey_above_is_lighter_than_below_at_the_same_severity() {
    for (theme, least) in [(Theme::Light, 8.0), (Theme::Dark, 5.0)] {
        for severity in SEVERITIES {
            let [below, above] = [Ink::Below(severity), Ink::Above(severity)].map(|ink| grey(ink, theme));
            let apart = ciede2000(below, above);
            assert!(apart >= least && above[0] > below[0], "{severity:?}, {theme:?}: {apart:.1}");
        }
    }
}

#[test]
fn in_grey_what_is_out_leaves_what_is_good_and_the_worse_is_further_from_the_paper() {
    for theme in [Theme::Light, Theme::Dark] {
        let from_paper = |ink: Ink| ciede2000(grey(ink, theme), grey(Ink::Paper, theme));
        for out in out_inks() {
            let apart = ciede2000(grey(out, theme), grey(Ink::Good, theme));
            assert!(apart >= OUT_FROM_GOOD, "{out:?} and good, {theme:?}: {apart:.1}");
        }
        for side in [Ink::Below as fn(Severity) -> Ink, Ink::Above] {
            for pair in SEVERITIES.windows(2) {
                let [milder, worse] = [side(pair[0]), side(pair[1])];
                let step = ciede2000(grey(milder, theme), grey(worse, theme));
                assert!(step >= GREY_STEP, "{milder:?} to {worse:?}, {theme:?}: {step:.1}");
                assert!(from_paper(worse) > from_paper(milder), "{worse:?}, {theme:?}");
            }
        }
    }
}

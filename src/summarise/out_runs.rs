//! Contiguous stretches of a seam that are out of tolerance on the same side: what a fitter works on.
//!
//! In: a seam's stations in order. Out: [`OutRun`]s in order. Units: mm along the seam.
//! A run goes from its first station to its last; undecided and unseen stations end it.
//! Does not join runs across stations that are not proved out.

use super::measurand_summary::Place;
use crate::judge::Verdict;

/// A stretch that is out of tolerance.
#[derive(Debug, Clone, PartialEq)]
pub struct OutRun {
    /// First and last station's distances along the seam, mm.
    pub from_mm: f64,
    pub to_mm: f64,
    /// One of tight, wide, low, high.
    pub verdict: Verdict,
    pub station_count: usize,
    /// The station that is furthest beyond its limit.
    pub worst: Place,
}

/// Finds the runs among places in station order, in which unseen stations are `None`.
pub(super) fn out_runs(places: &[Option<Place>]) -> Vec<OutRun> {
    let mut runs: Vec<OutRun> = Vec::new();
    let mut is_open = false;
    for place in places {
        let Some(place) = place.as_ref().filter(|place| place.verdict.is_out()) else {
            is_open = false;
            continue;
        };
        match runs.last_mut() {
            Some(run) if is_open && run.verdict == place.verdict => extend(run, place),
            _ => runs.push(OutRun {
                from_mm: place.along_mm,
                to_mm: place.along_mm,
                verdict: place.verdict,
                station_count: 1,
                worst: place.clone(),
            }),
        }
        is_open = true;
    }
    runs
}

fn extend(run: &mut OutRun, place: &Place) {
    run.to_mm = place.along_mm;
    run.station_count += 1;
    if place.beyond_mm > run.worst.beyond_mm {
        run.worst = place.clone();
    }
}

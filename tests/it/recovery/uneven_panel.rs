//! Panels that are uneven beside a few stations only: a ledge that comes near the seam at an angle.

use std::path::Path;

use shutline::files::read_plan;
use shutline::rehearse::{Rehearsal, Scanner};

use super::trial::rehearsed_pairs;

/// In a rehearsal by plan every seam's surfaces are their own, so that near corners, where two seams' strips meet, there is a
/// ledge of some 0.4 mm in the panel, at 30 mm from the seam and less. What lies before it tells the flush. 166 stations of
/// independent noise hold no error beyond 4 u; with the band that the rest of the seam has, those at the corners were 13 u off.
#[test]
fn a_ledge_beside_a_few_stations_does_not_move_their_flush() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let mut plan = read_plan(&folder.join("gannet.seams.toml")).unwrap();
    plan.seams.retain(|seam| ["hood-cowl", "hood-fender-left"].contains(&seam.id.0.as_str()));
    let settings = Rehearsal { seed: 41, scanner: Scanner::ordinary(), ..Rehearsal::default() };
    let pairs = rehearsed_pairs(&plan, &settings);
    assert!(pairs.len() > 150);
    for pair in pairs {
        let error_mm = pair.flush_error_mm().unwrap();
        let u_mm = pair.reading.flush.as_ref().unwrap().u_mm;
        assert!(error_mm.abs() < 4.0 * u_mm, "{error_mm} with u {u_mm} at {:?}", pair.reading.station);
        assert!(u_mm < 0.06, "{u_mm}: a shorter band costs some certainty, not all of it");
    }
}

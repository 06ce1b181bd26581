//! The flush of a fitted station by each method.
//!
//! In: two fitted sides in level axes (datum level at mid-gap). Out: the flush, mm, or why there is none.
//! Does not know uncertainties.

use super::reading::Reason;
use super::station::Fitted;
use crate::plan::FlushMethod;

/// The flush by the seam's method.
pub(super) fn flush_mm(fitted: &Fitted, datum: usize, method: FlushMethod) -> Result<f64, Reason> {
    let (Some(own), Some(other)) = (&fitted.sides[datum], &fitted.sides[1 - datum]) else {
        return Err(Reason::OnePanelMissing);
    };
    match method {
        FlushMethod::MidGap => Ok(other.skin.height_mm(0.0) - own.skin.height_mm(0.0)),
        FlushMethod::Straightedge { rest_mm, reach_mm } => {
            let (Some(own_arc), Some(other_arc)) = (&own.arc, &other.arc) else {
                return Err(Reason::EdgeNotSeen);
            };
            // From below the edge point back to the end of the rest: parallel to that chord, raised until it touches.
            let near_mm = own_arc.edge_mm;
            let far_mm = (own_arc.edge_mm + rest_mm).max(near_mm + 1.0);
            let near_height_mm = own.skin.height_mm(near_mm);
            let slope = (own.skin.height_mm(far_mm) - near_height_mm) / (far_mm - near_mm);
            let over_chord = |share: f64| {
                let q_mm = near_mm + share * (far_mm - near_mm);
                own.skin.height_mm(q_mm) - near_height_mm - slope * (q_mm - near_mm)
            };
            let raised_mm = (0..=20).map(|step| over_chord(f64::from(step) / 20.0)).fold(0.0, f64::max);
            let q_mm = other_arc.edge_mm + reach_mm;
            let edge_height_mm = near_height_mm + raised_mm - slope * (q_mm + near_mm);
            Ok((other.skin.height_mm(q_mm) - edge_height_mm) / slope.hypot(1.0))
        }
    }
}

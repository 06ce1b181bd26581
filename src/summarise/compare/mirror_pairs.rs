//! Which seams are each other's mirror image: as the plan's `[car]` says, otherwise by their names.
//!
//! In: the plan. Out: pairs of seams, the left one first, and the seams without a partner.
//! Method: a name's parts between hyphens; `left` and `right`, `lh` and `rh`, `l` and `r` stand for one another (common
//! practice, no source). A seam across the car, such as hood to cowl, has no partner.
//! Does not look at where the seams lie: see `mirror_plane`.

use crate::plan::{Plan, Seam, SeamId};

/// Parts of names for the left, and for the right at the same place.
const SIDES: [[&str; 2]; 3] = [["left", "right"], ["lh", "rh"], ["l", "r"]];

/// Pairs, left first, in the plan's order of the left ones; and what is left over.
pub(super) fn pairs_of(plan: &Plan) -> (Vec<[&Seam; 2]>, Vec<SeamId>) {
    let stated = plan.car.as_ref().map_or(&[][..], |car| &car.pairs);
    let mut pairs: Vec<[&Seam; 2]> = Vec::new();
    for [left, right] in stated {
        if let (Some(left), Some(right)) = (plan.seam(left), plan.seam(right)) {
            pairs.push([left, right]);
        }
    }
    for seam in &plan.seams {
        let is_taken = |id: &SeamId| pairs.iter().flatten().any(|taken| taken.id == *id);
        let Some(partner) = partner_name(&seam.id.0).and_then(|name| plan.seam(&SeamId(name))) else {
            continue;
        };
        if !is_taken(&seam.id) && !is_taken(&partner.id) {
            pairs.push([seam, partner]);
        }
    }
    let is_paired = |seam: &&Seam| pairs.iter().flatten().any(|paired| paired.id == seam.id);
    let alone = plan.seams.iter().filter(|seam| !is_paired(seam)).map(|seam| seam.id.clone()).collect();
    pairs.sort_by_key(|[left, _]| plan.seams.iter().position(|seam| seam.id == left.id));
    (pairs, alone)
}

/// The right-hand name for a left-hand one; `None` where the name has no part for the left.
pub(super) fn partner_name(name: &str) -> Option<String> {
    let mut is_left = false;
    let parts: Vec<&str> = name
        .split('-')
        .map(|part| match SIDES.iter().find(|[left, _]| *left == part) {
            Some([_, right]) => {
                is_left = true;
                *right
            }
            None => part,
        })
        .collect();
    is_left.then(|| parts.join("-"))
}

#[cfg(test)]
mod tests {
    use super::partner_name;

    #[test]
    fn names_of_the_left_have_a_partner() {
        for (left, right) in [
            ("hood-fender-left", Some("hood-fender-right")),
            ("door-front-lh-rear", Some("door-front-rh-rear")),
            ("fender-l-door-l", Some("fender-r-door-r")),
            ("hood-fender-right", None),
            ("hood-cowl", None),
            ("leftover", None),
        ] {
            assert_eq!(partner_name(left).as_deref(), right, "{left}");
        }
    }
}

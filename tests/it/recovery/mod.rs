//! Rehearsed scans with exact truth: bias, spread and coverage held to budgets.

mod advise_made;
mod advise_rehearsed;
mod align_bound;
mod align_parts;
mod align_peers;
mod align_plate;
mod align_readings;
mod align_refusals;
mod align_surface;
pub mod budgets;
mod compare_pairs;
mod compare_rehearsed;
mod found_bodies;
mod found_seams;
pub mod front_end;
mod junction;
mod kept_readings;
mod lineups;
mod methods;
mod real_plate;
mod rehearse_body;
pub mod rehearse_truth;
mod surface_form;
pub mod table;
pub mod trial;
mod uneven_noise;
mod uneven_panel;

//! Published numbers, each with its source.

mod align;
mod align_spheres;
mod check_table;
mod colours;
mod curve_frames;
mod decisions;
mod gauge_studies;
mod geometry_fits;
mod minimax;
mod nearest_neighbours;
mod statistics;

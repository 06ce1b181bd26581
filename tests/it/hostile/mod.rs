//! Hostile surroundings: faults of the disk. Hostile files are in `reading/`.

mod disk;

//! Cut, bit-flipped, empty, huge-count and NaN files: an error in time, never a panic.

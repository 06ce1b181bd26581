//! The virtual scanner: a plan with wanted gap and flush becomes a practice scan with exact truth.
//!
//! In: a plan and rehearsal settings. Out: points or triangles and the truth of every station. Units: mm.
//! Shares no code with measuring.

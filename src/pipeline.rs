//! The table of contents: calls the stages in order, in parallel over parts, seams and stations, and nothing else.
//!
//! In: a scan source and a plan. Out: judged seams and their summaries. Units: mm.
//! Results are put together in plan order, so they do not depend on the number of threads.
//! Does not touch the disk.

//! What to move, what to shim, what to reshape: the small moves that bring most of a panel's seams into tolerance.
//!
//! In: the plan with its adjusters, judged seams, the panels that may move. Out: an [`Advice`]: settings, predicted seams,
//! and what no move cures. Units: mm, rad; frame: Car.
//! ```text
//! judged seams ─ rows ─▶ effect of every setting on every reading ─ minimax ─▶ settings ─ exact ─▶ predicted seams
//!                                                                                           │
//!                                                                               edges ◀─────┘  what must change in metal
//! ```
//! A setting moves its panel as a stiff body: at each way of an adjuster, displacement · direction = setting (`knobs`).
//! Readings change by `x · d(edge)` (gap, x from datum to other panel) and `n · d(mid-gap)` (flush), the datum panel with
//! the opposite sign (`effect`); the linear programme works on that, and `exact` re-reads the moved edges and surfaces, twice.
//! What is minimised, in this order: the worst deviation in units of the tolerance's half width, the sum of what lies
//! outside, the mean deviation of stretches, the travel (`minimax`). Directions that the readings do not tell are named and not moved.
//! Does not bend panels: a hood that is pressed down at one corner flexes, and this does not know by how much.

mod advice;
mod edges;
mod effect;
mod exact;
mod knobs;
mod minimax;
mod order;
mod predict;
mod rows;
mod settings;
mod solve;
mod standing;
mod work;

pub use advice::{
    Advice, AdviseError, AdviseSettings, Aim, Need, PanelAdvice, Score, Setting, SettingSource, TravelEnd,
    Unseen, advise,
};
pub use edges::{EdgeChange, EdgeRun, SeamEdges};
pub use exact::{PanelPose, changes_exactly};
pub use minimax::{Band, Caps, KnobRange, Line, MinimaxError, MoveProblem, MoveSolution, Stage};
pub use standing::Standing;

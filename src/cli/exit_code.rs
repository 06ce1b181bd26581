//! What the program's end means to other programs.

use std::process::ExitCode;

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// 0: every verdict is good (or the command has no verdicts and did its work).
    AllGood,
    /// 1: measured, and not every verdict is good.
    NotAllGood,
    /// 2: the job could not be done.
    Failed,
}

impl Outcome {
    /// From "is everything good?".
    pub const fn of(is_all_good: bool) -> Self {
        if is_all_good { Self::AllGood } else { Self::NotAllGood }
    }
}

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        Self::from(match outcome {
            Outcome::AllGood => 0,
            Outcome::NotAllGood => 1,
            Outcome::Failed => 2,
        })
    }
}

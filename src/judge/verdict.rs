//! The words of the shop for a reading, and readings with them attached.

use crate::measure::{Estimate, Reason, StationReading};
use crate::plan::{JudgedState, SeamId, Tolerance};

/// What a reading means against its tolerance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    Good,
    Tight,
    Wide,
    Low,
    High,
    Undecided,
    Unseen,
}

impl Verdict {
    /// Every verdict, in the order in which tables list them.
    pub const ALL: [Self; 7] =
        [Self::Good, Self::Tight, Self::Wide, Self::Low, Self::High, Self::Undecided, Self::Unseen];

    /// The word in files and on screens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Tight => "tight",
            Self::Wide => "wide",
            Self::Low => "low",
            Self::High => "high",
            Self::Undecided => "undecided",
            Self::Unseen => "unseen",
        }
    }

    /// True for a proved departure from tolerance.
    #[must_use]
    pub const fn is_out(self) -> bool {
        matches!(self, Self::Tight | Self::Wide | Self::Low | Self::High)
    }
}

/// The two things that are measured at a station.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Measurand {
    Gap,
    Flush,
}

impl Measurand {
    /// Both, in the order in which tables list them.
    pub const BOTH: [Self; 2] = [Self::Gap, Self::Flush];

    /// The word in files and on screens.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Gap => "gap",
            Self::Flush => "flush",
        }
    }

    /// The verdict below tolerance.
    #[must_use]
    pub const fn below(self) -> Verdict {
        match self {
            Self::Gap => Verdict::Tight,
            Self::Flush => Verdict::Low,
        }
    }

    /// The verdict above tolerance.
    #[must_use]
    pub const fn above(self) -> Verdict {
        match self {
            Self::Gap => Verdict::Wide,
            Self::Flush => Verdict::High,
        }
    }
}

/// One measurand of a [`JudgedReading`], by reference.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgedValue<'a> {
    pub measured: Result<&'a Estimate, Reason>,
    pub tolerance: Tolerance,
    pub verdict: Verdict,
    /// Probability that the true value lies within tolerance; `None` where unseen.
    pub conformance: Option<f64>,
}

/// A station as it is to be expected once the film still to come is on; see [`crate::judge::finish_change`].
#[derive(Debug, Clone, PartialEq)]
pub struct FinishedReading {
    pub gap: Result<Estimate, Reason>,
    pub flush: Result<Estimate, Reason>,
    pub gap_verdict: Verdict,
    pub flush_verdict: Verdict,
    pub gap_conformance: Option<f64>,
    pub flush_conformance: Option<f64>,
}

/// A station's reading with its verdicts and the tolerances they were made against.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedReading {
    pub reading: StationReading,
    pub gap_tolerance: Tolerance,
    pub flush_tolerance: Tolerance,
    pub gap_verdict: Verdict,
    pub flush_verdict: Verdict,
    /// Probability that the true gap lies within tolerance; `None` where unseen.
    pub gap_conformance: Option<f64>,
    /// Probability that the true flush lies within tolerance; `None` where unseen.
    pub flush_conformance: Option<f64>,
    /// `None` where the plan has no film to come. The fields above are those of the scanned state.
    pub finished: Option<FinishedReading>,
    /// Which state counts: [`Self::value`] gives it.
    pub judged_state: JudgedState,
}

impl JudgedReading {
    /// Everything about one of the two measurands, in the state that the plan judges.
    #[must_use]
    pub fn value(&self, measurand: Measurand) -> JudgedValue<'_> {
        self.value_in(self.judged_state, measurand)
    }

    /// Everything about one of the two measurands in a state; as scanned where no film is to come.
    #[must_use]
    pub fn value_in(&self, state: JudgedState, measurand: Measurand) -> JudgedValue<'_> {
        match (state, &self.finished) {
            (JudgedState::Finished, Some(finished)) => self.finished_value(finished, measurand),
            _ => self.scanned_value(measurand),
        }
    }

    fn finished_value<'a>(&self, finished: &'a FinishedReading, measurand: Measurand) -> JudgedValue<'a> {
        match measurand {
            Measurand::Gap => JudgedValue {
                measured: finished.gap.as_ref().map_err(|reason| *reason),
                tolerance: self.gap_tolerance,
                verdict: finished.gap_verdict,
                conformance: finished.gap_conformance,
            },
            Measurand::Flush => JudgedValue {
                measured: finished.flush.as_ref().map_err(|reason| *reason),
                tolerance: self.flush_tolerance,
                verdict: finished.flush_verdict,
                conformance: finished.flush_conformance,
            },
        }
    }

    fn scanned_value(&self, measurand: Measurand) -> JudgedValue<'_> {
        match measurand {
            Measurand::Gap => JudgedValue {
                measured: self.reading.gap.as_ref().map_err(|reason| *reason),
                tolerance: self.gap_tolerance,
                verdict: self.gap_verdict,
                conformance: self.gap_conformance,
            },
            Measurand::Flush => JudgedValue {
                measured: self.reading.flush.as_ref().map_err(|reason| *reason),
                tolerance: self.flush_tolerance,
                verdict: self.flush_verdict,
                conformance: self.flush_conformance,
            },
        }
    }
}

/// A seam's judged readings in station order.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedSeam {
    pub seam: SeamId,
    pub stations: Vec<JudgedReading>,
    /// Points (or cut mesh samples) that lay in this seam's corridor.
    pub points_used: u64,
    /// Median distance between neighbouring points near the seam, mm.
    pub spacing_mm: Option<f64>,
}

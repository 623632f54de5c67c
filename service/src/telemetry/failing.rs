//! Says of something that fails again and again: once, then now and then, and when it is over.

use crate::domain::base::clock::Stopwatch;
use std::time::Duration;

/// The time between two remarks while it fails. Judgement.
const BETWEEN: Duration = Duration::from_mins(10);

/// Whether it fails, and what was lost by it.
#[derive(Debug, Default)]
pub struct Failing {
    lost: u64,
    said: Option<Stopwatch>,
}

/// What is worth a line of log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Remark {
    /// It fails.
    Fails {
        /// What was lost since it began to fail.
        lost: u64,
    },
    /// It works again.
    Recovered {
        /// What was lost meanwhile.
        lost: u64,
    },
}

impl Failing {
    /// Notes an attempt with something that is lost if it failed.
    pub fn note(&mut self, worked: bool, carried: u64) -> Option<Remark> {
        if worked {
            let Self { lost, said } = std::mem::take(self);
            return said.map(|_| Remark::Recovered { lost });
        }
        self.lost += carried;
        if self.said.is_some_and(|since| since.elapsed() < BETWEEN) {
            return None;
        }
        self.said = Some(Stopwatch::start());
        Some(Remark::Fails { lost: self.lost })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_when_it_begins_and_one_when_it_ends() {
        let mut failing = Failing::default();
        assert_eq!(failing.note(true, 3), None);
        assert_eq!(failing.note(false, 3), Some(Remark::Fails { lost: 3 }));
        assert_eq!(failing.note(false, 4), None);
        assert_eq!(failing.note(true, 5), Some(Remark::Recovered { lost: 7 }));
        assert_eq!(failing.note(true, 5), None);
        assert_eq!(failing.note(false, 1), Some(Remark::Fails { lost: 1 }));
    }
}

//! The day on which each path passed its limit.

/// First-passage days of a number of paths.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Passages {
    by_path: Vec<Option<i32>>,
    /// The days that were reached, in order.
    sorted: Vec<i32>,
}

impl Passages {
    pub(super) fn new(by_path: Vec<Option<i32>>) -> Passages {
        let mut sorted: Vec<i32> = by_path.iter().copied().flatten().collect();
        sorted.sort_unstable();
        Passages { by_path, sorted }
    }

    /// The day number of each path. `None` where the horizon came first.
    pub fn by_path(&self) -> &[Option<i32>] {
        &self.by_path
    }

    /// The first day number by which at least the share `p` of the paths has passed. `None` beyond the horizon.
    ///
    /// `p` is above 0 and at most 1.
    pub fn quantile(&self, p: f64) -> Option<i32> {
        let needed = (p * self.by_path.len() as f64).ceil().max(1.0) as usize;
        self.sorted.get(needed - 1).copied()
    }

    /// Share of the paths that have passed by a day number, 0 to 1. NaN without paths.
    pub fn share_by(&self, number: i32) -> f64 {
        let passed = self.sorted.partition_point(|t| *t <= number);
        passed as f64 / self.by_path.len() as f64
    }

    /// Mean day number. `None` when a path did not pass, because its day is unknown.
    pub fn mean(&self) -> Option<f64> {
        if self.sorted.len() < self.by_path.len() || self.sorted.is_empty() {
            return None;
        }
        let sum: f64 = self.sorted.iter().map(|t| f64::from(*t)).sum();
        Some(sum / self.sorted.len() as f64)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn open_paths_count_as_later_than_all() {
        let passages = Passages::new(vec![Some(30), None, Some(10), Some(20)]);
        assert_eq!(passages.quantile(0.25), Some(10));
        assert_eq!(passages.quantile(0.26), Some(20));
        assert_eq!(passages.quantile(0.75), Some(30));
        assert_eq!(passages.quantile(0.76), None);
        assert_eq!((passages.share_by(9), passages.share_by(20), passages.share_by(999)), (0.0, 0.5, 0.75));
        assert_eq!(passages.mean(), None);
        assert_eq!(Passages::new(vec![Some(1), Some(4)]).mean(), Some(2.5));
        assert_eq!(Passages::new(Vec::new()).quantile(0.5), None);
    }
}

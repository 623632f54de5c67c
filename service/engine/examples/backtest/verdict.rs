//! How good the dates of a duty were, with standard errors from resampled clusters.
//!
//! An error is the likely date less the true day. A true day lies in the window when the chance before it and half the
//! chance on it add up to 0.1 to 0.9. Where one day holds much chance this share need not be 0.8 for an honest
//! forecast. The share with ties split counts how much of the true day's own chance lies between 0.1 and 0.9 (Czado,
//! Gneiting & Held 2009, Biometrics 65:1254), and that is 0.8 for every honest forecast.
//!
//! Clusters are drawn with replacement, each record's among themselves. Clusters that follow one another see some of
//! the same rain. So the true errors are at least as large.

use super::score::{Estimate, WINDOW, next};

const DRAWS: usize = 500;

/// The figures, in the order of [`Verdict::figures`].
pub const FIGURES: usize = 6;
pub const MEDIAN: usize = 0;
pub const ABSOLUTE: usize = 1;
pub const WITHIN: usize = 2;
pub const SPLIT: usize = 3;
pub const EARLY: usize = 4;
pub const LATE: usize = 5;

/// One number for each figure.
pub type Figures = [f64; FIGURES];
/// The figures of each record in one draw, and of all together at the end.
type Drawn = Vec<Option<Figures>>;

/// A forecast beside its true days.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// The dry spell or the year of the origin.
    pub cluster: i32,
    /// Errors of the likely date, one for each true day.
    pub errors: Vec<i32>,
    /// Means over the true days. The median stays empty.
    means: Figures,
    /// Whether the forecast had no likely date within the longest time.
    pub undated: bool,
}

impl Seen {
    /// Compares a likely day number with the true ones. `by` is the chance by a day number.
    ///
    /// Without a likely day, the longest time counts.
    pub fn new<E>(
        cluster: i32,
        likely: Option<i32>,
        longest: i32,
        days: &[i32],
        mut by: impl FnMut(i32) -> Result<f64, E>,
    ) -> Result<Seen, E> {
        let said = likely.unwrap_or(longest);
        let errors: Vec<i32> = days.iter().map(|day| said - day).collect();
        let mut means = [0.0; FIGURES];
        let share = 1.0 / days.len() as f64;
        let mut last = (0, (0.0, 0.0));
        for (day, error) in days.iter().zip(&errors) {
            if last.0 != *day {
                last = (*day, (by(day - 1)?, by(*day)?));
            }
            let (before, through) = last.1;
            let place = f64::midpoint(before, through);
            let flag = |is: bool| share * f64::from(u8::from(is));
            means[ABSOLUTE] += share * f64::from(error.abs());
            means[WITHIN] += flag((WINDOW[0]..=WINDOW[2]).contains(&place));
            means[SPLIT] += share * inside(before, through);
            means[EARLY] += flag(place < WINDOW[0]);
            means[LATE] += flag(place > WINDOW[2]);
        }
        Ok(Seen { cluster, errors, means, undated: likely.is_none() })
    }
}

/// The share of a day's chance that lies in the window.
fn inside(before: f64, through: f64) -> f64 {
    let chance = through - before;
    if chance > 0.0 {
        (through.min(WINDOW[2]) - before.max(WINDOW[0])).max(0.0) / chance
    } else {
        f64::from(u8::from((WINDOW[0]..=WINDOW[2]).contains(&before)))
    }
}

/// The figures of one record, or of all together.
#[derive(Debug, Clone)]
pub struct Verdict {
    pub origins: usize,
    pub clusters: usize,
    /// Each with its standard error, which is NaN for a single cluster.
    pub figures: [Estimate; FIGURES],
    /// Distance from the figures of all records in standard errors. NaN for these themselves.
    pub distance: Figures,
}

/// What was seen, by cluster. Clusters of one record have numbers in a row.
#[derive(Debug, Default)]
struct Sample {
    /// Sums and counts by cluster.
    sums: Vec<(Figures, f64)>,
    /// Errors with their cluster and their weight, smallest first.
    errors: Vec<(i32, usize, f64)>,
}

impl Sample {
    fn new(seen: &[&[Seen]]) -> Sample {
        let mut sample = Sample::default();
        for record in seen {
            let mut last = None;
            for one in *record {
                if last.replace(one.cluster) != Some(one.cluster) {
                    sample.sums.push(([0.0; FIGURES], 0.0));
                }
                let cluster = sample.sums.len() - 1;
                let (sums, count) = &mut sample.sums[cluster];
                sums.iter_mut().zip(one.means).for_each(|(sum, mean)| *sum += mean);
                *count += 1.0;
                let weight = 1.0 / one.errors.len() as f64;
                sample.errors.extend(one.errors.iter().map(|error| (*error, cluster, weight)));
            }
        }
        sample.errors.sort_by_key(|(error, cluster, _)| (*error, *cluster));
        sample.errors.dedup_by(|later, kept| {
            let same = (later.0, later.1) == (kept.0, kept.1);
            if same {
                kept.2 += later.2;
            }
            same
        });
        sample
    }

    /// The figures when each cluster counts so many times. `None` when nothing counts.
    fn figures(&self, times: &[f64]) -> Option<Figures> {
        let (mut figures, mut count) = ([0.0; FIGURES], 0.0);
        for ((sums, n), times) in self.sums.iter().zip(times) {
            figures.iter_mut().zip(sums).for_each(|(figure, sum)| *figure += times * sum);
            count += times * n;
        }
        if count <= 0.0 {
            return None;
        }
        let mut figures = figures.map(|sum| sum / count);
        figures[MEDIAN] = self.median(times, count);
        Some(figures)
    }

    fn median(&self, times: &[f64], count: f64) -> f64 {
        // Weights such as 1/24 add up to a half only nearly.
        let slack = 1e-9 * count;
        let (mut passed, mut lower) = (0.0, None);
        for (error, cluster, weight) in &self.errors {
            passed += weight * times[*cluster];
            if times[*cluster] > 0.0 && passed >= count / 2.0 - slack {
                let first = *lower.get_or_insert(*error);
                if passed > count / 2.0 + slack {
                    return f64::midpoint(f64::from(first), f64::from(*error));
                }
            }
        }
        lower.map_or(f64::NAN, f64::from)
    }
}

/// The verdict on each record and on all together. Origins of one cluster must follow one another.
pub fn verdicts(records: &[Vec<Seen>]) -> (Vec<Option<Verdict>>, Option<Verdict>) {
    let each: Vec<Sample> = records.iter().map(|record| Sample::new(&[record])).collect();
    let all = Sample::new(&records.iter().map(Vec::as_slice).collect::<Vec<_>>());
    let mut state = 0_u64;
    let mut drawn: Vec<Drawn> = Vec::with_capacity(DRAWS);
    for _ in 0..DRAWS {
        let mut times = vec![0.0; all.sums.len()];
        let (mut from, mut of_draw) = (0, Vec::with_capacity(each.len() + 1));
        for record in &each {
            let n = record.sums.len();
            for _ in 0..n {
                times[from + (next(&mut state) % n as u64) as usize] += 1.0;
            }
            of_draw.push(record.figures(&times[from..from + n]));
            from += n;
        }
        of_draw.push(all.figures(&times));
        drawn.push(of_draw);
    }
    let joint = all.figures(&vec![1.0; all.sums.len()]);
    let verdict = |sample: &Sample, at: usize, origins: usize| {
        let whole = sample.figures(&vec![1.0; sample.sums.len()])?;
        let joint = joint?;
        let error = |pick: &dyn Fn(&Drawn) -> Option<f64>| {
            if sample.sums.len() < 2 {
                return f64::NAN;
            }
            deviation(&drawn.iter().filter_map(pick).collect::<Vec<_>>())
        };
        let figures = std::array::from_fn(|k| Estimate {
            mean: whole[k],
            error: error(&|of_draw| Some(of_draw[at]?[k])),
        });
        let distance = std::array::from_fn(|k| {
            (whole[k] - joint[k]) / error(&|of_draw| Some(of_draw[at]?[k] - of_draw.last()?.as_ref()?[k]))
        });
        Some(Verdict { origins, clusters: sample.sums.len(), figures, distance })
    };
    let rows = each.iter().enumerate().map(|(at, sample)| verdict(sample, at, records[at].len())).collect();
    let origins = records.iter().map(Vec::len).sum();
    (rows, verdict(&all, each.len(), origins))
}

fn deviation(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (values.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / values.len() as f64).sqrt()
}

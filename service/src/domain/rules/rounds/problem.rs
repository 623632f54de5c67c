//! The problem that rounds solve, in numbers alone: no store, no clock, no names.
//!
//! Jobs stand at places and each has an interval of days on which it may be done. A trip does some jobs on one day. Costs
//! are whole numbers, so that sums are exact and two plans can be compared without doubt.

/// A cost in thousandths of the caller's own unit.
pub type Cost = u64;

/// Stands for "not allowed". [`MOST_JOBS`] of them can be added up; no plan within [`MOST_RATE`], [`MOST_JOBS`] and
/// [`MOST_DAYS`] costs as much, nor does sixteen times a plan, which is what the bound adds up.
pub const NEVER: Cost = Cost::MAX / 4096;

/// The most that a trip, a stop or a day may cost.
pub const MOST_RATE: Cost = 100_000_000;

/// The most jobs of a problem.
pub const MOST_JOBS: usize = 2000;

/// The most days from the first to the last.
pub const MOST_DAYS: i64 = 184;

/// One thing to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// Where, as a number of the caller's.
    pub place: usize,
    /// How long it takes, in minutes.
    pub minutes: u32,
    /// The first day it may be done on, as an index into the days.
    pub first: usize,
    /// The last such day; never before the first.
    pub last: usize,
    /// The day it is best done on, counted as the days are; it need not be one of them.
    pub aim: i64,
}

/// What things cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rates {
    /// A trip.
    pub trip: Cost,
    /// Every place of a trip beyond the first; never more than a trip.
    pub stop: Cost,
    /// A day that a job is done before its aim.
    pub early: Cost,
    /// A day that it is done after it.
    pub late: Cost,
}

/// Which places may share a trip: those that are near each other, pair by pair.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Near(Vec<Vec<usize>>);

impl Near {
    /// None of so many places is near another.
    pub fn none(places: usize) -> Self {
        Self(vec![Vec::new(); places])
    }

    /// Makes two places near each other.
    pub fn join(&mut self, one: usize, other: usize) {
        for (from, to) in [(one, other), (other, one)] {
            if let Err(gap) = self.0[from].binary_search(&to) {
                self.0[from].insert(gap, to);
            }
        }
    }

    /// Whether both may be in one trip.
    pub fn both(&self, one: usize, other: usize) -> bool {
        one == other || self.0[one].binary_search(&other).is_ok()
    }

    /// The places near one, itself left out.
    pub fn of(&self, place: usize) -> &[usize] {
        &self.0[place]
    }
}

/// The whole problem.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The days on which somebody works, rising.
    pub days: Vec<i64>,
    /// What is to be done.
    pub jobs: Vec<Job>,
    /// Which places may share a trip.
    pub near: Near,
    /// What things cost.
    pub rates: Rates,
    /// The most minutes of a trip; a job that takes longer goes alone.
    pub most_minutes: u32,
}

/// Jobs done on one day by one trip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trip {
    /// The day, as an index into the days.
    pub day: usize,
    /// The jobs, rising.
    pub jobs: Vec<usize>,
}

/// What a trip or a plan costs, by cause.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Parts {
    /// Trips.
    pub trips: Cost,
    /// Further places.
    pub stops: Cost,
    /// Days early.
    pub early: Cost,
    /// Days late.
    pub late: Cost,
}

impl Parts {
    /// All of it.
    pub const fn sum(self) -> Cost {
        self.trips + self.stops + self.early + self.late
    }
}

impl std::ops::AddAssign for Parts {
    fn add_assign(&mut self, other: Self) {
        self.trips += other.trips;
        self.stops += other.stops;
        self.early += other.early;
        self.late += other.late;
    }
}

/// What it costs that a job is not done on its best day.
struct OffAim {
    early: Cost,
    late: Cost,
}

impl Problem {
    /// What doing a job on a day costs. None when it may not be done then.
    fn off_aim(&self, job: usize, day: usize) -> Option<OffAim> {
        let job = &self.jobs[job];
        if day < job.first || day > job.last {
            return None;
        }
        let days = self.days[day] - job.aim;
        Some(if days < 0 {
            OffAim { early: days.unsigned_abs() * self.rates.early, late: 0 }
        } else {
            OffAim { early: 0, late: days.unsigned_abs() * self.rates.late }
        })
    }

    /// The same as one sum; [`NEVER`] when it may not be done then.
    pub fn day_cost(&self, job: usize, day: usize) -> Cost {
        self.off_aim(job, day).map_or(NEVER, |cost| cost.early + cost.late)
    }

    /// What a trip costs; none when one of its jobs may not be done on its day.
    pub fn parts(&self, trip: &Trip) -> Option<Parts> {
        let further = self.places(&trip.jobs).len().saturating_sub(1) as Cost;
        let mut parts =
            Parts { trips: self.rates.trip, stops: further * self.rates.stop, ..Parts::default() };
        for job in &trip.jobs {
            let cost = self.off_aim(*job, trip.day)?;
            parts.early += cost.early;
            parts.late += cost.late;
        }
        Some(parts)
    }

    /// What trips cost together; [`NEVER`] when one of them is not allowed.
    pub fn cost(&self, trips: &[Trip]) -> Cost {
        let costs = trips.iter().map(|trip| self.parts(trip).map_or(NEVER, Parts::sum));
        costs.fold(0, Cost::saturating_add)
    }

    /// Minutes of jobs together.
    pub fn minutes(&self, jobs: &[usize]) -> u64 {
        jobs.iter().map(|job| u64::from(self.jobs[*job].minutes)).sum()
    }

    /// Whether jobs find room in one trip: within its minutes, or one job alone.
    pub fn fit(&self, jobs: &[usize]) -> bool {
        jobs.len() <= 1 || self.minutes(jobs) <= u64::from(self.most_minutes)
    }

    /// The places of jobs, rising, each once.
    pub fn places(&self, jobs: &[usize]) -> Vec<usize> {
        let mut places: Vec<usize> = jobs.iter().map(|job| self.jobs[*job].place).collect();
        places.sort_unstable();
        places.dedup();
        places
    }

    /// The days on which all of these jobs may be done, first and last; empty when the first is after the last.
    pub fn common(&self, jobs: &[usize]) -> (usize, usize) {
        let first = jobs.iter().map(|job| self.jobs[*job].first).max().unwrap_or(0);
        let last = jobs.iter().map(|job| self.jobs[*job].last).min().unwrap_or(0);
        (first, last)
    }

    /// The day on which jobs cost least together, the earliest of equals, and what they cost then.
    pub fn best_day(&self, jobs: &[usize]) -> Option<(usize, Cost)> {
        let (first, last) = self.common(jobs);
        (first..=last)
            .map(|day| (day, jobs.iter().map(|job| self.day_cost(*job, day)).sum()))
            .min_by_key(|(day, cost)| (*cost, *day))
    }
}

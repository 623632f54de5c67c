//! The problem that rounds solve, in numbers only: no store, no clock, no names.
//!
//! Each job is at a place and has an interval of days on which it may be done. A trip does some jobs on one day.
//! Costs are whole numbers, so that sums are exact and two plans can be compared exactly.

/// A cost in thousandths of the caller's own unit.
pub type Cost = u64;

/// Means "not allowed". The sum of [`MOST_JOBS`] of them still fits in the type. A plan within [`MOST_RATE`],
/// [`MOST_JOBS`] and [`MOST_DAYS`] costs less. Sixteen times its cost, which the bound adds up, is also less.
pub const NEVER: Cost = Cost::MAX / 4096;

/// The most that a trip, a stop or a day may cost.
pub const MOST_RATE: Cost = 100_000_000;

/// The most jobs of a problem.
pub const MOST_JOBS: usize = 2000;

/// The most days from the first to the last.
pub const MOST_DAYS: i64 = 184;

/// A task to be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// The number of its place.
    pub place: usize,
    /// How long it takes, in minutes.
    pub minutes: u32,
    /// The first day it may be done on, as an index into the days.
    pub first: usize,
    /// The last such day; never before the first.
    pub last: usize,
    /// The best day to do it, as a day number. It need not be one of the days.
    pub aim: i64,
}

/// What things cost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rates {
    /// A trip.
    pub trip: Cost,
    /// Every place of a trip after the first; never more than a trip.
    pub stop: Cost,
    /// A day that a job is done before its aim.
    pub early: Cost,
    /// A day that a job is done after its aim.
    pub late: Cost,
}

/// Which places may share a trip: those that are near each other, checked for every two.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Near(Vec<Vec<usize>>);

impl Near {
    /// This many places, none near another.
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

    /// The places near one place, without the place itself.
    pub fn of(&self, place: usize) -> &[usize] {
        &self.0[place]
    }
}

/// The whole problem.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// The working days, in order.
    pub days: Vec<i64>,
    /// The jobs to be done.
    pub jobs: Vec<Job>,
    /// Which places may share a trip.
    pub near: Near,
    /// What things cost.
    pub rates: Rates,
    /// The most minutes of a trip. A longer job has a trip of its own.
    pub most_minutes: u32,
}

/// Jobs done on one day by one trip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trip {
    /// The day, as an index into the days.
    pub day: usize,
    /// The jobs, in order.
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
    /// The sum of all causes.
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

/// What it costs to do a job on another day than its best one.
struct OffAim {
    early: Cost,
    late: Cost,
}

impl Problem {
    /// What a job costs on a day; none if it may not be done then.
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

    /// The same as one sum; [`NEVER`] if it may not be done then.
    pub fn day_cost(&self, job: usize, day: usize) -> Cost {
        self.off_aim(job, day).map_or(NEVER, |cost| cost.early + cost.late)
    }

    /// What a trip costs; none if one of its jobs may not be done on its day.
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

    /// What several trips cost; [`NEVER`] if one of them is not allowed.
    pub fn cost(&self, trips: &[Trip]) -> Cost {
        let costs = trips.iter().map(|trip| self.parts(trip).map_or(NEVER, Parts::sum));
        costs.fold(0, Cost::saturating_add)
    }

    /// Total minutes of these jobs.
    pub fn minutes(&self, jobs: &[usize]) -> u64 {
        jobs.iter().map(|job| u64::from(self.jobs[*job].minutes)).sum()
    }

    /// Whether these jobs fit in one trip: within its minutes, or one job alone.
    pub fn fit(&self, jobs: &[usize]) -> bool {
        jobs.len() <= 1 || self.minutes(jobs) <= u64::from(self.most_minutes)
    }

    /// The places of these jobs, in order, each once.
    pub fn places(&self, jobs: &[usize]) -> Vec<usize> {
        let mut places: Vec<usize> = jobs.iter().map(|job| self.jobs[*job].place).collect();
        places.sort_unstable();
        places.dedup();
        places
    }

    /// The days on which all of these jobs may be done, first and last. There is none if the first is after the
    /// last.
    pub fn common(&self, jobs: &[usize]) -> (usize, usize) {
        let first = jobs.iter().map(|job| self.jobs[*job].first).max().unwrap_or(0);
        let last = jobs.iter().map(|job| self.jobs[*job].last).min().unwrap_or(0);
        (first, last)
    }

    /// The day on which these jobs cost least together, and that cost. Of equal days it is the earliest.
    pub fn best_day(&self, jobs: &[usize]) -> Option<(usize, Cost)> {
        let (first, last) = self.common(jobs);
        (first..=last)
            .map(|day| (day, jobs.iter().map(|job| self.day_cost(*job, day)).sum()))
            .min_by_key(|(day, cost)| (*cost, *day))
    }
}

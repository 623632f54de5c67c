//! Measures what the forecast of one whole system costs.
#![expect(clippy::unwrap_used, reason = "a benchmark that cannot be set up should stop")]
#![expect(clippy::print_stdout, reason = "a benchmark says what it measured")]

mod support;

use std::hint::black_box;

use criterion::{BatchSize, Criterion};
use eavesward_engine::{Catchment, Gauge};

use support::peer;
use support::scenario::{Scenario, TODAY, ask};

/// One more system under a gauge, one system by itself, and each of the parts.
fn systems(c: &mut Criterion, scenario: &Scenario) {
    let gauge = Gauge::new(scenario.record.clone(), None);
    let catchment = Catchment::new(&gauge, &scenario.roof).unwrap();
    let mut group = c.benchmark_group("system");
    group.bench_function("shared", |b| b.iter(|| black_box(scenario.shared(&gauge, &catchment))));
    group.bench_function("alone", |b| b.iter(|| black_box(scenario.alone())));
    group.bench_function("gauge", |b| b.iter(|| black_box(Gauge::new(scenario.record.clone(), None))));
    group.bench_function("catchment", |b| {
        b.iter(|| black_box(Catchment::new(&gauge, &scenario.roof).unwrap()));
    });
    group.finish();
    let mut group = c.benchmark_group("count");
    for duty in &scenario.duties {
        group.bench_function(duty.name, |b| b.iter(|| black_box(scenario.meter(duty, &gauge, &catchment))));
    }
    group.finish();
    let mut group = c.benchmark_group("answer");
    for duty in &scenario.duties {
        let meter = scenario.meter(duty, &gauge, &catchment);
        group.bench_function(duty.name, |b| b.iter(|| black_box(ask(&meter, duty))));
    }
    group.finish();
}

/// One new reading at the end of ten years: added to the sums, or with everything recomputed.
fn readings(c: &mut Criterion, scenario: &Scenario) {
    let first = (TODAY.plus(-1), 4.2);
    let second = (TODAY, 7.9);
    let grown = || {
        let mut gauge = Gauge::new(scenario.record.clone(), None);
        let mut catchment = Catchment::new(&gauge, &scenario.roof).unwrap();
        // The gauge already has room for the next reading, as nearly always.
        gauge.push([first]);
        catchment.extend(&gauge).unwrap();
        (gauge, catchment)
    };
    let (mut whole, _) = grown();
    whole.push([second]);
    let record = whole.record().clone();
    let mut group = c.benchmark_group("reading");
    group.bench_function("pushed", |b| {
        b.iter_batched(
            grown,
            |(mut gauge, mut catchment)| {
                gauge.push([second]);
                catchment.extend(&gauge).unwrap();
                (gauge, catchment)
            },
            BatchSize::SmallInput,
        );
    });
    group.bench_function("anew", |b| {
        b.iter_batched(
            || record.clone(),
            |record| {
                let gauge = Gauge::new(record, None);
                let catchment = Catchment::new(&gauge, &scenario.roof).unwrap();
                (gauge, catchment)
            },
            BatchSize::SmallInput,
        );
    });
    group.finish();
}

fn main() {
    let scenario = Scenario::new();
    let mut criterion = Criterion::default().configure_from_args();
    systems(&mut criterion, &scenario);
    readings(&mut criterion, &scenario);
    criterion.final_summary();
    // With a filter, only the named benchmarks run. Cargo itself adds `--bench`.
    let mut filters = std::env::args().skip(1).filter(|arg| !arg.starts_with("--"));
    if filters.all(|filter| filter == "peer") {
        peer::compare(&scenario);
    }
}

//! Runs the same forecast in NumPy and SciPy, for comparison.

use std::fmt::Write as _;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use eavesward_engine::exposure::orientation_factor;
use eavesward_engine::{Answer, Catchment, Day, Exposure, Gauge, Outcome};

use super::scenario::{Duty, HORIZON_DAYS, Scenario, TODAY};

/// Names the Python interpreter. It needs numpy and scipy.
const INTERPRETER: &str = "EAVESWARD_PYTHON";

/// The peer's answer for one duty.
struct Theirs {
    name: String,
    accumulated: f64,
    chances: [f64; 4],
    searched: [Option<Day>; 3],
    scanned: [Option<Day>; 3],
}

/// Runs the peer on the same record, prints the ratios of the times and compares the dates.
pub fn compare(scenario: &Scenario) {
    let directory = std::env::temp_dir().join(format!("eavesward-forecast-{}", std::process::id()));
    fs::create_dir_all(&directory).unwrap();
    fs::write(directory.join("rain.csv"), rain_csv(scenario)).unwrap();
    fs::write(directory.join("system.json"), system_json(scenario)).unwrap();
    let output = run(&directory);
    fs::remove_dir_all(&directory).unwrap();
    let Some(output) = output else {
        println!(
            "no ratio: install numpy and scipy (pip install numpy scipy) and name their python in {INTERPRETER}"
        );
        return;
    };
    report(scenario, &output);
}

/// The output of the peer. `None` when Python, numpy or scipy is missing.
fn run(directory: &Path) -> Option<String> {
    let interpreter = std::env::var(INTERPRETER).unwrap_or_else(|_| "python3".to_owned());
    let has_modules = Command::new(&interpreter).args(["-c", "import numpy, scipy.special"]).output();
    if !has_modules.is_ok_and(|output| output.status.success()) {
        return None;
    }
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/forecast_peer.py");
    let output = Command::new(&interpreter).arg("-B").arg(script).arg(directory).output().unwrap();
    assert!(output.status.success(), "the peer failed:\n{}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

fn rain_csv(scenario: &Scenario) -> String {
    let record = &scenario.record;
    let (first, last) = (record.first().unwrap(), record.last().unwrap());
    let mut text = "date,mm\n".to_owned();
    for day in (first.0..=last.0).map(Day) {
        if let Some(mm) = record.get(day) {
            let (y, m, d) = day.ymd();
            writeln!(text, "{y:04}-{m:02}-{d:02},{mm}").unwrap();
        }
    }
    text
}

/// The system in JSON for the peer. Debug output of numbers, arrays of them and plain text is JSON.
fn system_json(scenario: &Scenario) -> String {
    let duties: Vec<String> = scenario.duties.iter().map(duty_json).collect();
    let (roof, site) = (&scenario.roof, &scenario.site);
    format!(
        r#"{{"today": {}, "horizon_days": {HORIZON_DAYS},
"site": {{"latitude_deg": {:?}, "elevation_m": {:?}}},
"roof": {{"plan_area_m2": {:?}, "coefficient": {:?}, "wetting_loss_mm": {:?}, "canopy_share": {:?}}},
"duties": [
{}]}}"#,
        TODAY.0,
        site.latitude_deg,
        site.elevation_m,
        roof.plan_area_m2,
        roof.coefficient,
        roof.wetting_loss_mm,
        roof.canopy_share,
        duties.join(",\n")
    )
}

fn duty_json(duty: &Duty) -> String {
    let drip = |chamber: eavesward_engine::Chamber<'_>| match chamber.emptying {
        eavesward_engine::Emptying::Trickle { mm_per_day } => {
            format!(r#""chamber_mm": {:?}, "drip_mm_per_day": {mm_per_day:?}"#, chamber.volume_mm)
        }
        _ => format!(r#""chamber_mm": {:?}"#, chamber.volume_mm),
    };
    let (kind, rest) = match duty.exposure {
        Exposure::Runoff => ("runoff", String::new()),
        Exposure::RoofLeaves => ("roof_leaves", String::new()),
        Exposure::Leaves { screen_area_m2 } => ("leaves", format!(r#""catcher": {screen_area_m2:?}"#)),
        Exposure::GutterLeaves { length_m, .. } => ("gutter_leaves", format!(r#""catcher": {length_m:?}"#)),
        Exposure::Fills { chamber } => ("fills", drip(chamber)),
        Exposure::Grit { chamber } => ("grit", drip(chamber)),
        Exposure::Sediment { chamber, floor_area_m2, .. } => {
            ("sediment", format!(r#"{}, "floor_area_m2": {floor_area_m2:?}"#, drip(chamber.unwrap())))
        }
        Exposure::Steady { daily, sigma_month, sigma_year, .. } => (
            "steady",
            format!(r#""daily": {daily:?}, "sigma_month": {sigma_month:?}, "sigma_year": {sigma_year:?}"#),
        ),
        Exposure::Ultraviolet { orientation, shade_share, warmth } => {
            let latitudes: Vec<f64> = (0..=600).map(|tenth| f64::from(tenth) / 10.0).collect();
            let factors: Vec<f64> =
                latitudes.iter().map(|latitude| orientation_factor(orientation, *latitude)).collect();
            let warmth = warmth.unwrap_or([1.0; 12]);
            (
                "ultraviolet",
                format!(
                    r#""shade_share": {shade_share:?}, "warmth": {warmth:?}, "orientation_latitudes": {latitudes:?}, "orientation_factors": {factors:?}"#
                ),
            )
        }
    };
    let rest = if rest.is_empty() { rest } else { format!(", {rest}") };
    format!(
        r#"{{"name": {:?}, "exposure": "{kind}", "median": {:?}, "log_sd": {:?}, "since": {}{rest}}}"#,
        duty.name, duty.limit.median, duty.limit.log_sd, duty.since.0
    )
}

/// The shortest run within three seconds, measured as in the peer.
fn best<T>(mut run: impl FnMut() -> T) -> f64 {
    let begun = Instant::now();
    let mut best = f64::INFINITY;
    while begun.elapsed() < Duration::from_secs(3) {
        let start = Instant::now();
        black_box(run());
        best = best.min(start.elapsed().as_secs_f64());
    }
    best
}

fn report(scenario: &Scenario, output: &str) {
    let gauge = Gauge::new(scenario.record.clone(), None);
    let catchment = Catchment::new(&gauge, &scenario.roof).unwrap();
    let time = |name: &str| -> f64 {
        let line = output.lines().find_map(|line| line.strip_prefix("time ")?.strip_prefix(name));
        line.unwrap().trim().parse().unwrap()
    };
    let shared = best(|| scenario.shared(&gauge, &catchment));
    let alone = best(|| scenario.alone());
    println!("\none system's forecast, best of many runs: ours, NumPy and SciPy, ratio");
    for (what, ours, theirs) in [
        ("gauge and roof shared", shared, time("shared")),
        ("all for one system", alone, time("alone")),
        ("shared, every day scanned", shared, time("scan")),
    ] {
        println!("  {what:26} {:8.1} us {:10.1} us {:8.1}", ours * 1e6, theirs * 1e6, theirs / ours);
    }
    println!(
        "differences: early, likely and late date in days, searched and scanned; chances; accumulated figure"
    );
    let theirs: Vec<Theirs> =
        output.lines().filter_map(|line| Some(read_duty(line.strip_prefix("duty\t")?))).collect();
    assert_eq!(theirs.len(), scenario.duties.len(), "the peer answered for other duties");
    let mut largest: f64 = 0.0;
    for ((duty, answer), theirs) in
        scenario.duties.iter().zip(scenario.shared(&gauge, &catchment)).zip(&theirs)
    {
        assert_eq!(duty.name, theirs.name);
        largest = largest.max(differences(&answer, theirs));
    }
    println!("largest difference of a date: {:.3} % of its window", largest * 100.0);
}

fn read_duty(line: &str) -> Theirs {
    let words: Vec<&str> = line.split('\t').collect();
    let number = |at: usize| words[at].parse::<f64>().unwrap();
    let day = |at: usize| words[at].parse().ok().map(Day);
    Theirs {
        name: words[0].to_owned(),
        accumulated: number(1),
        chances: std::array::from_fn(|i| number(2 + i)),
        searched: std::array::from_fn(|i| day(6 + i)),
        scanned: std::array::from_fn(|i| day(9 + i)),
    }
}

/// Prints how one duty differs, and returns the largest difference of its dates as a share of the window.
fn differences(answer: &Answer, theirs: &Theirs) -> f64 {
    let ours = match answer.outcome {
        Outcome::Window(window) => [window.early, window.likely, window.late],
        _ => [None; 3],
    };
    // From the first to the last date of the window that is within the horizon.
    let known: Vec<i32> = ours.iter().flatten().map(|day| day.0).collect();
    let window = known.last().zip(known.first()).map_or(1, |(last, first)| (last - first).max(1));
    let mut largest: f64 = 0.0;
    let mut text = String::new();
    for dates in [theirs.searched, theirs.scanned] {
        for (ours, theirs) in ours.iter().zip(dates) {
            match (ours, theirs) {
                (Some(ours), Some(theirs)) => {
                    let days = theirs.0 - ours.0;
                    largest = largest.max(f64::from(days.abs()) / f64::from(window));
                    write!(text, "{days:6}").unwrap();
                }
                (None, None) => text.push_str("     -"),
                // One of the two sees the date within the horizon and the other does not.
                _ => {
                    largest = f64::INFINITY;
                    text.push_str("   one");
                }
            }
        }
        text.push_str("  ");
    }
    let c = answer.chance;
    let chances = [c.today, c.in_7_days, c.in_30_days, c.in_90_days];
    let off = chances.iter().zip(theirs.chances).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let accumulated = (theirs.accumulated / answer.accumulated.value - 1.0).abs();
    println!("  {:24}{text}{off:9.1e}{accumulated:9.1e}", theirs.name);
    largest
}

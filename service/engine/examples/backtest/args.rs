//! The command line and its help.

use super::duty::{Duty, Place};

/// The help text.
pub const USAGE: &str = "\
usage: backtest FILE.csv [--years N] [--threshold MM,...] [--step DAYS]
       backtest FILE.csv... --duty DUTY [--limit X] [--dry-spells] [--since-days N] [--years N] [--step DAYS]
                [--area M2] [--canopy-share X] [--latitude DEG] [--chamber-l L] [--floor-m2 M2]

Forecasts on which day the coming runoff adds up to a threshold, and compares that with the day in the record.
It does so from one day after another of a daily rain record. With --duty it compares the dates of a duty in the
same way, with the day on which the part reached its limit.

  FILE.csv             a header line with the columns `date` (YYYY-MM-DD) and `mm`, then one row a day
  --years N            learn from the N years before each day, 1 to 100 (5 where the record allows)
  --threshold MM,...   thresholds in mm of runoff (100,300,600,1200)
  --step DAYS          days from one origin to the next, 1 to 366 (7, more on a long record; 5 with --dry-spells)

  --duty DUTY          gutter, screen, diverter, weep-hole or sediment; several files may be given
  --limit X            limit in the duty's unit, above 0 (the engine's usual limit for such a part)
  --dry-spells         only origins after 10 days without runoff, with over a quarter of the limit on the roof;
                       for gutter and screen
  --since-days N       days from the last service to each origin, 0 to the days of --years (0)
  --area M2            plan area of the roof, 1 to 100000 (100)
  --canopy-share X     share of the roof under deciduous trees, 0 to 1 (0.2)
  --latitude DEG       latitude, -90 to 90; south of the equator leaves fall half a year later (45)
  --chamber-l L        volume of the first-flush chamber, 1 to 100000 (50)
  --floor-m2 M2        area of the tank floor, 0.1 to 10000 (2)
";

/// A checked command line.
#[derive(Debug, Clone, PartialEq)]
pub struct Args {
    /// The records. Several only with a duty.
    pub files: Vec<String>,
    /// Years of readings before each origin.
    pub years: Option<u32>,
    /// Thresholds in mm, smallest first.
    pub thresholds: Vec<f64>,
    /// Days between origins.
    pub step: Option<i32>,
    /// The duty to look at, in place of thresholds.
    pub duty: Option<DutyArgs>,
}

/// A duty and its part.
#[derive(Debug, Clone, PartialEq)]
pub struct DutyArgs {
    pub duty: Duty,
    /// Limit in the duty's unit.
    pub limit: Option<f64>,
    pub place: Place,
    /// Whether only origins in dry spells count.
    pub dry_spells: bool,
    /// Days from the last service to the origin.
    pub since_days: i32,
}

/// Reads the words after the program's name. `None` when help is asked for.
pub fn parse(words: impl IntoIterator<Item = String>) -> Result<Option<Args>, String> {
    let usual = vec![100.0, 300.0, 600.0, 1200.0];
    let mut args = Args { files: Vec::new(), years: None, thresholds: usual, step: None, duty: None };
    let mut part = DutyArgs {
        duty: Duty::Gutter,
        limit: None,
        place: Place::default(),
        dry_spells: false,
        since_days: 0,
    };
    // Whether a duty was named, and the first words that go only with a duty, or only without.
    let (mut duty, mut with, mut without) = (None, None, None);
    let mut words = words.into_iter();
    while let Some(word) = words.next() {
        let (name, attached) = match word.split_once('=') {
            Some((name, value)) if name.starts_with("--") => (name.to_owned(), Some(value.to_owned())),
            _ => (word, None),
        };
        let mut value = || {
            attached.clone().or_else(|| words.next()).ok_or_else(|| format!("{name} needs a value after it"))
        };
        match name.as_str() {
            "-h" | "--help" => return Ok(None),
            "--years" => args.years = Some(number(&name, &value()?, 100)?.into()),
            "--step" => args.step = Some(number(&name, &value()?, 366)?.into()),
            "--threshold" => {
                args.thresholds = thresholds(&value()?)?;
                without = Some(name);
            }
            "--duty" => duty = Some(Duty::named(&value()?)?),
            "--dry-spells" if attached.is_some() => return Err(format!("{name} takes no value")),
            "--dry-spells" => {
                part.dry_spells = true;
                with.get_or_insert(name);
            }
            _ if set(&mut part, &name, &mut value)? => {
                with.get_or_insert(name);
            }
            _ if name.starts_with('-') => return Err(format!("{name} is not known")),
            _ => args.files.push(name),
        }
    }
    args.duty = duty.map(|duty| DutyArgs { duty, ..part });
    fit(&args, with.as_deref(), without.as_deref())?;
    Ok(Some(args))
}

/// Sets what goes with a duty and has a value. Returns whether the name is known.
fn set(
    part: &mut DutyArgs,
    name: &str,
    value: &mut impl FnMut() -> Result<String, String>,
) -> Result<bool, String> {
    let mut read = |least, most| figure(name, &value()?, least, most);
    match name {
        "--limit" => part.limit = Some(read(f64::MIN_POSITIVE, 1e9)?),
        "--area" => part.place.area_m2 = read(1.0, 1e5)?,
        "--canopy-share" => part.place.canopy_share = read(0.0, 1.0)?,
        "--latitude" => part.place.latitude_deg = read(-90.0, 90.0)?,
        "--chamber-l" => part.place.chamber_l = read(1.0, 1e5)?,
        "--floor-m2" => part.place.floor_m2 = read(0.1, 1e4)?,
        "--since-days" => {
            let text = value()?;
            let days = text.parse().ok().filter(|days| (0..=36_525).contains(days));
            part.since_days =
                days.ok_or_else(|| format!("{name} is `{text}`; allowed: whole numbers from 0 to 36525"))?;
        }
        _ => return Ok(false),
    }
    Ok(true)
}

/// Checks that the words go together. `with` and `without` were given and want a duty, or none.
fn fit(args: &Args, with: Option<&str>, without: Option<&str>) -> Result<(), String> {
    match (&args.duty, args.files.as_slice()) {
        (_, []) => Err("name a file".to_owned()),
        (None, [one, other, ..]) => {
            Err(format!("one file at a time: `{one}` and `{other}` were given; --duty takes several"))
        }
        (None, _) if let Some(name) = with => {
            Err(format!("{name} goes with --duty: name the duty too, or leave {name} out"))
        }
        (Some(_), _) if let Some(name) = without => {
            Err(format!("{name} does not go with --duty: set the duty's limit with --limit"))
        }
        (Some(asked), _) if asked.dry_spells && !asked.duty.gathers_leaves() => {
            Err("--dry-spells goes with --duty gutter or screen: only leaves wait on the roof for rain"
                .to_owned())
        }
        _ => Ok(()),
    }
}

fn number(name: &str, text: &str, most: u16) -> Result<u16, String> {
    let value = text.parse().ok().filter(|n| (1..=most).contains(n));
    value.ok_or_else(|| format!("{name} is `{text}`; allowed: whole numbers from 1 to {most}"))
}

fn figure(name: &str, text: &str, least: f64, most: f64) -> Result<f64, String> {
    let value = text.parse().ok().filter(|x| (least..=most).contains(x));
    value.ok_or_else(|| {
        let range = if least == f64::MIN_POSITIVE {
            format!("above 0, up to {most}")
        } else {
            format!("{least} to {most}")
        };
        format!("{name} is `{text}`; allowed: {range}")
    })
}

fn thresholds(text: &str) -> Result<Vec<f64>, String> {
    let each = |word: &str| {
        let mm: Option<f64> = word.trim().parse().ok();
        mm.filter(|mm| *mm > 0.0 && *mm <= 100_000.0)
            .ok_or_else(|| format!("--threshold holds `{word}`; allowed: mm above 0, separated by commas"))
    };
    let mut all = text.split(',').map(each).collect::<Result<Vec<f64>, String>>()?;
    all.sort_by(f64::total_cmp);
    all.dedup();
    Ok(all)
}

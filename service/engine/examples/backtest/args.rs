//! The command line and its help.

/// The help text.
pub const USAGE: &str = "\
usage: backtest FILE.csv [--years N] [--threshold MM,...] [--step DAYS]

Forecasts on which day the coming runoff adds up to a threshold, and compares that with the day in the record.
It does so from one day after another of a daily rain record.

  FILE.csv             a header line with the columns `date` (YYYY-MM-DD) and `mm`, then one row a day
  --years N            learn from the N years before each day, 1 to 100 (5 where the record allows)
  --threshold MM,...   thresholds in mm of runoff (100,300,600,1200)
  --step DAYS          days from one origin to the next, 1 to 366 (7, more on a long record)
";

/// A checked command line.
#[derive(Debug, Clone, PartialEq)]
pub struct Args {
    /// The record.
    pub file: String,
    /// Years of readings before each origin.
    pub years: Option<u32>,
    /// Thresholds in mm, smallest first.
    pub thresholds: Vec<f64>,
    /// Days between origins.
    pub step: Option<i32>,
}

/// Reads the words after the program's name. `None` when help is asked for.
pub fn parse(words: impl IntoIterator<Item = String>) -> Result<Option<Args>, String> {
    let mut args =
        Args { file: String::new(), years: None, thresholds: vec![100.0, 300.0, 600.0, 1200.0], step: None };
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
            "--threshold" => args.thresholds = thresholds(&value()?)?,
            _ if name.starts_with('-') => return Err(format!("{name} is not known")),
            _ if args.file.is_empty() => args.file = name,
            _ => return Err(format!("one file at a time: `{}` and `{name}` were given", args.file)),
        }
    }
    if args.file.is_empty() { Err("name a file".to_owned()) } else { Ok(Some(args)) }
}

fn number(name: &str, text: &str, most: u16) -> Result<u16, String> {
    let value = text.parse().ok().filter(|n| (1..=most).contains(n));
    value.ok_or_else(|| format!("{name} is `{text}`; allowed: whole numbers from 1 to {most}"))
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

//! Parsers for words of the command line.

use crate::show;
use eavesward_client::contract::{ComponentKind, Duty, Finding, FoundClass, MonthDay, MonthlyNormals};
use eavesward_client::units::Length;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Days: `7`, `7d`, `2w`, `P7D` or `P2W`.
pub fn days(text: &str) -> Result<u32, String> {
    let told = || format!("{text:?} is not a number of days such as 7d, 2w or P7D");
    let lower = text.to_ascii_lowercase();
    let inner = lower.strip_prefix('p').unwrap_or(&lower);
    let (digits, factor) = match inner.strip_suffix('w') {
        Some(weeks) => (weeks, 7),
        None => match inner.strip_suffix('d') {
            Some(days) => (days, 1),
            // `P7` lacks a unit; a bare `7` means days.
            None if inner.len() < lower.len() => return Err(told()),
            None => (inner, 1),
        },
    };
    if digits.is_empty() || !digits.bytes().all(|b| b.is_ascii_digit()) {
        return Err(told());
    }
    digits.parse::<u32>().ok().and_then(|n| n.checked_mul(factor)).ok_or_else(told)
}

/// A word of the contract, written with hyphens or underscores.
pub fn word<T: DeserializeOwned + Serialize>(text: &str) -> Result<T, String> {
    let word = underscored(text);
    let told = || format!("{text:?} is not a value that the service accepts here");
    let value: T = serde_json::from_value(word.as_str().into()).map_err(|_| told())?;
    // The contract reads words of a newer service as `unknown`, which must not be sent.
    match serde_json::to_value(&value) {
        Ok(serde_json::Value::String(back)) if back == word && back != "unknown" => Ok(value),
        _ => Err(told()),
    }
}

/// A kind of component.
pub fn kind(text: &str) -> Result<ComponentKind, String> {
    let kind = ComponentKind::from(underscored(text).as_str());
    if ComponentKind::ALL.contains(&kind) {
        return Ok(kind);
    }
    Err(format!("{text:?} is not a kind of component; give one of {}", hyphenated(ComponentKind::ALL)))
}

/// A word as the contract writes it.
fn underscored(text: &str) -> String {
    text.trim().to_ascii_lowercase().replace('-', "_")
}

/// Words of the contract as they are typed.
fn hyphenated(words: &[impl ToString]) -> String {
    words.iter().map(|word| word.to_string().replace('_', "-")).collect::<Vec<_>>().join(", ")
}

/// A finding: `nothing`, `light`, `half`, `heavy`, `blocked`, a share such as `0.35` or `35%`, a depth such as `40mm`.
pub fn finding(text: &str) -> Result<Finding, String> {
    let told = || {
        format!(
            "{text:?} is not a finding. Give nothing, light, half, heavy, blocked, a share such as 0.35 or 35%, or a depth such as 40mm or 1.5in"
        )
    };
    let positive =
        |text: &str| text.trim().parse::<f64>().ok().filter(|n| n.is_finite() && *n >= 0.0).ok_or_else(told);
    let lower = text.trim().to_ascii_lowercase();
    Ok(match lower.as_str() {
        "nothing" => Finding::nothing(),
        "light" => Finding::class(FoundClass::Light),
        "half" => Finding::class(FoundClass::Half),
        "heavy" => Finding::class(FoundClass::Heavy),
        "blocked" => Finding::blocked(),
        other => {
            if let Ok(depth) = other.parse::<Length>() {
                let depth_mm = Some(depth.in_millimetres()).filter(|mm| *mm >= 0.0).ok_or_else(told)?;
                Finding::depth(depth_mm)
            } else if let Some(percent) = other.strip_suffix('%') {
                Finding::fraction(positive(percent)? / 100.0)
            } else {
                Finding::fraction(positive(other)?)
            }
        }
    })
}

/// A share such as `0.35` or `35%`.
pub fn share(text: &str) -> Result<f64, String> {
    let told = || format!("{text:?} is not a share such as 0.35 or 35%");
    let trimmed = text.trim();
    let (number, scale) = trimmed.strip_suffix('%').map_or((trimmed, 1.0), |percent| (percent, 100.0));
    let number = number.trim().parse::<f64>().ok().filter(|n| n.is_finite() && *n >= 0.0).ok_or_else(told)?;
    Ok(number / scale)
}

/// A duty.
pub fn duty(text: &str) -> Result<Duty, String> {
    let duty = Duty::from(underscored(text).as_str());
    if Duty::ALL.contains(&duty) {
        return Ok(duty);
    }
    Err(format!("{text:?} is not a duty; give one of {}", hyphenated(Duty::ALL)))
}

/// A day of the year, such as `10-25`.
pub fn month_day(text: &str) -> Result<MonthDay, String> {
    let told = || format!("{text:?} is not a month and a day such as 10-25");
    let (month, day) = text.split_once('-').ok_or_else(told)?;
    let number = |text: &str| text.parse::<u32>().map_err(|_| told());
    Ok(MonthDay::new(number(month)?, number(day)?))
}

/// Twelve numbers, separated by commas, January first.
pub fn twelve(text: &str) -> Result<TwelveMonths, String> {
    let numbers: Result<Vec<f64>, _> = text.split(',').map(|number| number.trim().parse()).collect();
    let numbers = numbers.map_err(|_| format!("{text:?} is not twelve numbers with commas between them"))?;
    let count = numbers.len();
    let twelve = numbers
        .try_into()
        .map_err(|_| format!("{} given; give twelve, January first", counted(count, "number", "numbers")))?;
    Ok(TwelveMonths(Box::new(twelve)))
}

fn counted(number: usize, one: &str, many: &str) -> String {
    show::counted(number as u64, one, many)
}

/// A figure for each month, January first.
#[derive(Clone, Debug, PartialEq)]
pub struct TwelveMonths(pub Box<[f64; 12]>);

/// A duty of a component. The component's name may hold colons; the last colon separates.
#[derive(Clone, Debug, PartialEq)]
pub struct ComponentDuty {
    /// The component's id or name.
    pub component: String,
    /// The duty.
    pub duty: Duty,
}

/// `COMPONENT:DUTY`.
pub fn item(text: &str) -> Result<ComponentDuty, String> {
    let (component, duty) = text
        .rsplit_once(':')
        .filter(|(component, _)| !component.trim().is_empty())
        .ok_or_else(|| format!("{text:?} is not COMPONENT:DUTY, such as \"north screen:clean-screen\""))?;
    Ok(ComponentDuty { component: component.trim().to_owned(), duty: self::duty(duty)? })
}

/// `COMPONENT:DUTY=SHARE`.
pub fn left(text: &str) -> Result<(ComponentDuty, f64), String> {
    let (left, right) = text.rsplit_once('=').ok_or_else(|| {
        format!("{text:?} is not COMPONENT:DUTY=SHARE, such as \"north screen:clean-screen=0.2\"")
    })?;
    Ok((item(left)?, share(right)?))
}

/// `COMPONENT:DUTY=FINDING`.
pub fn found(text: &str) -> Result<(ComponentDuty, Finding), String> {
    let (left, right) = text.rsplit_once('=').ok_or_else(|| {
        format!("{text:?} is not COMPONENT:DUTY=FINDING, such as \"north screen:clean-screen=half\"")
    })?;
    Ok((item(left)?, finding(right)?))
}

/// Monthly normals from twelve lines `RAIN_MM WET_DAYS`, January first.
///
/// Spaces, commas or semicolons separate the numbers. A line may begin with the month's name. Text after `#` and
/// lines without a number are ignored.
pub fn normals(text: &str, wet_day_threshold_mm: f64, years: f64) -> Result<MonthlyNormals, String> {
    let (mut rain_mm, mut wet_days) = (Vec::new(), Vec::new());
    for (at, line) in text.lines().enumerate() {
        let line = line.split('#').next().unwrap_or_default();
        let parts = line.split([' ', '\t', ',', ';', '\r']).filter(|part| !part.is_empty());
        let numbers: Vec<f64> =
            parts.filter_map(|part| part.parse().ok()).filter(|n: &f64| n.is_finite()).collect();
        match numbers.as_slice() {
            [] => {}
            [rain, wet] => {
                rain_mm.push(*rain);
                wet_days.push(*wet);
            }
            _ => {
                return Err(format!(
                    "line {} has {}; give rain in mm and wet days",
                    at + 1,
                    counted(numbers.len(), "number", "numbers")
                ));
            }
        }
    }
    if rain_mm.len() != 12 {
        return Err(format!(
            "{} found; give twelve, January first",
            counted(rain_mm.len(), "month", "months")
        ));
    }
    Ok(MonthlyNormals::new(rain_mm, wet_days).wet_day_threshold_mm(wet_day_threshold_mm).years(years))
}

#[cfg(test)]
mod tests {
    use super::*;
    use eavesward_client::contract::TaskState;

    #[test]
    fn days_are_read_in_every_spelling() {
        for (text, want) in [("7", 7), ("7d", 7), ("P7D", 7), ("2w", 14), ("p2w", 14), ("0d", 0)] {
            assert_eq!(days(text), Ok(want), "{text}");
        }
        for text in
            ["", "d", "P", "P7", "-7d", "7.5d", "1m", "P1M", "PT5H", "+7d", "99999999999d", "4000000000w"]
        {
            assert!(days(text).is_err(), "{text}");
        }
    }

    #[test]
    fn findings_are_read_in_every_spelling() {
        let fraction = |fraction| Ok(Finding::fraction(fraction));
        for (text, want) in [
            ("nothing", Ok(Finding::nothing())),
            ("Half", Ok(Finding::class(FoundClass::Half))),
            ("light", Ok(Finding::class(FoundClass::Light))),
            ("heavy", Ok(Finding::class(FoundClass::Heavy))),
            ("blocked", Ok(Finding::blocked())),
            ("0.35", fraction(0.35)),
            ("35%", fraction(0.35)),
            ("40mm", Ok(Finding::depth(40.0))),
            ("4 cm", Ok(Finding::depth(40.0))),
            ("1.5in", Ok(Finding::depth(38.099_999_999_999_994))),
        ] {
            assert_eq!(finding(text), want, "{text}");
        }
        for text in ["", "full", "-0.1", "-4mm", "mm", "NaN", "inf", "40 gal", "4,5 in", "%"] {
            assert!(finding(text).is_err(), "{text}");
        }
    }

    #[test]
    fn items_may_have_colons_and_equals_signs_in_their_names() {
        let want = ComponentDuty { component: "a=b: north".to_owned(), duty: Duty::CleanScreen };
        assert_eq!(item("a=b: north:clean-screen"), Ok(want.clone()));
        assert_eq!(found("a=b: north:clean_screen=40mm"), Ok((want, Finding::depth(40.0))));
        for text in ["north", ":clean-screen", "north:", "north:polish", "north:unknown"] {
            assert!(item(text).is_err(), "{text}");
        }
        assert!(found("north:clean-screen").is_err() && found("north:clean-screen=").is_err());
    }

    #[test]
    fn shares_days_of_the_year_and_months_are_read() {
        for (text, want) in [("0.2", 0.2), ("20%", 0.2), (" 20 % ", 0.2), ("0", 0.0), ("1.5", 1.5)] {
            assert_eq!(share(text), Ok(want), "{text}");
        }
        for text in ["", "%", "-0.1", "half", "NaN", "inf"] {
            assert!(share(text).is_err(), "{text}");
        }
        let item = ComponentDuty { component: "a=b".to_owned(), duty: Duty::CleanScreen };
        assert_eq!(left("a=b:clean-screen=20%"), Ok((item, 0.2)));
        assert!(left("a:clean-screen").is_err() && left("a:clean-screen=half").is_err());
        assert_eq!(month_day("10-25"), Ok(MonthDay { month: 10, day: 25 }));
        for text in ["", "10", "10-", "25 October", "10-25-1", "-10-25"] {
            assert!(month_day(text).is_err(), "{text}");
        }
        let text = "-3,-2.5,0, 4,9,13,15,15,11,7,2,-1";
        assert_eq!(
            twelve(text).map(|twelve| (twelve.0[0], twelve.0[3], twelve.0[11])),
            Ok((-3.0, 4.0, -1.0))
        );
        assert!(twelve("1,2").expect_err("two").contains("2 numbers"));
        assert!(twelve("1,2,3,4,5,6,7,8,9,10,11,x").is_err());
    }

    #[test]
    fn words_of_a_newer_service_are_not_taken() {
        assert_eq!(kind("first-flush-diverter"), Ok(ComponentKind::FirstFlushDiverter));
        assert_eq!(word("late"), Ok(TaskState::Late));
        assert!(kind("gargoyle").expect_err("no kind").contains("first-flush-diverter"));
        assert!(duty("polish").expect_err("no duty").contains("clean-screen"));
        assert!(word::<TaskState>("unknown").is_err() && word::<TaskState>("soon").is_err());
    }

    #[test]
    fn normals_are_twelve_lines_of_two_numbers() {
        let text = (1..=12)
            .map(|month| format!("M{month}, {month}0.5; {month} # note 9"))
            .collect::<Vec<_>>()
            .join("\n");
        let read = normals(&format!("# month rain wet\n{text}\n"), 1.0, 30.0).expect("twelve months");
        assert_eq!((read.rain_mm[0], read.rain_mm[11], read.wet_days[11]), (10.5, 120.5, 12.0));
        assert!(normals("10 3\n", 1.0, 30.0).expect_err("one month").contains('1'));
        assert!(normals("10\n", 1.0, 30.0).expect_err("no wet days").contains("line 1"));
    }
}

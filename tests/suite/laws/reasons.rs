//! Every reason with none, one and two of what it counts: right plurals, short sentences, figures in their order, and a
//! stored form that comes back.

use chrono::NaiveDate;
use eavesward_service::domain::model::measure::Measure;
use eavesward_service::domain::model::part::{Clock, MonthDay};
use eavesward_service::domain::model::reason::Reason;
use eavesward_service::domain::model::sentence::{FigureValue, Sentence};
use std::collections::BTreeSet;

/// The place of a variant. A new one does not compile before it is listed here, and in [`all`].
const fn place(reason: &Reason) -> usize {
    match reason {
        Reason::Accumulated { .. } => 0,
        Reason::UnreadDays { .. } => 1,
        Reason::Outlived => 2,
        Reason::ChancePassed { .. } => 3,
        Reason::ChancePasses { .. } => 4,
        Reason::ChanceStaysBelow { .. } => 5,
        Reason::NoRain => 6,
        Reason::NoExposure => 7,
        Reason::BeyondHorizon { .. } => 8,
        Reason::FoundPastLimit { .. } => 9,
        Reason::OtherClock { .. } => 10,
        Reason::SedimentMeasured { .. } => 11,
        Reason::DiverterBlocked => 12,
        Reason::DiverterWasBlocked => 13,
        Reason::DiverterDrainedByHand => 14,
        Reason::DiverterAssumed => 15,
        Reason::CleanedOnUnknownDay => 16,
        Reason::LimitLearned { .. } => 17,
        Reason::NormalsOnly => 18,
        Reason::ShortRecord { .. } => 19,
        Reason::WetDaysAssumed { .. } => 20,
        Reason::LatitudeHeld => 21,
        Reason::RainMissing { .. } => 22,
        Reason::FirstLook => 23,
        Reason::LongestInterval { .. } => 24,
        Reason::RatedHours { .. } => 25,
        Reason::FrostUnknown => 26,
        Reason::FrostNever => 27,
        Reason::FrostRare { .. } => 28,
        Reason::FrostAnyTime => 29,
        Reason::FrostWithoutDay => 30,
        Reason::FrostBegins { .. } => 31,
        Reason::FrostEnds { .. } => 32,
        Reason::TankLowest { .. } => 33,
        Reason::EvaporationAssumed => 34,
        Reason::TrapEndScreen => 35,
        Reason::MosquitoesFromTrap { .. } => 36,
        Reason::MosquitoesFromChamber { .. } => 37,
        Reason::TankOverflowed { .. } => 38,
        Reason::TrapFilled { .. } => 39,
        Reason::OverflowUnknown => 40,
        Reason::SealLost { .. } => 41,
        Reason::NoDate => 42,
        Reason::Replaced => 43,
        Reason::SystemRetired { .. } => 44,
        Reason::SystemNotYetInService { .. } => 45,
        Reason::DutyGone => 46,
        Reason::NotInService => 47,
        Reason::OutletLow { .. } => 48,
        Reason::Text(_) => 49,
    }
}

const PLACES: usize = 50;

/// Every reason, counting `number` of whatever it counts.
fn all(number: u32) -> Vec<Reason> {
    let on = NaiveDate::from_ymd_opt(2026, 3, 1).expect("a day");
    let figure = f64::from(number);
    let day = MonthDay { month: 11, day: 5 };
    let mut reasons = vec![
        Reason::UnreadDays { unread: number, days: number },
        Reason::UnreadDays { unread: number, days: 9 },
        Reason::Outlived,
        Reason::ChancePassed { percent: 50.0, on },
        Reason::ChancePassed { percent: 12.5, on },
        Reason::ChancePasses { percent: figure, on },
        Reason::ChanceStaysBelow { percent: figure, years: number },
        Reason::NoRain,
        Reason::NoExposure,
        Reason::BeyondHorizon { years: number },
        Reason::FoundPastLimit { on },
        Reason::OtherClock { clock: Clock::Heat, on: Some(on), years: number },
        Reason::OtherClock { clock: Clock::Light, on: None, years: number },
        Reason::SedimentMeasured { factor: figure, now_mm: figure, limit_mm: figure },
        Reason::OutletLow { outlet_mm: figure },
        Reason::DiverterBlocked,
        Reason::DiverterWasBlocked,
        Reason::DiverterDrainedByHand,
        Reason::DiverterAssumed,
        Reason::CleanedOnUnknownDay,
        Reason::NormalsOnly,
        Reason::ShortRecord { years: figure },
        Reason::WetDaysAssumed { percent: figure },
        Reason::LatitudeHeld,
        Reason::RainMissing { missing: "no rain reading and no normals".to_owned() },
        Reason::FirstLook,
        Reason::LongestInterval { months: number, source: None },
        Reason::LongestInterval { months: number, source: Some("enHealth 2010 s. 6".to_owned()) },
        Reason::RatedHours { hours: figure, hours_per_day: figure },
        Reason::FrostUnknown,
        Reason::FrostNever,
        Reason::FrostRare { percent: figure },
        Reason::FrostAnyTime,
        Reason::FrostWithoutDay,
        Reason::FrostBegins { day, given: true },
        Reason::FrostEnds { day, given: false },
        Reason::TankLowest { on, lost_l: figure, in_wet_season: true },
        Reason::TankLowest { on, lost_l: figure, in_wet_season: false },
        Reason::EvaporationAssumed,
        Reason::TrapEndScreen,
        Reason::MosquitoesFromTrap { on },
        Reason::MosquitoesFromChamber { since: on, from: on, passed: true },
        Reason::MosquitoesFromChamber { since: on, from: on, passed: false },
        Reason::TankOverflowed { on },
        Reason::TrapFilled { on },
        Reason::OverflowUnknown,
        Reason::SealLost { days: number, lost_mm: figure, depth_mm: figure, low_mm: figure, high_mm: figure },
        Reason::NoDate,
        Reason::Replaced,
        Reason::SystemRetired { on },
        Reason::SystemNotYetInService { on },
        Reason::DutyGone,
        Reason::NotInService,
        Reason::Text("It has taken 3 mm.".to_owned()),
    ];
    for unit in Measure::ALL.iter().copied() {
        reasons.push(Reason::Accumulated { accumulated: figure, unit, since: on, limit: figure });
        reasons.push(Reason::LimitLearned { findings: number, before: figure, after: figure, unit });
    }
    reasons
}

/// Whether a noun does not go with the whole number before it.
pub(super) fn wrong_plural(text: &str) -> bool {
    let apart = |letter: char| !letter.is_alphanumeric() && letter != '.';
    let words: Vec<&str> = text.split(apart).map(|word| word.trim_end_matches('.')).collect();
    words.windows(2).any(|pair| {
        let Ok(number) = pair[0].parse::<u32>() else { return false };
        let plural = [
            "days",
            "years",
            "months",
            "findings",
            "tasks",
            "properties",
            "systems",
            "readings",
            "visits",
            "entries",
            "characters",
            "values",
            "fields",
        ];
        let single = [
            "day",
            "year",
            "month",
            "finding",
            "task",
            "property",
            "system",
            "reading",
            "visit",
            "entry",
            "character",
            "value",
            "field",
        ];
        if number == 1 { plural.contains(&pair[1]) } else { single.contains(&pair[1]) }
    })
}

#[test]
fn a_wrong_plural_is_seen() {
    assert!(wrong_plural("1 days of rain") && wrong_plural("It has 2 finding.") && wrong_plural("0 year"));
    assert!(!wrong_plural("1 of 9 days, 1 day, 2 days, 0 findings; 1.0 years, 1 March"));
}

#[test]
fn every_reason_reads_well_and_comes_back_from_its_stored_form() {
    let mut seen = BTreeSet::new();
    for reason in (0..=2).flat_map(all) {
        seen.insert(place(&reason));
        let sentence = reason.sentence();
        assert!(!wrong_plural(&sentence.text), "{}", sentence.text);
        for part in sentence.text.split(['.', ':', '?']).filter(|part| !part.trim().is_empty()) {
            assert!(part.split_whitespace().count() <= 25, "{part:?} is long: {}", sentence.text);
        }
        let mut rest = sentence.text.as_str();
        for figure in &sentence.figures {
            let (_, after) =
                rest.split_once(&figure.text).unwrap_or_else(|| panic!("{figure:?}: {}", sentence.text));
            rest = after;
        }
        let stored = serde_json::to_string(&reason).expect("JSON");
        assert_eq!(serde_json::from_str::<Reason>(&stored).expect("it is read"), reason, "{stored}");
        // The stored word is the code that readers get; a bare sentence has none.
        let word = stored.trim_start_matches(['{', '"']).split('"').next().expect("a word");
        if !matches!(reason, Reason::Text(_)) {
            assert_eq!(word, sentence.code);
        }
    }
    assert_eq!(seen, (0..PLACES).collect::<BTreeSet<_>>(), "list every reason in `all`");
}

/// The unit of a figure, and what it measures.
fn unit_of<'a>(sentence: &'a Sentence, name: &str) -> (&'a str, Option<&'a str>) {
    match &sentence.figures.iter().find(|figure| figure.name == name).expect("a figure").value {
        FigureValue::Quantity { unit, of, .. } => (unit, *of),
        other => panic!("{other:?} is no quantity"),
    }
}

#[test]
fn a_limit_has_the_unit_of_what_it_limits() {
    for measure in Measure::ALL.iter().copied() {
        let since = NaiveDate::from_ymd_opt(2026, 3, 1).expect("a day");
        let reached = Reason::Accumulated { accumulated: 2.0, unit: measure, since, limit: 3.0 }.sentence();
        let learned = Reason::LimitLearned { findings: 1, before: 2.0, after: 3.0, unit: measure }.sentence();
        let whole = (measure.unit(), Some(measure.of()));
        for (sentence, name) in
            [(&reached, "accumulated"), (&reached, "limit"), (&learned, "before"), (&learned, "after")]
        {
            assert_eq!(unit_of(sentence, name), whole, "{name} of {}", sentence.text);
        }
    }
    // Rows of before count grams of each square metre of roof, and not grams.
    assert_eq!(Measure::Solids.unit(), "g/m2");
    assert_eq!(Measure::Grit.unit(), "g");
}

#[test]
fn reasons_of_before_are_read_as_text() {
    let stored = r#"["It is not left for longer than 6 months.", "no_rain", {"first_look": null}]"#;
    let read = serde_json::from_str::<Vec<Reason>>(stored);
    let read = read.unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(read[0].sentence().code, "text");
    assert_eq!(read[0].text(), "It is not left for longer than 6 months.");
    assert_eq!(read[1..], [Reason::NoRain, Reason::FirstLook]);
}

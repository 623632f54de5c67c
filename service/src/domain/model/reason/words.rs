//! The English of each reason: one sentence, the figure first.

use crate::domain::model::part::{Clock, MonthDay};
use crate::domain::model::reason::Reason;
use crate::domain::model::sentence::Sentence;
use chrono::NaiveDate;

/// A chance of one half, in percent. Its sentence has its own words.
const EVEN: f64 = 50.0;

impl Reason {
    /// The sentence with its code and figures.
    pub fn sentence(&self) -> Sentence {
        sentence(self)
    }

    /// The sentence alone.
    pub fn text(&self) -> String {
        self.sentence().text
    }
}

#[expect(clippy::too_many_lines, reason = "it is a table, an arm a reason")]
fn sentence(reason: &Reason) -> Sentence {
    let of = Sentence::of;
    match reason {
        Reason::Accumulated { accumulated, unit, since, limit } => of("accumulated")
            .measured("accumulated", *accumulated, *unit)
            .say(" since ")
            .day("since", *since)
            .say("; the limit is ")
            .same_measure("limit", *limit, *unit)
            .say("."),
        Reason::UnreadDays { unread, days } => of("unread_days")
            .number("unread", u64::from(*unread), "days")
            .say(" of ")
            .count("days", u64::from(*days), "day", "days")
            .say(if *unread == 1 { " has" } else { " have" })
            .say(" no reading; the usual rain of the season was used."),
        Reason::Outlived => of("outlived")
            .percent("share", 0.95)
            .say(" of such parts need care by now. Look at it. If it is clean, log that: the limit rises."),
        Reason::ChancePassed { percent, on } if *percent == EVEN => of("chance_passed")
            .say("More likely than not it has needed care since ")
            .day("on", *on)
            .say(". Look, and log what you find."),
        Reason::ChancePassed { percent, on } => of("chance_passed")
            .say("The chance that it needs care passed ")
            .percent("chance", percent / 100.0)
            .say(" on ")
            .day("on", *on)
            .say(". Look, and log what you find."),
        Reason::ChancePasses { percent, on } => of("chance_passes")
            .say("The chance that it needs care passes ")
            .percent("chance", percent / 100.0)
            .say(" on ")
            .day("on", *on)
            .say("."),
        Reason::ChanceStaysBelow { percent, years } => of("chance_stays_below")
            .say("The chance that it needs care stays below ")
            .percent("chance", percent / 100.0)
            .say(" for ")
            .count("years", u64::from(*years), "year", "years")
            .say("."),
        Reason::NoRain => of("no_rain").say("It never rains in this record, so the limit is never reached."),
        Reason::NoExposure => of("no_exposure")
            .say("Nothing that wears or clogs the part reaches it, so the limit is never reached."),
        Reason::BeyondHorizon { years } => of("beyond_horizon")
            .say("The limit is not reached within ")
            .count("years", u64::from(*years), "year", "years")
            .say("."),
        Reason::FoundPastLimit { on } => of("found_past_limit")
            .say("A visit on ")
            .day("on", *on)
            .say(" found it past its limit, and no visit since then did the work."),
        Reason::OtherClock { clock, on, years } => {
            let name = match clock {
                Clock::Light => "Light",
                Clock::Heat => "Heat",
            };
            let start = of("other_clock").word("clock", name);
            match on {
                Some(on) => start.say(" alone would make it due on ").day("on", *on).say("."),
                None => start
                    .say(" alone would not make it due within ")
                    .count("years", u64::from(*years), "year", "years")
                    .say("."),
            }
        }
        Reason::SedimentMeasured { factor, now_mm, limit_mm } => of("sediment_measured")
            .say("By the depths found, sediment gathers ")
            .quantity("factor", *factor, "")
            .say(" times as fast as the rain suggests: about ")
            .quantity("now", *now_mm, "mm")
            .say(" of ")
            .quantity("limit", *limit_mm, "mm")
            .say("."),
        Reason::OutletLow { outlet_mm } => of("outlet_low")
            .say("The outlet is ")
            .quantity("outlet", *outlet_mm, "mm")
            .say(" above the floor, so sediment reaches it early: raise it, or fit a floating intake."),
        Reason::DiverterBlocked => of("diverter_blocked")
            .say("The diverter's hole is blocked, so it keeps no dirt out of the tank until it is cleared."),
        Reason::DiverterWasBlocked => of("diverter_was_blocked")
            .say("Assumes that the diverter kept no dirt out of the tank while its hole was found blocked."),
        Reason::DiverterDrainedByHand => of("diverter_drained_by_hand").say(
            "The diverter kept one chamber of water out of the tank each time it was drained. From today on the \
             forecast assumes that it is drained in time.",
        ),
        Reason::DiverterAssumed => {
            of("diverter_assumed").say("Assumes that the first-flush diverter works.")
        }
        Reason::CleanedOnUnknownDay => of("cleaned_on_unknown_day").say(
            "It was cleaned on an unknown day. The figure counts from the last known day, so the part likely \
             holds less.",
        ),
        Reason::LimitLearned { findings, before, after, unit } => of("limit_learned")
            .count("findings", u64::from(*findings), "finding", "findings")
            .say(" moved the limit from ")
            .same_measure("before", *before, *unit)
            .say(" to ")
            .same_measure("after", *after, *unit)
            .say("."),
        Reason::NormalsOnly => of("normals_only")
            .say("The rain to come is taken from monthly normals; daily readings would narrow the window."),
        Reason::ShortRecord { years } => of("short_record")
            .say("Only ")
            .decimal("years", *years, "years")
            .say(" of rain are known; normals or a longer record would narrow the window."),
        Reason::WetDaysAssumed { percent } => of("wet_days_assumed")
            .say("No rain is known, so ")
            .percent("share", percent / 100.0)
            .say(" of days count as overcast and wet."),
        Reason::LatitudeHeld => of("latitude_held").say(
            "Beyond 60 degrees of latitude the effect of the part's direction is not known. Its effect at 60 \
             degrees is used.",
        ),
        Reason::RainMissing { missing } => {
            of("rain_missing").say("Nothing is predicted from rain: ").word("missing", missing).say(".")
        }
        Reason::FirstLook => of("first_look")
            .say("Bands settle: check them a month after installation (common practice, no source)."),
        Reason::LongestInterval { months, source } => {
            let start = of("longest_interval")
                .say("The longest interval is ")
                .count("months", u64::from(*months), "month", "months");
            match source {
                Some(source) => start.say(" (source: ").word("source", source).say(")."),
                None => start.say(" (the account's own figure)."),
            }
        }
        Reason::RatedHours { hours, hours_per_day } => of("rated_hours")
            .say("At ")
            .exactly("hours_per_day", *hours_per_day, "h")
            .say(" a day, the maker's rating of ")
            .exactly("hours", *hours, "h")
            .say(" is used up."),
        Reason::FrostUnknown => of("frost_unknown").say(
            "The days of frost are not known. Give the component first_frost and last_frost, or the property \
             temperatures.mean_minimum_c.",
        ),
        Reason::FrostNever => of("frost_never").say("By the monthly mean minima, frost does not come here."),
        Reason::FrostRare { percent } => of("frost_rare")
            .say("By the monthly mean minima, frost comes in ")
            .percent("years", percent / 100.0)
            .say(" of years: go by the weather forecast."),
        Reason::FrostAnyTime => of("frost_any_time").say(
            "By the monthly mean minima, frost may come at any time of the year: leave the pipes drained.",
        ),
        Reason::FrostWithoutDay => of("frost_without_day").say("No day of frost can be given."),
        Reason::FrostBegins { day, given } => of("frost_begins")
            .say("Frost is expected from ")
            .word("day", &in_words(*day))
            .say(", by ")
            .word("source", frost_source(*given))
            .say(". Drain the pipes a fortnight before."),
        Reason::FrostEnds { day, given } => of("frost_ends")
            .say("No frost is expected after ")
            .word("day", &in_words(*day))
            .say(", by ")
            .word("source", frost_source(*given))
            .say("."),
        Reason::TankLowest { on, lost_l, in_wet_season } => of("tank_lowest")
            .say("The tank is likely lowest on ")
            .day("on", *on)
            .say(": the work would lose ")
            .quantity("lost", *lost_l, "L")
            .say(if *in_wet_season { ". All days with so little water are in the wet season." } else { "." }),
        Reason::EvaporationAssumed => of("evaporation_assumed").say(
            "The evaporation is judgement. Twelve monthly figures for the property (evaporation_mm_per_day) would \
             be better.",
        ),
        Reason::TrapEndScreen => of("trap_end_screen")
            .say("The end screen keeps insects out while the tank overflows: inspect it, too."),
        Reason::MosquitoesFromTrap { on } => of("mosquitoes_from_trap")
            .say("The water stays warm enough for mosquitoes: those from eggs laid today would fly about ")
            .day("on", *on)
            .say("."),
        Reason::MosquitoesFromChamber { since, from, passed } => of("mosquitoes_from_chamber")
            .say("Water has stood in it since about ")
            .day("since", *since)
            .say(if *passed { ". Mosquitoes may have left it since " } else { ". Mosquitoes may leave it from " })
            .day("from", *from)
            .say(", by the degree-days of one kind (Aedes, threshold ")
            .temperature("threshold", 8.3)
            .say(")."),
        Reason::TankOverflowed { on } => of("tank_overflowed")
            .say("The tank last overflowed into the trap about ")
            .day("on", *on)
            .say(", by measured and expected rain."),
        Reason::TrapFilled { on } => of("trap_filled")
            .say("The trap was last filled on ")
            .day("on", *on)
            .say(". By measured and expected rain the tank has not overflowed into it since."),
        Reason::OverflowUnknown => of("overflow_unknown").say(
            "It is not known when the tank overflows: register a tank, and send rain to the rain gauge. The water \
             seal counts from its last check.",
        ),
        Reason::SealLost { days, lost_mm, depth_mm, low_mm, high_mm } => of("seal_lost")
            .say("The water seal has lost about ")
            .quantity("lost", *lost_mm, "mm")
            .say(" of ")
            .quantity("depth", *depth_mm, "mm")
            .say(" in ")
            .count("days", u64::from(*days), "day", "days")
            .say(". Over the year it loses ")
            .quantity("low", *low_mm, "mm")
            .say(" to ")
            .quantity("high", *high_mm, "mm")
            .say(" a day."),
        Reason::NoDate => of("no_date").say("No date can be given."),
        Reason::Replaced => of("replaced").say("The component was replaced."),
        Reason::SystemRetired { on } => {
            of("system_retired").say("The system was taken out of service on ").day("on", *on).say(".")
        }
        Reason::SystemNotYetInService { on } => {
            of("system_not_yet_in_service").say("The system goes into service on ").day("on", *on).say(".")
        }
        Reason::DutyGone => {
            of("duty_gone").say("The component was corrected to a kind that has no such duty.")
        }
        Reason::NotInService => of("not_in_service").say("The component is not in service."),
        Reason::Text(text) => of("text").say(text),
    }
}

const fn frost_source(given: bool) -> &'static str {
    if given { "the days given" } else { "the monthly mean minima" }
}

/// A day of the year, such as `5 November`.
fn in_words(day: MonthDay) -> String {
    // 2024 has a 29 February. Days that do not exist are refused where they are read.
    let on = NaiveDate::from_ymd_opt(2024, day.month, day.day);
    on.map_or_else(|| format!("day {} of month {}", day.day, day.month), |on| on.format("%-d %B").to_string())
}

//! A plain [`Request`](crate::Request) for every call of the API, one file per resource. Nothing here does I/O.
//!
//! A function that takes a body fails only if the body cannot be written as JSON.

mod account;
mod audit;
mod calendars;
mod components;
mod duties;
mod gauges;
mod keys;
mod paths;
mod properties;
mod reminders;
mod rounds;
mod skill;
mod subscriptions;
mod systems;
mod tasks;
mod visits;

pub use account::account;
pub use audit::list_audit;
pub use calendars::{create_calendar, list_calendars, read_calendar, revoke_calendar};
pub use components::{
    add_component, component, list_components, replace_component, retire_component, update_component,
};
pub use duties::{duty, list_duties, update_duty};
pub use gauges::{
    create_gauge, delete_gauge, delete_rain, gauge, list_gauges, list_rain, send_rain, send_rain_file,
    update_gauge,
};
pub use keys::{create_key, list_keys, revoke_key};
pub use properties::{create_property, delete_property, list_properties, property, update_property};
pub use reminders::pull_reminders;
pub use rounds::{cancel_round, finish_round, keep_round, list_rounds, propose_rounds, round};
pub use skill::{list_answers, skill};
pub use subscriptions::{
    create_subscription, delete_subscription, delivery, list_deliveries, list_subscriptions,
    pause_subscription, resume_subscription, rotate_secret, send_delivery_again, subscription,
    test_subscription, update_subscription,
};
pub use systems::{
    create_system, forecast, list_systems, system, system_forecast, system_status, system_status_events,
    update_system,
};
pub use tasks::{digest, digest_as, list_tasks, task};
pub use visits::{correct_visit, list_visit_revisions, list_visits, log_visit, visit, withdraw_visit};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{KeptRoundQuery, RainFileOptions, RainOptions, Request, RoundQuery, TaskQuery};
    use chrono::NaiveDate;
    use eavesward_contract as contract;
    use eavesward_contract::{
        ComponentKind, Duty, DutySettingsRequest, RainDay, RainLayout, RainRequest, TaskState,
    };
    use uuid::Uuid;

    fn query_of(request: &Request) -> String {
        request
            .query_pairs()
            .iter()
            .map(|(name, value)| format!("{name}={value}"))
            .collect::<Vec<_>>()
            .join("&")
    }

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 4, day).expect("a day in April")
    }

    #[test]
    fn tasks_carry_every_filter_in_the_words_of_the_wire() {
        let query = TaskQuery::builder()
            .system_id(Uuid::nil())
            .component_kind(ComponentKind::FirstFlushDiverter)
            .state([TaskState::Due, TaskState::Late])
            .within_days(7)
            .limit(500)
            .build();
        let request = list_tasks(&query);
        assert_eq!(request.method(), reqwest::Method::GET);
        assert_eq!(
            query_of(&request),
            "system_id=00000000-0000-0000-0000-000000000000&component_kind=first_flush_diverter\
             &state=due,late&within=P7D&limit=500"
        );
        assert_eq!(query_of(&list_tasks(&TaskQuery::default())), "");
    }

    #[test]
    fn rounds_carry_days_off_as_lists_and_only_figures_that_are_given() {
        let query = RoundQuery::builder()
            .from(day(1))
            .off_weekdays([chrono::Weekday::Sat, chrono::Weekday::Sun])
            .off_dates([day(3), day(6)])
            .trip_cost(80.5)
            .most_minutes(240)
            .build();
        assert_eq!(
            query_of(&propose_rounds(&query)),
            "from=2031-04-01&off_weekdays=sat,sun&off_dates=2031-04-03,2031-04-06&trip_cost=80.5&most_minutes=240"
        );
        assert_eq!(query_of(&propose_rounds(&RoundQuery::default())), "");
        let planned = KeptRoundQuery::builder().state(contract::RoundState::Planned).limit(5).build();
        assert_eq!(query_of(&list_rounds(&planned)), "state=planned&limit=5");
    }

    #[test]
    fn rain_files_say_how_they_are_laid_out() {
        let options = RainFileOptions::builder()
            .layout(RainLayout::GhcnDaily)
            .several_days(crate::SeveralDays::Refuse)
            .all_or_nothing(true)
            .build();
        let request = send_rain_file(Uuid::nil(), "x", &options);
        assert_eq!(query_of(&request), "layout=ghcn_daily&several_days=refuse&all_or_nothing=true");
        assert_eq!(request.body().expect("a body").content_type, "text/csv");
    }

    #[test]
    fn rain_as_json_is_what_the_contract_says() {
        let rain = RainRequest::new([RainDay::new(day(3), 4.2)]);
        let request = send_rain(Uuid::nil(), &rain, &RainOptions::default()).expect("plain numbers");
        let body = request.body().expect("a body");
        assert_eq!(body.bytes, br#"{"days":[{"date":"2031-04-03","rain_mm":4.2}]}"#);
        assert_eq!(query_of(&request), "");
        assert_eq!(query_of(&delete_rain(Uuid::nil(), day(1), day(30))), "from=2031-04-01&to=2031-04-30");
    }

    #[test]
    fn a_duty_is_named_by_its_word_and_only_what_is_set_is_sent() {
        let settings = DutySettingsRequest::new().longest_interval_months(2);
        let request = update_duty(&Duty::ClearWeepHole, 0, &settings).expect("plain numbers");
        assert_eq!(request.path(), "/v1/duties/clear_weep_hole");
        assert_eq!(request.headers()["if-match"], "\"0\"");
        assert_eq!(request.body().expect("a body").bytes, br#"{"longest_interval_months":2}"#);
        assert_eq!(duty(&Duty::CleanScreen).path(), "/v1/duties/clean_screen");
    }

    #[test]
    fn every_guarded_call_names_its_version() {
        let nil = Uuid::nil();
        for request in [delete_property(nil, 4), delete_gauge(nil, 4), cancel_round(nil, 4)] {
            assert_eq!(request.headers()["if-match"], "\"4\"");
        }
    }
}

//! Skill.

use crate::domain::base::rounding::rounded;
use crate::domain::model::skill;
use eavesward_contract as wire;

impl From<skill::DutySkill> for wire::DutySkill {
    fn from(skill: skill::DutySkill) -> Self {
        let shares = skill.shares();
        Self {
            duty: skill.duty.into(),
            title: skill.duty.title().to_owned(),
            answered: skill.answered,
            coverage: rounded(shares.inside),
            coverage_standard_error: rounded(skill.standard_error()),
            emptier: rounded(shares.below),
            fuller: rounded(shares.above),
            mean_position: rounded(skill.mean_position()),
            found_to_expected: skill.found_to_expected().map(rounded),
            measured: skill.measured,
            reading: skill.reading().into(),
        }
    }
}

impl From<skill::Answered> for wire::AnsweredForecast {
    fn from(answered: skill::Answered) -> Self {
        let expected = answered.expected;
        Self {
            id: answered.id.0,
            visit_id: answered.visit_id.0,
            system_id: answered.system_id.0,
            component_id: answered.component_id.0,
            component_name: answered.component_name,
            duty: answered.duty.into(),
            title: answered.duty.title().to_owned(),
            made_on: answered.made_on,
            visited_on: answered.visited_on,
            window: answered.window.into(),
            expected: wire::ExpectedFullness {
                low: rounded(expected.low),
                likely: rounded(expected.likely),
                high: rounded(expected.high),
            },
            finding: answered.finding.into(),
            found: answered.found.map(rounded),
            position_from: rounded(answered.position.from),
            position_to: rounded(answered.position.to),
            inside: rounded(answered.shares.inside),
        }
    }
}

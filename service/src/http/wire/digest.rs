//! Digests.

use super::duty::bring_of;
use crate::domain::rules::digest::make;
use eavesward_contract as wire;

impl From<make::Totals> for wire::DigestTotals {
    fn from(totals: make::Totals) -> Self {
        let make::Totals { tasks, late, due, near, resting, minutes, systems, properties } = totals;
        Self { tasks, late, due, near, resting, minutes, systems, properties }
    }
}

impl From<make::DigestTask> for wire::DigestTask {
    fn from(line: make::DigestTask) -> Self {
        Self {
            task_id: line.task_id.0,
            system_id: Some(line.system_id.0),
            system_name: Some(line.system_name),
            component_id: Some(line.component_id.0),
            component_name: Some(line.component_name),
            component_kind: Some(line.kind.into()),
            duty: line.duty.into(),
            title: line.duty.title().to_owned(),
            state: line.state.into(),
            due_on: line.due_on,
            decided_by: line.decided_by.into(),
            window: line.window.map(Into::into),
            minutes: line.duty.minutes(),
            why: line.why.map(|why| why.sentence().into()),
            hazards: line.hazards.into_iter().map(Into::into).collect(),
        }
    }
}

impl From<make::PropertyTasks> for wire::DigestProperty {
    fn from(property: make::PropertyTasks) -> Self {
        Self {
            property_id: Some(property.id.0),
            property_name: Some(property.name),
            totals: property.totals.into(),
            bring: bring_of(&property.bring),
            tasks: property.tasks.into_iter().map(Into::into).collect(),
        }
    }
}

impl From<make::Digest> for wire::Digest {
    fn from(digest: make::Digest) -> Self {
        Self {
            from: digest.asked.from,
            to: digest.asked.to,
            totals: digest.totals.into(),
            listed: digest.listed(),
            left_out: digest.left_out,
            note: digest.note(),
            bring: bring_of(&digest.bring),
            cautions: digest.hazards.into_iter().map(Into::into).collect(),
            properties: digest.properties.into_iter().map(Into::into).collect(),
        }
    }
}

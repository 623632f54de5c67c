//! Entries of the audit.

use crate::domain::model::audit;
use eavesward_contract as wire;

impl From<audit::AuditEntry> for wire::AuditEntry {
    fn from(entry: audit::AuditEntry) -> Self {
        let audit::RecordedActor { kind, id, name } = entry.actor;
        Self {
            id: entry.id.0,
            at: entry.at,
            actor: wire::AuditActor { kind: kind.as_str().into(), id, name },
            operation: entry.operation,
            thing: entry
                .thing
                .map(|thing| wire::AuditThing { kind: thing.kind.as_str().into(), id: thing.id }),
            request_id: entry.request_id,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_stored_word_is_one_of_the_contract() {
        for kind in audit::ActorKind::ALL {
            assert!(!matches!(wire::ActorKind::from(kind.code()), wire::ActorKind::Other(_)), "{kind:?}");
        }
        for kind in audit::ThingKind::ALL {
            assert!(!matches!(wire::ThingKind::from(kind.code()), wire::ThingKind::Other(_)), "{kind:?}");
        }
    }
}

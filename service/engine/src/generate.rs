//! Rain that might fall: seeded paths that belong to their calendar dates.

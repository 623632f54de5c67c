//! The audit: who changed what.

use super::lists::list_methods;
use crate::{AuditQuery, Client, requests};
use eavesward_contract::AuditEntry;

/// Who changed what in the account, newest first; the calls need the scope `admin`.
#[derive(Clone, Copy, Debug)]
pub struct Audit<'a>(pub(super) &'a Client);

impl Audit<'_> {
    list_methods!(AuditEntry, AuditQuery, requests::list_audit);
}

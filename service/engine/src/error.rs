//! What can go wrong in a calculation.

/// Why the engine gave no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EngineError {
    /// An input is outside the range for which the equations hold.
    #[error("{name} is {value}; allowed: {allowed}")]
    OutOfRange {
        /// Name of the input, usually with its unit.
        name: &'static str,
        /// The value that was given.
        value: f64,
        /// The allowed range, in words.
        allowed: &'static str,
    },
    /// An iteration did not settle within its number of steps.
    #[error("{what} did not converge in {steps} steps (residual {residual})")]
    NotConverged {
        /// What was being computed.
        what: &'static str,
        /// Steps taken.
        steps: u32,
        /// Relative size of the last correction.
        residual: f64,
    },
}

/// Refuses a value unless the condition holds. Write the condition so that NaN fails it.
pub(crate) fn require(
    ok: bool,
    name: &'static str,
    value: f64,
    allowed: &'static str,
) -> Result<(), EngineError> {
    if ok { Ok(()) } else { Err(EngineError::OutOfRange { name, value, allowed }) }
}

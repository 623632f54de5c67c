//! Ageing of rubber by heat, beside the clock of light.

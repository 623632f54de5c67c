//! Frost, heat and mosquitoes against published figures.

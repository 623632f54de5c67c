//! The water in a tank from day to day.

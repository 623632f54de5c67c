//! Chooses the list and the exit code.

use super::args::Due;
use super::{as_of, today};
use crate::app::App;
use crate::failure::{Failure, LATE};

impl Due {
    /// Prints the list and gives the exit code.
    pub async fn run(self, app: &mut App<'_>) -> Result<u8, Failure> {
        let late = match self.as_of {
            None => today::run(&self, app).await?,
            Some(day) => as_of::run(&self, day, app).await?,
        };
        Ok(if self.fail_if_late && late { LATE } else { 0 })
    }
}

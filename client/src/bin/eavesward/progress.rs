//! A progress bar for long jobs, drawn only on a terminal.

use std::fmt::Write as _;
use std::io::Write;

/// Characters of the bar.
const WIDTH: usize = 24;

/// A line that is redrawn and removed at the end. The result says the same in full.
pub struct Progress<'a> {
    err: &'a mut dyn Write,
    what: &'a str,
    shown: bool,
    on: bool,
}

impl<'a> Progress<'a> {
    /// A bar for `what`. Nothing is drawn unless `on`.
    pub fn new(err: &'a mut dyn Write, what: &'a str, on: bool) -> Self {
        Self { err, what, shown: false, on }
    }

    /// Draws the bar. A job of one piece shows none.
    pub fn draw(&mut self, done: usize, of: usize) {
        if self.on && of > 1 {
            self.shown = true;
            // A failed draw must not stop the job.
            let _ = write!(self.err, "\r{}", bar(self.what, done, of)).and_then(|()| self.err.flush());
        }
    }
}

impl Drop for Progress<'_> {
    fn drop(&mut self) {
        if self.shown {
            let _ = write!(self.err, "\r\u{1b}[K").and_then(|()| self.err.flush());
        }
    }
}

fn bar(what: &str, done: usize, of: usize) -> String {
    let full = (done.min(of) * WIDTH).checked_div(of).unwrap_or(WIDTH);
    let mut text = format!("{what} [");
    (0..WIDTH).for_each(|at| text.push(if at < full { '#' } else { '.' }));
    let _ = write!(text, "] {done} of {of}");
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_drawn_for_those_who_watch_and_taken_away() {
        let mut err = Vec::new();
        let mut progress = Progress::new(&mut err, "Sending rain", true);
        progress.draw(0, 3);
        progress.draw(3, 3);
        drop(progress);
        let want = "\rSending rain [........................] 0 of 3\rSending rain [########################] 3 of 3\r\u{1b}[K";
        assert_eq!(String::from_utf8_lossy(&err), want);
        for (on, of) in [(false, 3), (true, 1), (true, 0)] {
            let mut err = Vec::new();
            Progress::new(&mut err, "x", on).draw(0, of);
            assert!(err.is_empty(), "{on} {of}");
        }
        assert!(bar("x", 1, 3).contains("[########................] 1 of 3"));
        assert!(bar("x", 9, 3).contains("[########################] 9 of 3"));
    }
}

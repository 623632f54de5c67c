//! Draws an accumulated figure that climbs to its limit, as the engine sees it on one day.
//!
//! `cargo run -p eavesward-engine --example climb > service/engine/docs/climb.svg`
//!
//! Leaf gathers on the debris screen of an invented system, under rain made from a fixed seed. The figures are the
//! engine's answers: the leaf so far, the limit that four findings taught, the window, and what the weather may bring.

mod drawing;
mod scene;

use std::error::Error;
use std::io::Write;

use scene::Scene;

fn main() -> Result<(), Box<dyn Error>> {
    let svg = drawing::svg(&Scene::new()?);
    Ok(std::io::stdout().write_all(svg.as_bytes())?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_kept_drawing_is_what_the_program_writes() {
        let kept = include_str!("../../docs/climb.svg");
        let written = drawing::svg(&Scene::new().unwrap());
        assert!(kept == written, "write service/engine/docs/climb.svg again, as the head of this file says");
    }
}
